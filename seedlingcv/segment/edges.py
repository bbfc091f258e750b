"""Where exactly leaves and stems end: a second small network, on the photo at 4 px a mm.

The overhead network (`model`) knows what a flat looks like but sees 2 px a mm, where a stem is two or three pixels
wide. This one looks closer and is told what the first one thinks of each place. It answers without being told, too,
but less well. How it was trained: training/MODEL_CARD.md.
"""

from __future__ import annotations

import cv2
import numpy as np

from seedlingcv.segment.network import FOLDER, chance, load, woven

PX_PER_MM = 4.0
TILE_PX = (768, 1312)  # rows, columns; fixed in the file. Four of them cover a flat; less memory than one large one
WEIGHTS = FOLDER / "vegetation.onnx"
EDGE_PX = 32  # of a tile, where it sees too little around: taken from its neighbour


def vegetation_chance(picture: np.ndarray, told: np.ndarray | None = None) -> np.ndarray:
    """uint8 (M, N), the chance that a pixel shows a plant, 255 = certain.

    picture : uint8 (M, N, 3) BGR, light-corrected, about 4 px a mm
    told : float32 (2, M, N), logits of vegetation and of stems as the overhead network gives them, or None
    """
    height, width = picture.shape[:2]
    rows, columns = (_starts(n, tile) for n, tile in zip((height, width), TILE_PX, strict=True))
    network = load(WEIGHTS)
    out = np.zeros((height, width), np.uint8)
    for top in rows:
        for left in columns:
            window = np.s_[top : top + TILE_PX[0], left : left + TILE_PX[1]]
            answer = _answer(network, picture[window], None if told is None else told[(slice(None), *window)])
            inner = np.s_[EDGE_PX if top else 0 :, EDGE_PX if left else 0 :]
            out[window][inner] = answer[: height - top, : width - left][inner]
    return out


def _starts(length: int, tile: int) -> list[int]:
    """First pixels of as few tiles as cover a length, each reaching 2 EDGE_PX into the one before."""
    step = tile - 2 * EDGE_PX
    return list(range(0, max(length - 2 * EDGE_PX, 1), step))


def _answer(network: cv2.dnn.Net, picture: np.ndarray, told: np.ndarray | None) -> np.ndarray:
    height, width = picture.shape[:2]
    padding = (0, TILE_PX[0] - height, 0, TILE_PX[1] - width)
    planes = np.zeros((1, 5, *TILE_PX), np.float32)
    whole = cv2.copyMakeBorder(picture, *padding, cv2.BORDER_REFLECT)
    np.multiply(whole.transpose(2, 0, 1), np.float32(1 / 255), out=planes[0, :3])
    if told is not None:
        planes[0, 3:, :height, :width] = np.clip(told, -8, 8) / 8
    network.setInput(planes)
    return (255 * chance(woven(network.forward()[0])) + 0.5).astype(np.uint8)
