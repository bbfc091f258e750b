"""Scenes and flats on the graphics card, from which training cuts its windows (needs PyTorch)."""

from __future__ import annotations

import multiprocessing
import os
import threading
from pathlib import Path

import cv2
import numpy as np
import torch

from seedlingcv.training.flats import load
from seedlingcv.training.samples import sample


def _stand_back() -> None:
    """A drawing process uses one core and leaves the training loop in front."""
    os.nice(10)
    cv2.setNumThreads(1)


class Shelf:
    """`ready` pictures with their truth, each array of `samples.sample` stacked."""

    def __init__(self, device: str) -> None:
        self.ready, self.data, self.device = 0, {}, device

    def crops(self, size: int, batch: int, generator) -> dict[str, torch.Tensor]:
        """Windows of size x size truth pixels and of the picture there (2 size x 2 size), anywhere."""
        height, width = self.data["owner"].shape[1:3]
        index = torch.randint(self.ready, (batch,), generator=generator).to(self.device)
        y, x = (
            (torch.randint((n - size) // 2 + 1, (batch,), generator=generator) * 2).to(self.device)
            for n in (height, width)
        )
        out = {k: _windows(self.data[k], index, y, x, size) for k in ("owner", "blade", "stem")}
        out |= {k: _windows(self.data[k], index, 2 * y, 2 * x, 2 * size) for k in ("image", "vegetation")}
        half = _windows(self.data["heat"].permute(0, 2, 3, 1), index, y // 2, x // 2, size // 2)
        out["heat"] = half.permute(0, 3, 1, 2)
        out |= {k: self.data[k][index] for k in ("bases", "middles", "cells", "place", "eye", "parts")}
        return out | {"corner": torch.stack([x, y], 1).float()}

    def pictures(self, size: int, batch: int, generator) -> tuple[torch.Tensor, torch.Tensor]:
        """Windows of the picture (batch, size, size, 3) and of its vegetation (batch, size, size), 0-255."""
        height, width = self.data["image"].shape[1:3]
        index = torch.randint(self.ready, (batch,), generator=generator).to(self.device)
        y, x = (torch.randint(n - size + 1, (batch,), generator=generator).to(self.device) for n in (height, width))
        return tuple(_windows(self.data[k], index, y, x, size) for k in ("image", "vegetation"))


class Drawn(Shelf):
    """Invented scenes of `count` seeds, drawn by other processor cores while training goes on."""

    def __init__(self, count: int, first_seed: int, workers: int, device: str) -> None:
        super().__init__(device)
        self.count, self.seeds = count, range(first_seed, first_seed + count)
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


class Photographed(Shelf):
    """Photos of flats with exact truth, as `flats.prepare` left them."""

    def __init__(self, files: list[Path], device: str) -> None:
        super().__init__(device)
        loaded = [load(path) for path in files]
        self.ready = len(loaded)
        self.data = {k: torch.from_numpy(np.stack([one[k] for one in loaded])).to(device) for k in loaded[0]}


def _windows(data: torch.Tensor, index, y, x, size: int) -> torch.Tensor:
    steps = torch.arange(size, device=data.device)
    return data[index[:, None, None], (y[:, None] + steps)[:, :, None], (x[:, None] + steps)[:, None, :]]
