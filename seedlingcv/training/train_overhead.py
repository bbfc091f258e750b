"""Train the overhead network on invented scenes (needs PyTorch and a graphics card).

    python -m seedlingcv.training.train_overhead OUT --minutes 8 --scenes 6000

Scenes are drawn by all processor cores while training runs, each from its own seed. OUT gets the weights of
the running average as overhead.pt; `export_overhead` turns them into the ONNX file that is shipped.
"""

from __future__ import annotations

import argparse
import copy
import multiprocessing
import os
import threading
import time
from pathlib import Path

import cv2
import torch
from torch.nn import functional as F

from seedlingcv.training.network import OverheadNet
from seedlingcv.training.samples import sample

CROP_PX = 512
BATCH = 16
FIRST_SEED = 1_000_000
PEAK_RATE = 2.5e-3


def _stand_back() -> None:
    """A drawing process uses one core and leaves the training loop in front."""
    os.nice(10)
    cv2.setNumThreads(1)


class Store:
    """Scenes on the graphics card, filled while training draws from it."""

    def __init__(self, count: int, first_seed: int, workers: int, device: str = "cuda") -> None:
        self.count, self.ready, self.data, self.device = count, 0, {}, device
        self.seeds = range(first_seed, first_seed + count)
        self.pool = multiprocessing.get_context("spawn").Pool(workers, initializer=_stand_back)
        self.thread = threading.Thread(target=self._fill, daemon=True)
        self.thread.start()

    def _fill(self) -> None:
        for one in self.pool.imap_unordered(sample, self.seeds, chunksize=1):
            for key, value in one.items():
                tensor = torch.from_numpy(value)
                if key not in self.data:
                    self.data[key] = torch.empty((self.count, *tensor.shape), dtype=tensor.dtype, device=self.device)
                self.data[key][self.ready] = tensor.to(self.device)
            self.ready += 1
        self.pool.close()

    def crops(self, size: int, batch: int, generator) -> dict[str, torch.Tensor]:
        height, width = self.data["image"].shape[1:3]
        index = torch.randint(self.ready, (batch,), generator=generator).to(self.device)
        y = (torch.randint((height - size) // 2 + 1, (batch,), generator=generator) * 2).to(self.device)
        x = (torch.randint((width - size) // 2 + 1, (batch,), generator=generator) * 2).to(self.device)
        steps = torch.arange(size, device=self.device)
        one, rows, columns = index[:, None, None], (y[:, None] + steps)[:, :, None], (x[:, None] + steps)[:, None, :]
        out = {k: self.data[k][one, rows, columns] for k in ("image", "owner", "blade", "stem")}
        half = self.data["heat"].permute(0, 2, 3, 1)[one, rows[:, ::2] // 2, columns[:, :, ::2] // 2]
        out["heat"] = half.permute(0, 3, 1, 2)
        out |= {k: self.data[k][index] for k in ("bases", "middles", "cells", "place", "eye")}
        return out | {"corner": torch.stack([x, y], 1).float()}


def prepare(batch: dict, generator, augment: bool = True) -> dict[str, torch.Tensor]:
    """Network input and targets of a batch of crops; see `OverheadNet` for their meaning."""
    image = batch["image"].permute(0, 3, 1, 2).float() / 255
    device, (count, _, size, _) = image.device, image.shape

    def uniform(low, high, *shape):
        return torch.empty(shape, device=device).uniform_(low, high)

    if augment:
        image = image * uniform(0.85, 1.15, count, 3, 1, 1) * uniform(0.8, 1.2, count, 1, 1, 1)
        image = image.clamp(1e-4, 1) ** uniform(0.8, 1.25, count, 1, 1, 1)
        grey = image.mean(dim=1, keepdim=True)
        image = grey + (image - grey) * uniform(0.75, 1.25, count, 1, 1, 1)
        image = (
            image + torch.randn_like(image) * uniform(0, 0.03, count, 1, 1, 1) * (uniform(0, 1, count, 1, 1, 1) < 0.5)
        ).clamp(0, 1)
    x0, y0, cx, cy, px, py, columns, rows = (v[:, None] for v in batch["place"].T)
    steps = torch.arange(size, device=device, dtype=torch.float32)[None]
    x, y = x0 + (batch["corner"][:, :1] + steps) / 2, y0 + (batch["corner"][:, 1:] + steps) / 2
    wobble = (lambda s: torch.randn(count, 1, device=device) * s) if augment else (lambda s: 0)
    position = []
    for at, corner, pitch, cells in ((x, cx, px, columns), (y, cy, py, rows)):
        place = (at - corner - wobble(0.8)) / pitch
        position.append((place - torch.minimum(place.floor().clamp(min=0), cells - 1) - 0.5).clamp(-1.5, 1.5))
    nadir = [(batch["eye"][:, k : k + 1] + wobble(8) - at) / 500 for k, at in enumerate((x, y))]

    def plane(across, down):
        return torch.stack(
            [across[:, None, :].expand(count, size, size), down[:, :, None].expand(count, size, size)], 1
        )

    pitch = ((px + py) / 200)[..., None, None].expand(count, 1, size, size)
    inputs = torch.cat([image, plane(*position), pitch, plane(*nadir)], 1)
    owner = batch["owner"].long()
    half_owner = owner[:, ::2, ::2]
    base = _looked_up(batch["bases"], half_owner)
    half_blade = batch["blade"].long()[:, ::2, ::2]
    here = plane(x, y)[:, :, ::2, ::2] + 0.25
    way, inner = (base[:, :2] - here) / 50, (_looked_up(batch["middles"], half_blade) - here) / 25
    quarter = owner[:, 2::4, 2::4]
    home = _looked_up(batch["bases"], quarter)[:, 2:4]
    mine = [((at - corner) / pitch).floor().clamp(min=0) for at, corner, pitch in ((x, cx, px), (y, cy, py))]
    mine = plane(torch.minimum(mine[0], columns - 1), torch.minimum(mine[1], rows - 1))[:, :, 2::4, 2::4]
    apart = home - mine
    apart = torch.where((home[:, :1] < 0), torch.full_like(apart, 9), apart)
    cells = batch["cells"]
    grid = torch.stack(
        [
            ((cells[..., 0] - x0) * 2 - batch["corner"][:, :1] + 0.5) / size * 2 - 1,
            ((cells[..., 1] - y0) * 2 - batch["corner"][:, 1:] + 0.5) / size * 2 - 1,
        ],
        -1,
    )
    target = {
        "plant": (owner > 0).float(),
        "stem": batch["stem"].float(),
        "way": way,
        "there": (half_owner > 0).float()[:, None],
        "inner": inner,
        "bladed": (half_blade > 0).float()[:, None],
        "weed": base[:, 4:5],
        "apart": apart,
        "quarter": (quarter > 0)[:, None].float(),
        "heat": batch["heat"].float() / 255,
    }
    if augment:
        inputs, target, grid = _turned(inputs, target, grid, generator)
    return target | {"inputs": inputs, "grid": grid, "cells": cells}


def _turned(inputs, target, grid, generator):
    """One of the eight flips and turns, the same for the whole batch; vectors turn along."""
    across, down, swap = (bool(torch.randint(2, (1,), generator=generator)) for _ in range(3))

    def turn(tensor, vectors=()):
        tensor = tensor.clone()
        for flag, axis, part in ((across, -1, 0), (down, -2, 1)):
            if flag:
                tensor = tensor.flip(axis)
                for start in vectors:
                    tensor[:, start + part] *= -1
        if swap:
            tensor = tensor.transpose(-1, -2).contiguous()
            for start in vectors:
                tensor[:, [start, start + 1]] = tensor[:, [start + 1, start]]
        return tensor

    grid = grid * torch.tensor([-1.0 if across else 1, -1.0 if down else 1], device=grid.device)
    if swap:
        grid = grid.flip(-1)
    vectors = {"way": (0,), "inner": (0,), "apart": (0,)}
    return turn(inputs, (3, 6)), {k: turn(v, vectors.get(k, ())) for k, v in target.items()}, grid


def _looked_up(table: torch.Tensor, number: torch.Tensor) -> torch.Tensor:
    """(B, n, k) table and (B, M, N) numbers from 1 -> (B, k, M, N); where the number is 0, row 1."""
    flat = (number - 1).clamp(min=0).flatten(1)[..., None].expand(-1, -1, table.shape[2])
    return torch.gather(table, 1, flat).view(*number.shape, -1).permute(0, 3, 1, 2)


def _phases(mask: torch.Tensor) -> torch.Tensor:
    """(B, M, N) -> (B, 4, M/2, N/2), the 2 x 2 pixels row by row."""
    return torch.stack([mask[:, 0::2, 0::2], mask[:, 0::2, 1::2], mask[:, 1::2, 0::2], mask[:, 1::2, 1::2]], 1)


def _mask_loss(logits, target):
    p = torch.sigmoid(logits)
    dice = 1 - (2 * (p * target).sum() + 10) / (p.sum() + target.sum() + 10)
    return F.binary_cross_entropy_with_logits(logits, target) * 2 + 0.5 * dice


def _peak_loss(logits, heat):
    """Focal loss for peaks (Law & Deng 2018, CornerNet, arXiv:1808.01244; from memory)."""
    p = torch.sigmoid(logits).clamp(1e-4, 1 - 1e-4)
    top = (heat > 0.99).float()
    loss = -top * (1 - p) ** 2 * p.log() - (1 - top) * (1 - heat) ** 4 * p**2 * (1 - p).log()
    return loss.sum(dim=(0, 2, 3)) / (top.sum(dim=(0, 2, 3)) + 20)


def losses(dense, owner, cells, t) -> dict[str, torch.Tensor]:
    out = {
        "plant": _mask_loss(dense[:, :4], _phases(t["plant"])),
        "stem": 0.5 * _mask_loss(dense[:, 4:8], _phases(t["stem"])),
    }
    # a leaf of one of two plants: better right for one of them than halfway between, so far misses weigh little
    for name, at, where, unit, weight in (("way", 8, t["there"], 50, 0.25), ("inner", 14, t["bladed"], 25, 0.25)):
        miss = ((dense[:, at : at + 2] - t[name]) * unit).pow(2).sum(1, keepdim=True)
        miss = torch.log1p(miss / 9) + 0.03 * (miss + 1).sqrt()
        out[name] = weight * (miss * where).sum() / (where.sum() + 100)
    weed = F.binary_cross_entropy_with_logits(dense[:, 16:17], t["weed"], reduction="none")
    out["weedy"] = 0.3 * (weed * t["there"]).sum() / (t["there"].sum() + 100)
    near = t["apart"].abs().amax(1) <= 3
    home = torch.where(near, (t["apart"][:, 1] + 3) * 7 + t["apart"][:, 0] + 3, torch.full_like(t["apart"][:, 0], 49))
    miss = F.cross_entropy(owner, home.round().long(), reduction="none")[:, None]
    out["owner"] = 0.6 * (miss * t["quarter"]).sum() / (t["quarter"].sum() + 100)
    peaks = _peak_loss(dense[:, 10:14], t["heat"])
    out["base"], out["weed"], out["blades"] = 0.35 * peaks[0], 0.05 * peaks[1], 0.15 * (peaks[2] + peaks[3])
    read = F.grid_sample(cells, t["grid"][:, None], align_corners=False)[:, :, 0].transpose(1, 2)
    inside = (t["grid"].abs().amax(-1) < 0.94) & (t["cells"][..., 2] >= 0)
    if inside.any():
        # a flat counts by its area, not by its number of cells
        share = t["inputs"][:, 5, 0, 0, None].expand(inside.shape)[inside] ** 2
        share = share / share.mean()
        read, truth = read[inside], t["cells"][inside]
        weight = torch.tensor([1.5, 1.0, 2.0], device=read.device)
        miss = F.cross_entropy(read[:, :3], truth[:, 2].clamp(max=2).long(), weight=weight, reduction="none")
        out["count"] = 0.7 * (miss * share).mean()
        single = (truth[:, 2] == 1) & (truth[:, 4] > 0)
        goal = truth[:, 3:] / torch.tensor([1.0, 50, 50], device=read.device)
        error = F.smooth_l1_loss(read[:, 3:], goal, reduction="none", beta=0.2)
        out["measure"] = 0.6 * (error.sum(1) * single * share).sum() / (single * share).sum().clamp(min=1)
    return out


def train(out: Path, minutes: float, scenes: int, workers: int, first_seed: int, start: Path | None = None) -> None:
    torch.manual_seed(first_seed)
    generator = torch.Generator().manual_seed(first_seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    began = time.time()
    store = Store(scenes, first_seed, workers)
    network = OverheadNet().cuda().to(memory_format=torch.channels_last)
    if start is not None:
        old = {k: v for k, v in torch.load(start).items() if v.shape == network.state_dict()[k].shape}
        print(f"{len(old)} of {len(network.state_dict())} arrays taken over", flush=True)
        network.load_state_dict(network.state_dict() | old)
    average = copy.deepcopy(network)
    averaged, current = ([v for v in n.state_dict().values() if v.is_floating_point()] for n in (average, network))
    optimiser = torch.optim.AdamW(network.parameters(), lr=PEAK_RATE, weight_decay=0.02)
    while store.ready < min(96, scenes):
        time.sleep(0.2)
    step, shown, begun, last = 0, {}, time.time(), time.time()
    print(f"first scenes after {begun - began:.0f} s", flush=True)
    while (share := (time.time() - begun) / (60 * minutes)) < 1:
        rate = PEAK_RATE * min(1, (step + 1) / 300) * (0.5 + 0.5 * torch.cos(torch.tensor(share * torch.pi)).item())
        for group in optimiser.param_groups:
            group["lr"] = rate + 1e-6
        ready = prepare(store.crops(CROP_PX, BATCH, generator), generator)
        with torch.autocast("cuda", torch.bfloat16):
            dense, owner, cells = network(ready["inputs"].to(memory_format=torch.channels_last))
        parts = losses(dense.float(), owner.float(), cells.float(), ready)
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        keep = min(0.998, (step + 1) / (step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(averaged, current, 1 - keep)
        step += 1
        if step % 50 == 0:
            for k, v in parts.items():
                shown[k] = 0.8 * shown.get(k, v.item()) + 0.2 * v.item()
        if time.time() - last > 20:
            last = time.time()
            print(
                f"{last - began:.0f} s, step {step}, scenes {store.ready}, "
                + ", ".join(f"{k} {v:.3f}" for k, v in shown.items()),
                flush=True,
            )
            torch.save(average.state_dict(), out / "overhead.pt")
    torch.save(average.state_dict(), out / "overhead.pt")
    print(f"{time.time() - began:.0f} s, {step} steps, {store.ready} scenes", flush=True)
    store.pool.terminate()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8)
    parser.add_argument("--scenes", type=int, default=6000)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--start", type=Path)
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    train(a.out, a.minutes, a.scenes, a.workers, a.seed, a.start)


if __name__ == "__main__":
    main()
