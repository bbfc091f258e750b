"""The overhead network's lesson: its input, targets and losses (needs PyTorch)."""

from __future__ import annotations

import torch
from torch.nn import functional as F

from seedlingcv.training.flats import UNKNOWN_MM
from seedlingcv.training.learner import masks_loss, phases, recoloured

CROP_PX = 512


def prepare(batch: dict, generator, augment: bool = True) -> dict[str, torch.Tensor]:
    """Network input and targets of a batch of crops; see `OverheadNet` for their meaning.

    With them picture (B, 3, 2M, 2N) and share (B, 2M, 2N) of vegetation, for the vegetation network.
    """
    picture = batch["image"].permute(0, 3, 1, 2).float() / 255
    if augment:
        picture = recoloured(picture)
    image = F.avg_pool2d(picture, 2)
    device, (count, _, size, _) = image.device, image.shape
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
        "there": ((half_owner > 0) & (base[:, 0] > UNKNOWN_MM))[:, None].float(),
        "inner": inner,
        "bladed": (half_blade > 0).float()[:, None],
        "weed": base[:, 4:5],
        "apart": apart,
        "quarter": (quarter > 0)[:, None].float(),
        "heat": batch["heat"].float() / 255,
        "picture": picture,
        "share": batch["vegetation"].float() / 255,
    }
    if augment:
        inputs, target, grid = _turned(inputs, target, grid, generator)
    return target | {"inputs": inputs, "grid": grid, "cells": cells, "parts": batch["parts"].bool()}


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


def _peak_loss(logits, heat):
    """Focal loss for peaks (Law & Deng 2018, CornerNet, arXiv:1808.01244; from memory)."""
    p = torch.sigmoid(logits).clamp(1e-4, 1 - 1e-4)
    top = (heat > 0.99).float()
    loss = -top * (1 - p) ** 2 * p.log() - (1 - top) * (1 - heat) ** 4 * p**2 * (1 - p).log()
    return loss.sum(dim=(0, 2, 3)) / (top.sum(dim=(0, 2, 3)) + 20)


def losses(dense, owner, cells, t) -> dict[str, torch.Tensor]:
    out = {
        "plant": masks_loss(dense[:, :4], phases(t["plant"])),
    }
    told = t["parts"]  # of photographed flats stems, petioles and blades are not told apart
    if told.any():
        out["stem"] = 0.5 * masks_loss(dense[told, 4:8], phases(t["stem"][told]))
        blades = _peak_loss(dense[told, 12:14], t["heat"][told, 2:])
        out["blades"] = 0.15 * (blades[0] + blades[1])
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
    peaks = _peak_loss(dense[:, 10:12], t["heat"][:, :2])
    out["base"], out["weed"] = 0.35 * peaks[0], 0.05 * peaks[1]
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
