"""Train the side network on invented scenes (needs PyTorch; a graphics card for more than a trial).

    python -m seedlingcv.training.train_side OUT --minutes 8 --workers 14 --device cuda:0

Scenes are drawn by processor cores while training runs, each from its own seed. OUT gets the weights of the
running average as side.pt; `export_side` turns them into the ONNX file that is shipped.
"""

from __future__ import annotations

import argparse
import copy
import math
import multiprocessing
import os
import threading
import time
from pathlib import Path

import cv2
import torch
from torch.nn import functional as F

from seedlingcv.training.side_network import WAY_MM, SideNet
from seedlingcv.training.side_samples import sample
from seedlingcv.training.side_scenes import PX_PER_MM

FIRST_SEED = 20_000_000
PEAK_RATE = 3e-3
MASK_WEIGHTS = (2.0, 0.7, 1.2, 1.0)  # vegetation, petiole, hypocotyl, epicotyl


def _stand_back() -> None:
    """A drawing process uses one core and leaves the training loop in front."""
    os.nice(10)
    cv2.setNumThreads(1)


class Store:
    """Scenes on the training device, filled while training draws from it; a ring once it is full."""

    def __init__(self, count: int, first_seed: int, workers: int, device: str) -> None:
        self.count, self.ready, self.drawn, self.data, self.device = count, 0, 0, {}, device
        self.seeds = range(first_seed, first_seed + 100 * count)
        self.pool = multiprocessing.get_context("spawn").Pool(workers, initializer=_stand_back)
        self.thread = threading.Thread(target=self._fill, daemon=True)
        self.thread.start()

    def _fill(self) -> None:
        for one in self.pool.imap_unordered(sample, self.seeds, chunksize=1):
            for key, value in one.items():
                tensor = torch.from_numpy(value)
                if key not in self.data:
                    self.data[key] = torch.empty((self.count, *tensor.shape), dtype=tensor.dtype, device=self.device)
                self.data[key][self.drawn % self.count] = tensor.to(self.device)
            self.drawn += 1
            self.ready = min(self.drawn, self.count)

    def batch(self, size: int, generator) -> dict[str, torch.Tensor]:
        index = torch.randint(self.ready, (size,), generator=generator).to(self.device)
        return {k: v[index] for k, v in self.data.items()}


def prepare(batch: dict, generator, augment: bool = True) -> dict[str, torch.Tensor]:
    """Network input and targets; see `SideNet` for their meaning. `augment` also cuts the top off, as a strip ends
    somewhat above the highest plant, and mirrors left and right."""
    image = batch["image"].permute(0, 3, 1, 2).float() / 255
    device, (count, _, rows, columns) = image.device, image.shape

    def uniform(low, high, *shape):
        return torch.empty(shape, device=device).uniform_(low, high)

    if augment:
        image = image * uniform(0.88, 1.14, count, 3, 1, 1) * uniform(0.75, 1.25, count, 1, 1, 1)
        image = image.clamp(1e-4, 1) ** uniform(0.75, 1.3, count, 1, 1, 1)
        grey = image.mean(dim=1, keepdim=True)
        image = grey + (image - grey) * uniform(0.7, 1.3, count, 1, 1, 1)
        noisy = uniform(0, 1, count, 1, 1, 1) < 0.4
        image = (image + torch.randn_like(image) * uniform(0, 0.03, count, 1, 1, 1) * noisy).clamp(0, 1)
    soil, line, front, pitch = (v[:, None, None, None] for v in batch["place"].T)
    wobble = (lambda s: torch.randn(count, 1, 1, 1, device=device) * s) if augment else (lambda s: 0.0)
    at = torch.arange(rows, device=device, dtype=torch.float32)[None, None, :, None]
    planes = [(soil - at) / PX_PER_MM / 50 + wobble(0.01)]
    planes += [((row - at) / PX_PER_MM / 10 + wobble(0.05)).clamp(-2, 2) for row in (line, front)]
    inputs = torch.cat([image, *(p.expand(count, 1, rows, columns) for p in planes),
                        (pitch / 100).expand(count, 1, rows, columns)], 1)
    owner, stem_owner = batch["owner"].long(), batch["stem_owner"].long()
    either = torch.where(owner > 0, owner, stem_owner)
    mine = _looked_up(batch["plants"], either)
    middle = torch.arange(2, rows, 4, device=device, dtype=torch.float32)
    x, y = middle[None, None, None, :], middle[None, None, :, None]
    unit = PX_PER_MM * WAY_MM
    ways = torch.cat([(mine[:, 0:1] - x) / unit, (mine[:, 2:3] - x) / unit, (mine[:, 3:4] - y) / unit,
                      (mine[:, 4:5] - x) / unit, (mine[:, 5:6] - y) / unit], 1)
    thick = _looked_up(batch["plants"], stem_owner)[:, 6:7]
    target = {
        "share": batch["share"].float() / 255,
        "heat": batch["heat"].float() / 255,
        "ways": ways,
        "there": ((either > 0)[:, None] & (mine[:, 6:7] > 0)).float(),
        "thick": thick.clamp(min=0.1).log(),
        "stem": ((stem_owner > 0)[:, None] & (thick > 0)).float(),
    }
    if augment:
        if torch.randint(2, (1,), generator=generator):
            inputs, target = inputs.flip(-1), {k: v.flip(-1) for k, v in target.items()}
            target["ways"] = target["ways"] * torch.tensor([-1.0, -1, 1, -1, 1], device=device)[None, :, None, None]
        if torch.randint(2, (1,), generator=generator):
            cut = 32 * int(torch.randint(1, max(2, rows // 64), (1,), generator=generator))
            inputs = inputs[:, :, cut:]
            target = {k: v[:, :, cut * v.shape[2] // rows :] for k, v in target.items()}
    return target | {"inputs": inputs}


def _looked_up(table: torch.Tensor, number: torch.Tensor) -> torch.Tensor:
    """(B, n, k) table and (B, M, N) numbers from 1 -> (B, k, M, N); where the number is 0, row 1."""
    flat = (number - 1).clamp(min=0).flatten(1)[..., None].expand(-1, -1, table.shape[2])
    return torch.gather(table, 1, flat).view(*number.shape, -1).permute(0, 3, 1, 2)


def _phases(mask: torch.Tensor) -> torch.Tensor:
    """(B, M, N) -> (B, 4, M/2, N/2), the 2 x 2 pixels row by row."""
    return torch.stack([mask[:, 0::2, 0::2], mask[:, 0::2, 1::2], mask[:, 1::2, 0::2], mask[:, 1::2, 1::2]], 1)


def _mask_loss(logits, target):
    p = torch.sigmoid(logits)
    dice = 1 - (2 * (p * target).sum() + 10) / (p.pow(2).sum() + target.pow(2).sum() + 10)
    return F.binary_cross_entropy_with_logits(logits, target) * 4 + 0.5 * dice


def _peak_loss(logits, heat):
    """Focal loss for peaks (Law & Deng 2018, CornerNet, arXiv:1808.01244; from memory)."""
    p = torch.sigmoid(logits).clamp(1e-4, 1 - 1e-4)
    top = (heat > 0.997).float()
    loss = -top * (1 - p) ** 2 * p.log() - (1 - top) * (1 - heat) ** 4 * p**2 * (1 - p).log()
    return loss.sum() / (top.sum() + 20)


def losses(fine, ways, t) -> dict[str, torch.Tensor]:
    names = ("plant", "petiole", "hypocotyl", "epicotyl")
    out = {name: weight * _mask_loss(fine[:, 4 * k : 4 * k + 4], _phases(t["share"][:, k]))
           for k, (name, weight) in enumerate(zip(names, MASK_WEIGHTS, strict=True))}
    for k, name in enumerate(("soil", "node", "apex")):
        out[name] = 0.35 * _peak_loss(fine[:, 16 + k], t["heat"][:, k])
    # of two plants that cross: better right for one than half-way between, so far misses weigh little
    aims = (("home", slice(0, 1), 0.3), ("to_node", slice(1, 3), 0.3), ("to_apex", slice(3, 5), 0.2))
    for name, part, weight in aims:
        miss = ((ways[:, part] - t["ways"][:, part]) * WAY_MM).pow(2).sum(1, keepdim=True)
        miss = torch.log1p(miss / 4) + 0.03 * (miss + 1).sqrt()
        out[name] = weight * (miss * t["there"]).sum() / (t["there"].sum() + 100)
    miss = (ways[:, 5:6] - t["thick"]).abs()
    out["thick"] = 1.0 * (miss * t["stem"]).sum() / (t["stem"].sum() + 100)
    return out


def train(out: Path, a: argparse.Namespace) -> None:
    torch.manual_seed(a.seed)
    generator = torch.Generator().manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    kind = torch.device(a.device).type
    if kind == "cuda":
        torch.cuda.set_device(a.device)
    began = time.time()
    store = Store(a.scenes, a.seed, a.workers, a.device)
    network = SideNet().to(a.device).to(memory_format=torch.channels_last)
    if a.start is not None:
        old = torch.load(a.start, map_location=a.device)
        old = {k: v for k, v in old.items() if v.shape == network.state_dict()[k].shape}
        print(f"{len(old)} of {len(network.state_dict())} arrays taken over", flush=True)
        network.load_state_dict(network.state_dict() | old)
    average = copy.deepcopy(network)
    averaged, current = ([v for v in n.state_dict().values() if v.is_floating_point()] for n in (average, network))
    optimiser = torch.optim.AdamW(network.parameters(), lr=PEAK_RATE, weight_decay=0.02)
    while store.ready < min(8 * a.batch, a.scenes):
        time.sleep(0.2)
        if not store.thread.is_alive():
            raise SystemExit("The drawing of scenes has ended before its time.")
    step, shown, begun, last = 0, {}, time.time(), time.time()
    print(f"first scenes after {begun - began:.0f} s", flush=True)
    while (share := (time.time() - begun) / (60 * a.minutes)) < 1:
        rate = PEAK_RATE * min(1, (step + 1) / 300) * (0.5 + 0.5 * math.cos(share * math.pi))
        for group in optimiser.param_groups:
            group["lr"] = rate + 1e-6
        ready = prepare(store.batch(a.batch, generator), generator)
        with torch.autocast(kind, torch.bfloat16):
            fine, ways = network(ready["inputs"].contiguous(memory_format=torch.channels_last))
        parts = losses(fine.float(), ways.float(), ready)
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        keep = min(0.998, (step + 1) / (step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(averaged, current, 1 - keep)
        step += 1
        if step % (50 if kind == "cuda" else 5) == 0:
            for k, v in parts.items():
                shown[k] = 0.8 * shown.get(k, v.item()) + 0.2 * v.item()
        if time.time() - last > 20:
            last = time.time()
            parted = ", ".join(f"{k} {v:.3f}" for k, v in shown.items())
            print(f"{last - began:.0f} s, step {step}, scenes {store.drawn}, {parted}", flush=True)
            torch.save(average.state_dict(), out / "side.pt")
    torch.save(average.state_dict(), out / "side.pt")
    print(f"{time.time() - began:.0f} s, {step} steps, {store.drawn} scenes", flush=True)
    store.pool.terminate()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--minutes", type=float, default=8)
    parser.add_argument("--scenes", type=int, default=6000, help="kept at a time; 3.2 MB each on the device")
    parser.add_argument("--workers", type=int, default=14)
    parser.add_argument("--batch", type=int, default=16)
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--start", type=Path)
    a = parser.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    train(a.out, a)


if __name__ == "__main__":
    main()
