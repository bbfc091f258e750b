"""What lamp and phone do to a scene: cast, gradient, blur, noise, sharpening, JPEG."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.training.ground import noise


def photograph(picture: np.ndarray, rng) -> np.ndarray:
    """float32 BGR 0-1 -> uint8 as after white balance by the cards."""
    height, width = picture.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    turn = rng.uniform(0, 6.3)
    slope = ((x / width - 0.5) * np.cos(turn) + (y / height - 0.5) * np.sin(turn)) * rng.uniform(0, 0.5)
    dim = 1 - rng.uniform(0, 0.25) * ((x / width - 0.5) ** 2 + (y / height - 0.5) ** 2) * 2
    light = (1 + slope) * dim * rng.uniform(0.75, 1.2)
    if rng.random() < 0.15:
        light = light * (1 + 0.12 * noise((height, width), rng.uniform(60, 250), rng))
    gains = 1 + rng.normal(0, 0.045, 3)
    if rng.random() < 0.15:
        gains *= 1 + rng.normal(0, 0.1, 3)
    out = picture * light[..., None] * gains.astype(np.float32)
    if rng.random() < 0.3:  # mixed colours of light from two sides
        out *= 1 + (x / width - 0.5)[..., None] * rng.normal(0, 0.08, 3).astype(np.float32)
    if rng.random() < 0.12:  # coloured lamp: channels leak into each other before balancing
        mix = np.eye(3) + rng.uniform(0, 0.16, (3, 3)) * (1 - np.eye(3))
        out = cv2.transform(out.astype(np.float32), mix / mix.sum(1, keepdims=True))
    grey = out.mean(axis=2, keepdims=True)
    out = grey + (out - grey) * rng.uniform(0.7, 1.35)
    out = np.clip(out, 0, 1.3) ** rng.uniform(0.72, 1.15)
    if rng.random() < 0.5:
        strength = rng.uniform(0.3, 1.3)
        out = 0.5 + np.tanh((np.clip(out, 0, 1.2) - 0.5) * strength) / (2 * np.tanh(strength / 2))
    blur = rng.uniform(0.2, 1.0) if rng.random() < 0.8 else rng.uniform(1, 1.7)
    out = cv2.GaussianBlur(out.astype(np.float32), (0, 0), blur)
    if rng.random() < 0.12:
        kernel = np.zeros((9, 9), np.float32)
        step = rng.uniform(1, 3.5) * np.array([np.cos(turn), np.sin(turn)])
        cv2.line(
            kernel, tuple(np.round(4 - step).astype(int).tolist()), tuple(np.round(4 + step).astype(int).tolist()), 1
        )
        out = cv2.filter2D(out, -1, kernel / kernel.sum())
    level = rng.choice([rng.uniform(0, 0.012), rng.uniform(0.01, 0.04)], p=[0.7, 0.3])
    grain = rng.normal(size=(height, width, 3)).astype(np.float32) * np.array(
        [1.3, rng.uniform(0.8, 2), 1.0], np.float32
    )
    grain = cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.4, 1.3))
    out += level * grain / grain.std()
    if rng.random() < 0.6:
        amount = rng.uniform(0.2, 1.0)
        out += amount * (out - cv2.GaussianBlur(out, (0, 0), rng.uniform(0.7, 1.5)))
    stored = np.clip(out * 255, 0, 255).astype(np.uint8)
    quality = int(rng.uniform(62, 96))
    return cv2.imdecode(cv2.imencode(".jpg", stored, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_COLOR)
