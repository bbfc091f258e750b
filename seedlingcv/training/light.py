"""What lamp and phone do to a scene: cast, gradient, blur, noise, its removal, sharpening, JPEG."""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.training.ground import noise


def photograph(picture: np.ndarray, rng) -> np.ndarray:
    """float32 BGR 0-1, about 6 px a mm -> uint8 as after white balance by the cards."""
    turn = rng.uniform(0, 6.3)
    out = _developed(_lighted(picture, turn, rng), rng)
    out = _blurred(out, turn, rng)
    out += _grain(out.shape, rng)
    if rng.random() < 0.6:
        out = _smooth_colours(out, rng)
    if rng.random() < 0.7:
        amount = rng.uniform(0.2, 1.2)
        out += amount * (out - cv2.GaussianBlur(out, (0, 0), rng.uniform(0.7, 2.5)))
    stored = np.clip(out * 255, 0, 255).astype(np.uint8)
    quality = int(rng.uniform(70, 97))
    return cv2.imdecode(cv2.imencode(".jpg", stored, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_COLOR)


def _lighted(picture: np.ndarray, turn: float, rng) -> np.ndarray:
    height, width = picture.shape[:2]
    x, y = (np.linspace(-0.5, 0.5, n, dtype=np.float32) for n in (width, height))
    x, y = x[None], y[:, None]
    slope = (x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn))) * np.float32(rng.uniform(0, 0.5))
    dim = 1 - np.float32(rng.uniform(0, 0.25) * 2) * (x**2 + y**2)
    light = (1 + slope) * dim * np.float32(rng.uniform(0.75, 1.2))
    if rng.random() < 0.15:
        light *= 1 + np.float32(0.12) * noise((height, width), rng.uniform(180, 750), rng)
    gains = 1 + rng.normal(0, 0.045, 3)
    if rng.random() < 0.15:
        gains *= 1 + rng.normal(0, 0.1, 3)
    out = picture * light[..., None] * gains.astype(np.float32)
    if rng.random() < 0.3:  # mixed colours of light from two sides
        out *= 1 + x[..., None] * rng.normal(0, 0.08, 3).astype(np.float32)
    if rng.random() < 0.15:  # coloured lamp: channels leak into each other before balancing
        mix = np.eye(3) + rng.uniform(0, 0.16, (3, 3)) * (1 - np.eye(3))
        out = cv2.transform(out, mix / mix.sum(1, keepdims=True))
    return out


def _developed(out: np.ndarray, rng) -> np.ndarray:
    """The phone's colour and tone."""
    grey = out.mean(axis=2, keepdims=True)
    out = grey + (out - grey) * np.float32(rng.uniform(0.7, 1.35))
    out = np.clip(out, 0, 1.3) ** np.float32(rng.uniform(0.72, 1.15))
    if rng.random() < 0.5:
        strength = np.float32(rng.uniform(0.3, 1.3))
        out = np.float32(0.5) + np.tanh((np.clip(out, 0, 1.2) - np.float32(0.5)) * strength) / (
            2 * np.tanh(strength / 2))
    return out


def _blurred(out: np.ndarray, turn: float, rng) -> np.ndarray:
    blur = rng.uniform(0.4, 1.8) if rng.random() < 0.85 else rng.uniform(1.8, 3.5)
    out = cv2.GaussianBlur(out, (0, 0), blur)
    if rng.random() < 0.12:  # a hand that shakes
        kernel = np.zeros((23, 23), np.float32)
        step = rng.uniform(2, 10) * np.array([np.cos(turn), np.sin(turn)])
        ends = [tuple(np.round(11 + sign * step).astype(int).tolist()) for sign in (-1, 1)]
        cv2.line(kernel, *ends, 1)
        out = cv2.filter2D(out, -1, kernel / kernel.sum())
    return out


def _grain(shape: tuple[int, int, int], rng) -> np.ndarray:
    level = rng.choice([rng.uniform(0, 0.015), rng.uniform(0.01, 0.05)], p=[0.7, 0.3])
    grain = rng.standard_normal(shape, np.float32) * np.array([1.3, rng.uniform(0.8, 2), 1.0], np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), rng.uniform(0.4, 1.6))
    return grain * np.float32(level / grain[::7, ::7].std())


def _smooth_colours(out: np.ndarray, rng) -> np.ndarray:
    """Phones smooth colour more than brightness, so colours bleed past edges."""
    grey = cv2.transform(out, np.array([[0.114, 0.587, 0.299]], np.float32))[..., None]
    return grey + cv2.GaussianBlur(out - grey, (0, 0), rng.uniform(0.6, 2.6))
