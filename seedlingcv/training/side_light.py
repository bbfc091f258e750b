"""What lamp and phone do to a side view, up to the strip that the network reads."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.training.ground import noise


def photograph(picture: np.ndarray, size: int, rng) -> np.ndarray:
    """float32 BGR 0-1 at the photo's resolution -> uint8 (size, size, 3) as after white balance by the cards."""
    n = len(picture)
    y, x = np.mgrid[:n, :n].astype(np.float32) / n - 0.5
    turn = rng.uniform(0, 6.3)
    light = (1 + rng.uniform(0, 0.5) * (x * np.cos(turn) + y * np.sin(turn))) * rng.uniform(0.7, 1.3)
    if rng.random() < 0.12:
        light = light * (1 + 0.08 * noise((n, n), rng.uniform(150, 600), rng))
    gains = 1 + rng.normal(0, 0.05, 3)
    if rng.random() < 0.3:  # no or wrong white balance
        gains *= np.exp(rng.normal(0, 0.22, 3))
    out = picture * light[..., None] * gains.astype(np.float32)
    if rng.random() < 0.25:
        out *= 1 + x[..., None] * rng.normal(0, 0.12, 3).astype(np.float32)
    out, weak = _narrow_lamp(out, rng) if rng.random() < 0.17 else (out, 1.0)
    grey = out.mean(axis=2, keepdims=True)
    out = grey + (out - grey) * rng.uniform(0.65, 1.35)
    out = np.clip(out, 0, 1.3) ** rng.uniform(0.7, 1.3)
    if rng.random() < 0.5:
        strength = rng.uniform(0.3, 1.6)
        out = 0.5 + np.tanh((np.clip(out, 0, 1.2) - 0.5) * strength) / (2 * np.tanh(strength / 2))
    blur = rng.uniform(0.3, 1.1) if rng.random() < 0.8 else rng.uniform(1, 2.0)
    out = cv2.GaussianBlur(out.astype(np.float32), (0, 0), blur)
    if rng.random() < 0.12:
        kernel = np.zeros((9, 9), np.float32)
        step = rng.uniform(0.8, 3) * np.array([np.cos(turn), np.sin(turn)])
        cv2.line(kernel, *(tuple(np.round(4 + s * step).astype(int).tolist()) for s in (-1, 1)), 1)
        out = cv2.filter2D(out, -1, kernel / kernel.sum())
    level = rng.choice([rng.uniform(0, 0.012), rng.uniform(0.01, 0.04)], p=[0.65, 0.35])
    grain = rng.normal(size=(n, n, 3)).astype(np.float32) * np.array([rng.uniform(1, 2), weak, 1.0], np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.4, 1.5))
    out += level * grain / grain.std()
    if rng.random() < 0.6:
        out += rng.uniform(0.2, 1.1) * (out - cv2.GaussianBlur(out, (0, 0), rng.uniform(0.7, 1.6)))
    stored = np.clip(out * 255, 0, 255).astype(np.uint8)
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.uniform(60, 96))]
    stored = cv2.imdecode(cv2.imencode(".jpg", stored, quality)[1], cv2.IMREAD_COLOR)
    at = ((np.arange(size, dtype=np.float32) + 0.5) * n / size - 0.5)[None].repeat(size, 0)
    return cv2.remap(stored, at, np.ascontiguousarray(at.T), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _narrow_lamp(picture, rng):
    """A lamp with hardly any light of one colour (pink growing lights lack green): that channel shows what the
    others leak into it, is noisier, and stays too low or too high after balancing."""
    channel = int(rng.choice([1, 1, 1, 0, 2]))
    own = rng.uniform(0.05, 0.6)
    others = [c for c in range(3) if c != channel]
    share = rng.uniform(0.2, 0.8)
    mix = np.eye(3)
    mix[channel] = 0
    mix[channel, channel], mix[channel, others[0]], mix[channel, others[1]] = (
        own, (1 - own) * share, (1 - own) * (1 - share))
    mix[channel] *= rng.uniform(0.4, 1.05)  # what balancing leaves
    return cv2.transform(picture.astype(np.float32), mix.astype(np.float32)), rng.uniform(1, 3)
