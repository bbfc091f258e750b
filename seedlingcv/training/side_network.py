"""The side network: a small U-shaped convolutional network, 0.3 million weights (needs PyTorch)."""

from __future__ import annotations

import torch
from torch import nn
from torch.nn import functional as F

WIDTHS = (20, 32, 40, 44, 52)  # channels at 1/2, 1/4 ... 1/32 of the strip's resolution
WAY_MM = 50.0


class Block(nn.Module):
    def __init__(self, width: int) -> None:
        super().__init__()
        self.first, self.second = (nn.Conv2d(width, width, 3, padding=1, bias=False) for _ in range(2))
        self.norm1, self.norm2 = nn.BatchNorm2d(width), nn.BatchNorm2d(width)

    def forward(self, x):
        y = F.relu(self.norm1(self.first(x)))
        return F.relu(x + self.norm2(self.second(y)))


class Wide(nn.Module):
    """Looks 9 coarse pixels up and down and sideways, for few weights: a stem is far taller than wide."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.spread = nn.Conv2d(width, width, 9, padding=4, groups=width, bias=False)
        self.mix, self.norm = nn.Conv2d(width, width, 1, bias=False), nn.BatchNorm2d(width)

    def forward(self, x):
        return F.relu(x + self.norm(self.mix(self.spread(x))))


class SideNet(nn.Module):
    """(B, 7, M, N) -> fine (B, 19, M/2, N/2), ways (B, 6, M/4, N/4). M and N are multiples of 32.

    input  blue, green, red 0-1; height above the mix in mm / 50; height above the sight line of the divider behind
           and of the rim in front, in mm / 10, at most 2 either way; pitch in mm / 100
    fine   logits of the 2 x 2 pixels (row by row): 0-3 vegetation, 4-7 petiole, 8-11 hypocotyl, 12-15 epicotyl;
           16-18 logits of soil points, seed-leaf nodes, shoot apices. Stems and points also where they are hidden.
    ways   of the plant seen (or of the stem that is hidden there): 0 sideways to its soil point, 1-2 sideways and
           down to its node, 3-4 to its apex, in mm / 50; 5 log of its stem's diameter in mm, half-way up the
           hypocotyl, to be read on stems
    """

    def __init__(self) -> None:
        super().__init__()
        self.downs, self.blocks, self.joins, self.ups = (nn.ModuleList() for _ in range(4))
        before = 7
        for level, width in enumerate(WIDTHS):
            size = 4 if level == 0 else 3
            self.downs.append(nn.Sequential(nn.Conv2d(before, width, size, stride=2, padding=1, bias=False),
                                            nn.BatchNorm2d(width), nn.ReLU()))
            self.blocks.append(nn.Sequential(Block(width), Wide(width)) if level > 1 else Block(width))
            before = width
        for level in range(len(WIDTHS) - 1):
            self.joins.append(nn.Conv2d(WIDTHS[level + 1], WIDTHS[level], 1))
            self.ups.append(Block(WIDTHS[level]))
        self.fine, self.ways = nn.Conv2d(WIDTHS[0], 19, 1), nn.Conv2d(WIDTHS[1], 6, 1)
        with torch.no_grad():
            self.fine.bias[16:] = -4.0

    def forward(self, x):
        kept = []
        for down, block in zip(self.downs, self.blocks, strict=True):
            x = block(down(x))
            kept.append(x)
        ways = None
        for level in reversed(range(len(WIDTHS) - 1)):
            x = F.interpolate(self.joins[level](x), scale_factor=2.0, mode="nearest")
            x = self.ups[level](x + kept[level])
            if level == 1:
                ways = self.ways(x)
        return self.fine(x), ways
