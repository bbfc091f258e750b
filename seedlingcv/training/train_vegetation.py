"""The vegetation network's lesson: scenes, flats and field photos with masks (needs PyTorch).

Field photos are read from a folder of `<name>_rgb.jpg` with `<name>_mask.png` (white = plant), all of one size.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import torch
from torch.nn import functional as F

from seedlingcv.training.learner import phases, recoloured

CROP_PX = 512
SCALES, FIELD_SCALES = (0.5, 1.5), (0.6, 1.6)  # picture pixels for one of the network's


class FieldPhotos:
    def __init__(self, paths: list[Path], device: str) -> None:
        pictures = [cv2.imread(str(p)) for p in paths]
        masks = [cv2.imread(str(p).replace("_rgb.jpg", "_mask.png"), cv2.IMREAD_GRAYSCALE) for p in paths]
        self.pictures, self.masks = (torch.from_numpy(np.stack(v)).to(device) for v in (pictures, masks))

    def windows(self, size: int, batch: int, generator) -> tuple[torch.Tensor, torch.Tensor]:
        height, width = self.masks.shape[1:]
        found = []
        for _ in range(batch):
            one, y, x = (
                int(torch.randint(n, (1,), generator=generator))
                for n in (len(self.masks), height - size + 1, width - size + 1)
            )
            found.append([v[one, y : y + size, x : x + size] for v in (self.pictures, self.masks)])
        return tuple(torch.stack(v) for v in zip(*found, strict=True))


def drawn_windows(shelf, count: int, generator):
    return _scaled(shelf.pictures, count, SCALES, generator)


def field_windows(field: FieldPhotos, count: int, generator):
    return _scaled(field.windows, count, FIELD_SCALES, generator, field.masks.shape[1])


def plain_batch(parts: list, generator) -> tuple[torch.Tensor, torch.Tensor]:
    """Input (B, 5, CROP_PX, CROP_PX) and share of vegetation (B, CROP_PX, CROP_PX) of pictures alone."""
    image, mask = (torch.cat(v) for v in zip(*parts, strict=True))
    image = _softened(recoloured(image))
    for axis in (-1, -2):
        if torch.rand((), generator=generator) < 0.5:
            image, mask = image.flip(axis), mask.flip(axis)
    if torch.rand((), generator=generator) < 0.5:
        image, mask = image.transpose(-1, -2), mask.transpose(-1, -2)
    return F.pad(image, (0, 0, 0, 0, 0, 2)), mask


def told_batch(ready: dict, dense: torch.Tensor, generator) -> tuple[torch.Tensor, torch.Tensor]:
    """The same, of flats that the overhead network has read; a quarter of them forget what it said.

    ready : of `train_overhead.prepare`; dense : the network's answer to it
    """
    told = woven(dense.detach()).clamp(-8, 8) / 8
    told = told * torch.empty((len(told), 1, 1, 1), device=told.device).uniform_(0.4, 1.1)
    told = told + 0.1 * _cloudy(told)
    told = told * (torch.rand((len(told), 1, 1, 1), device=told.device) > 0.25)
    told = F.interpolate(told.clamp(-1, 1), scale_factor=2.0, mode="bilinear", align_corners=False)
    y, x = (int(torch.randint(n - CROP_PX + 1, (1,), generator=generator)) for n in told.shape[2:])
    window = (Ellipsis, slice(y, y + CROP_PX), slice(x, x + CROP_PX))
    return torch.cat([ready["picture"][window], told[window]], 1), ready["share"][window]


def _cloudy(like: torch.Tensor) -> torch.Tensor:
    """Smooth noise: what the overhead network says of a flat it has learnt from is surer than it will be later."""
    small = torch.randn((*like.shape[:2], like.shape[2] // 32, like.shape[3] // 32), device=like.device)
    return F.interpolate(small, like.shape[2:], mode="bilinear", align_corners=False)


def woven(dense: torch.Tensor) -> torch.Tensor:
    """(B, 17, m, n) -> (B, 2, 2m, 2n): vegetation and stem logits pixel by pixel."""
    return F.pixel_shuffle(dense[:, :8], 2)


def _scaled(windows, count: int, scales: tuple[float, float], generator, most: int = 10_000):
    low, high = np.log(scales)
    scale = float(np.exp(low + (high - low) * torch.rand((), generator=generator).item()))
    image, mask = windows(min(round(CROP_PX * scale), most), count, generator)
    image = image.permute(0, 3, 1, 2).float() / 255
    mask = mask[:, None].float() / 255
    size = (CROP_PX, CROP_PX)
    image, mask = (F.interpolate(v, size, mode="bilinear", antialias=True, align_corners=False) for v in (image, mask))
    return image, mask[:, 0]


def _softened(image: torch.Tensor) -> torch.Tensor:
    """One in three a little blurred."""
    if torch.rand(()) > 0.33:
        return image
    k = torch.tensor([0.25, 0.5, 0.25], device=image.device)
    kernel = (k[:, None] * k).expand(3, 1, 3, 3)
    return F.conv2d(F.pad(image, (1, 1, 1, 1), mode="replicate"), kernel, groups=3)


def vegetation_losses(logits: torch.Tensor, mask: torch.Tensor) -> dict[str, torch.Tensor]:
    target = phases(mask)
    near = F.max_pool2d(mask[:, None], 9, stride=1, padding=4)[:, 0]
    weight = 0.3 + phases(near)  # pixels at and in plants decide; a picture of few plants counts like any other
    weight = weight / weight.mean(dim=(1, 2, 3), keepdim=True)
    cross = F.binary_cross_entropy_with_logits(logits, target, weight=weight)
    p = torch.sigmoid(logits)
    both, sums = (p * target).sum((1, 2, 3)), p.sum((1, 2, 3)) + target.sum((1, 2, 3))
    return {"edges": 2 * cross, "overlap": 0.7 * (1 - (2 * both + 30) / (sums + 30)).mean()}
