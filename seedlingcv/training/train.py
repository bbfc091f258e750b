"""Train the networks for photos from above (needs PyTorch and a graphics card).

    python -m seedlingcv.training.train OUT --minutes 8 --flats FOLDER --field FOLDER

Invented scenes are drawn by all processor cores while training runs, each from its own seed. Photographed flats with
exact truth (`flats.py` prepares them) and field photos with masks may join. OUT gets the weights of the running
averages as overhead.pt and vegetation.pt; `export` turns them into the ONNX files that are shipped.

With `--folds` two more of each network are trained the same way, but overhead_0.pt and vegetation_0.pt never see a flat
of FOLDS[0], nor the field photos 0, 2, 4 ...; those of the second never see FOLDS[1] and the photos 1, 3, 5 ... So each
flat and photo can be measured by weights that saw neither it nor its crop.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import torch

from seedlingcv.training.flats import FOLDS
from seedlingcv.training.learner import Learner
from seedlingcv.training.network import OverheadNet, VegetationNet
from seedlingcv.training.store import Drawn, Photographed
from seedlingcv.training.train_overhead import CROP_PX, losses, prepare
from seedlingcv.training.train_vegetation import (
    FieldPhotos,
    drawn_windows,
    field_windows,
    plain_batch,
    told_batch,
    vegetation_losses,
)

DRAWN, FLATS, PLAIN, FIELD = 12, 4, 3, 4  # windows in a batch; the last two for the vegetation network alone


@dataclass(frozen=True)
class Pupil:
    """A pair of networks and what only they see."""

    overhead: Learner
    vegetation: Learner
    flats: Photographed | None
    field: FieldPhotos | None


def _pupils(a) -> dict[str, Pupil]:
    flats = sorted(a.flats.glob("*.json")) if a.flats else []
    photos = sorted(a.field.glob("*_rgb.jpg")) if a.field else []
    lessons = {"": (flats, photos)}
    if a.folds:
        for k, left_out in enumerate(FOLDS):
            lessons[f"_{k}"] = [f for f in flats if not f.name.startswith(left_out)], photos[1 - k :: 2]
    return {
        name: Pupil(
            Learner(OverheadNet(), a.device, a.rate, a.start and _named(a.start, "overhead", name)),
            Learner(VegetationNet(), a.device, a.rate, a.start and _named(a.start, "vegetation", name)),
            Photographed(mine, a.device) if mine else None,
            FieldPhotos(shown, a.device) if shown else None,
        )
        for name, (mine, shown) in lessons.items()
    }


def _named(folder: Path, what: str, name: str) -> Path | None:
    path = folder / f"{what}{name}.pt"
    return path if path.exists() else None


def train(a: argparse.Namespace) -> None:
    torch.manual_seed(a.seed)
    generator = torch.Generator().manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    store = Drawn(a.scenes, a.seed, a.workers, a.device)
    pupils = _pupils(a)
    while store.ready < min(a.first, a.scenes):
        time.sleep(0.2)
    begun = last = time.time()
    print(f"{store.ready} scenes", flush=True)
    while (share := (time.time() - begun) / (60 * a.minutes)) < 1:
        _step(pupils, store, generator, share)
        if time.time() - last > 20:
            last = time.time()
            _tell(last - begun, store, pupils)
            _save(a.out, pupils)
    _tell(time.time() - begun, store, pupils)
    _save(a.out, pupils)
    store.pool.terminate()


def _step(pupils: dict[str, Pupil], store: Drawn, generator, share: float) -> None:
    """All learn from the same invented windows, and each from photos of its own."""
    crops, windows = store.crops(CROP_PX, DRAWN, generator), drawn_windows(store, PLAIN, generator)
    for pupil in pupils.values():
        batch, parts = crops, [windows]
        if pupil.flats:
            more = pupil.flats.crops(CROP_PX, FLATS, generator)
            batch = {k: torch.cat([v, more[k]]) for k, v in crops.items()}
        if pupil.field:
            parts.append(field_windows(pupil.field, FIELD, generator))
        ready = prepare(batch, generator)
        dense, *rest = pupil.overhead.answer(ready["inputs"])
        pupil.overhead.learn(losses(dense, *rest, ready), share)
        both = zip(told_batch(ready, dense, generator), plain_batch(parts, generator), strict=True)
        image, mask = (torch.cat(v) for v in both)
        pupil.vegetation.learn(vegetation_losses(pupil.vegetation.answer(image), mask), share)


def _tell(seconds: float, store: Drawn, pupils: dict[str, Pupil]) -> None:
    print(f"{seconds:.0f} s, scenes {store.ready}, step {pupils[''].overhead.steps}")
    for name, pupil in pupils.items():
        shown = pupil.overhead.shown | pupil.vegetation.shown
        print(f"  {name}: " + ", ".join(f"{k} {v:.3f}" for k, v in shown.items()), flush=True)


def _save(out: Path, pupils: dict[str, Pupil]) -> None:
    for name, pupil in pupils.items():
        pupil.overhead.save(out / f"overhead{name}.pt")
        pupil.vegetation.save(out / f"vegetation{name}.pt")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8)
    parser.add_argument("--scenes", type=int, default=2400)
    parser.add_argument("--first", type=int, default=96, help="scenes to wait for before the first step")
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1_000_000)
    parser.add_argument("--rate", type=float, default=2.5e-3)
    parser.add_argument("--start", type=Path, help="folder with weights to go on from, named as in OUT")
    parser.add_argument("--flats", type=Path)
    parser.add_argument("--field", type=Path)
    parser.add_argument("--folds", action="store_true")
    parser.add_argument("--device", default="cuda:0")
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    train(a)


if __name__ == "__main__":
    main()
