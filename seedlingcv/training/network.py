"""The two networks for photos from above, both U-shaped and convolutional (needs PyTorch)."""

from __future__ import annotations

import torch
from torch import nn
from torch.nn import functional as F

WIDTHS = (24, 48, 72, 88, 96)  # channels at 1/2, 1/4 ... 1/32 of the picture's resolution
DEPTHS = (1, 1, 1, 1, 1)


class Block(nn.Module):
    def __init__(self, width: int) -> None:
        super().__init__()
        self.first, self.second = (
            nn.Conv2d(width, width, 3, padding=1, bias=False),
            nn.Conv2d(width, width, 3, padding=1, bias=False),
        )
        self.norm1, self.norm2 = nn.BatchNorm2d(width), nn.BatchNorm2d(width)

    def forward(self, x):
        y = F.relu(self.norm1(self.first(x)))
        return F.relu(x + self.norm2(self.second(y)))


def _down(inputs: int, outputs: int, size: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride=2, padding=1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU()
    )


class OverheadNet(nn.Module):
    """(B, 8, M, N) -> dense (B, 17, M/2, N/2), owner (B, 50, M/4, N/4), cells (B, 6, M/8, N/8).

    M and N are multiples of 32.

    input   blue, green, red 0-1; pixel minus its cell's centre, x and y, in pitches; pitch in mm / 100; point
            below the camera minus pixel, x and y, in mm / 500
    dense   0-3 vegetation and 4-7 stem logits of the 2 x 2 pixels (row by row); 8-9 way to the stem base in
            mm / 50; 10-13 logits of crop bases, weed bases, true leaves' and cotyledons' middles; 14-15 way to
            the blade's middle in mm / 25; 16 logit of a weed, where there is a plant
    owner   logits: the plant stands 3 rows up and 3 columns left of the pixel's own cell, ... 3 down and 3 right
            (7 x 7, row by row), 49 = further away
    cells   to be read at cells' centres: 0-2 logits of 0, 1, 2+ crop plants; 3 true leaves, 4 spread in mm / 50,
            5 height in mm / 50, of the cell's plant
    """

    def __init__(self) -> None:
        super().__init__()
        self.downs, self.blocks, self.joins, self.ups = (nn.ModuleList() for _ in range(4))
        before = 8
        for level, width in enumerate(WIDTHS):
            self.downs.append(_down(before, width, 4 if level == 0 else 3))
            self.blocks.append(nn.Sequential(*(Block(width) for _ in range(DEPTHS[level]))))
            before = width
        for level in range(len(WIDTHS) - 1):
            self.joins.append(nn.Conv2d(WIDTHS[level + 1], WIDTHS[level], 1))
            self.ups.append(Block(WIDTHS[level]))
        self.dense = nn.Conv2d(WIDTHS[0], 17, 1)
        self.owner = nn.Conv2d(WIDTHS[1], 50, 1)
        self.fine = nn.Sequential(nn.Conv2d(WIDTHS[1], 32, 3, stride=2, padding=1), nn.ReLU())
        self.cells = nn.Sequential(nn.Conv2d(WIDTHS[2] + 32, 48, 3, padding=1), nn.ReLU(), nn.Conv2d(48, 6, 1))
        with torch.no_grad():
            self.dense.bias[10:14] = -4.0

    def forward(self, x):
        kept = []
        for down, block in zip(self.downs, self.blocks, strict=True):
            x = block(down(x))
            kept.append(x)
        owner = cells = None
        for level in reversed(range(len(WIDTHS) - 1)):
            x = F.interpolate(self.joins[level](x), scale_factor=2.0, mode="nearest")
            x = self.ups[level](x + kept[level])
            if level == 2:
                coarse = x
            if level == 1:
                owner, cells = self.owner(x), self.cells(torch.cat([coarse, self.fine(x)], 1))
        return self.dense(x), owner, cells


VEGETATION_WIDTHS = (16, 24, 36, 44, 48)


class VegetationNet(nn.Module):
    """(B, 5, M, N) -> (B, 4, M/2, N/2), some 0.23 million weights. M and N are multiples of 32.

    input   blue, green, red 0-1; the overhead network's vegetation and stem logits / 8, -1 to 1, 0 where it was not
            asked
    output  vegetation logits of the 2 x 2 pixels, row by row
    """

    def __init__(self) -> None:
        super().__init__()
        widths = VEGETATION_WIDTHS
        self.downs = nn.ModuleList(
            _down(before, width, 4 if level == 0 else 3)
            for level, (before, width) in enumerate(zip((5, *widths[:-1]), widths, strict=True))
        )
        self.blocks = nn.ModuleList(Block(width) for width in widths[1:])
        self.joins = nn.ModuleList(nn.Conv2d(b, a, 1) for a, b in zip(widths[:-1], widths[1:], strict=True))
        self.ups = nn.ModuleList(Block(width) for width in widths[1:-1])
        self.last = nn.Sequential(
            nn.Conv2d(widths[0], widths[0], 3, padding=1, bias=False), nn.BatchNorm2d(widths[0]), nn.ReLU()
        )
        self.head = nn.Conv2d(widths[0], 4, 3, padding=1)

    def forward(self, x):
        kept = [x := self.downs[0](x)]
        for down, block in zip(self.downs[1:], self.blocks, strict=True):
            kept.append(x := block(down(x)))
        for level in reversed(range(len(kept) - 1)):
            x = kept[level] + F.interpolate(self.joins[level](x), scale_factor=2.0, mode="nearest")
            x = self.ups[level - 1](x) if level else self.last(x)
        return self.head(x)
