"""What the lessons share: a network with its optimiser and running average, colours, losses (needs PyTorch)."""

from __future__ import annotations

import copy
import math
from pathlib import Path

import torch
from torch import nn
from torch.nn import functional as F

AVERAGED_STEPS = 0.998


class Learner:
    def __init__(self, network: nn.Module, device: str, rate: float, start: Path | None = None) -> None:
        self.device, self.rate, self.steps, self.shown = device, rate, 0, {}
        self.network = network.to(device).to(memory_format=torch.channels_last)
        if start is not None:
            self.network.load_state_dict(torch.load(start, map_location=device))
        self.average = copy.deepcopy(self.network)
        self._averaged, self._current = (
            [v for v in n.state_dict().values() if v.is_floating_point()] for n in (self.average, self.network)
        )
        fused = device.startswith("cuda")
        self.optimiser = torch.optim.AdamW(self.network.parameters(), lr=rate, weight_decay=0.02, fused=fused)

    def answer(self, inputs: torch.Tensor):
        with torch.autocast(self.device.split(":")[0], torch.bfloat16):
            out = self.network(inputs.to(memory_format=torch.channels_last))
        return out.float() if isinstance(out, torch.Tensor) else [o.float() for o in out]

    def learn(self, parts: dict[str, torch.Tensor], share: float) -> None:
        """One step down the sum of the losses. share : of the time that has passed, 0-1; sets the rate."""
        rate = self.rate * min(1, (self.steps + 1) / 300) * (0.5 + 0.5 * math.cos(share * math.pi))
        for group in self.optimiser.param_groups:
            group["lr"] = rate + 1e-6
        self.optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        nn.utils.clip_grad_norm_(self.network.parameters(), 5.0)
        self.optimiser.step()
        keep = min(AVERAGED_STEPS, (self.steps + 1) / (self.steps + 20))
        with torch.no_grad():
            torch._foreach_lerp_(self._averaged, self._current, 1 - keep)
        if self.steps % 50 == 0:
            for k, v in parts.items():
                self.shown[k] = 0.8 * self.shown.get(k, v.item()) + 0.2 * v.item()
        self.steps += 1

    def save(self, path: Path) -> None:
        torch.save(self.average.state_dict(), path)


def _uniform(low: float, high: float, like: torch.Tensor, channels: int = 1) -> torch.Tensor:
    return torch.empty((len(like), channels, 1, 1), device=like.device).uniform_(low, high)


def recoloured(image: torch.Tensor) -> torch.Tensor:
    """(B, 3, M, N) 0-1 under another light, by another phone."""
    image = image * _uniform(0.85, 1.15, image, 3) * _uniform(0.8, 1.2, image)
    image = image.clamp(1e-4, 1) ** _uniform(0.8, 1.25, image)
    grey = image.mean(dim=1, keepdim=True)
    image = grey + (image - grey) * _uniform(0.75, 1.25, image)
    noisy = (_uniform(0, 1, image) < 0.5) * _uniform(0, 0.03, image)
    return (image + torch.randn_like(image) * noisy).clamp(0, 1)


def phases(mask: torch.Tensor) -> torch.Tensor:
    """(B, M, N) -> (B, 4, M/2, N/2), the 2 x 2 pixels row by row."""
    return torch.stack([mask[:, 0::2, 0::2], mask[:, 0::2, 1::2], mask[:, 1::2, 0::2], mask[:, 1::2, 1::2]], 1)


def masks_loss(logits: torch.Tensor, target: torch.Tensor) -> torch.Tensor:
    p = torch.sigmoid(logits)
    dice = 1 - (2 * (p * target).sum() + 10) / (p.sum() + target.sum() + 10)
    return F.binary_cross_entropy_with_logits(logits, target) * 2 + 0.5 * dice
