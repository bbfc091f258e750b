"""What a small neural network sees in the overhead photo: vegetation, whose it is, stem bases, blades.

The network was trained only on invented scenes; see training/MODEL_CARD.md. It runs through OpenCV on the
processor, in about a quarter of a second, and gives the same numbers each time.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flat.layout import FlatLayout
from seedlingcv.flat.rectify import PlaneView, plane_view
from seedlingcv.segment.network import FOLDER, Peaks, chance, load, tops, woven

PX_PER_MM = 2.0
MARGIN_MM = 32.0
INPUT_PX = (704, 1248)  # rows, columns; fixed in the file
LEAST_PEAK = 0.15
COUNT_WEIGHTS = (1.5, 1.0, 2.0)  # of 0, 1, 2+ plants in training; taken out again to get chances


@dataclass(frozen=True)
class FlatReading:
    """The network's answer over `view` (the rim plane, 2 px a mm), M x N pixels.

    vegetation : float32 (M, N), chance that the pixel shows a plant (moss is none)
    stem : float32 (M, N), chance that it shows a stem or petiole
    way_mm : float32 (M/2, N/2, 2), from where a plant's pixel appears to where its stem's base appears
    inner_mm : float32 (M/2, N/2, 2), from a blade's pixel to the middle of its blade
    owner : float32 (50, M/4, N/4), log chances of the plant's cell against the pixel's own cell: 3 rows up and 3
        columns left ... 3 down and 3 right, row by row; the last one: further away or outside
    leaves, cotyledons : peaks in the middle of blades
    count : float32 (cells, 3), chances of 0, 1, and 2 or more crop plants in each cell
    true_leaves : float32 (cells,), the network's estimate for the cell's one plant
    """

    view: PlaneView
    eye_mm: np.ndarray
    vegetation: np.ndarray
    stem: np.ndarray
    way_mm: np.ndarray
    inner_mm: np.ndarray
    owner: np.ndarray
    leaves: Peaks
    cotyledons: Peaks
    count: np.ndarray
    true_leaves: np.ndarray


def reading_view(layout: FlatLayout) -> PlaneView:
    """The view to rectify the photo to before `read_flat`."""
    return plane_view(layout.outer_mm, PX_PER_MM, margin_mm=MARGIN_MM)


def read_flat(image: np.ndarray, layout: FlatLayout, eye_mm: np.ndarray) -> FlatReading:
    """Run the network.

    image : uint8 (M, N, 3) BGR, the photo rectified to `reading_view(layout)` and balanced by the cards' white
    eye_mm : (3,), the camera in the flat's frame

    Raises ValueError where the picture has not the view's size, or the flat is larger than the network reads.
    """
    view = reading_view(layout)
    if image.shape != (view.height, view.width, 3):
        raise ValueError(f"The picture is {image.shape}, the view {(view.height, view.width, 3)}.")
    if view.height > INPUT_PX[0] or view.width > INPUT_PX[1]:
        raise ValueError(f"The network reads flats up to {INPUT_PX} px; this one takes {(view.height, view.width)}.")
    padded = np.zeros((1, 8, *INPUT_PX), np.float32)
    fill_input(padded[0, :, : view.height, : view.width], image, view, layout, eye_mm)
    network = load(FOLDER / "overhead.onnx")
    network.setInput(padded)
    dense, owner, cells = network.forward(["dense", "owner", "cells"])
    del network, padded
    dense = dense[0, :, : view.height // 2, : view.width // 2]
    owner = owner[0, :, : view.height // 4, : view.width // 4]
    at_cells = _read_at(cells[0], layout, view)
    way, inner = (np.ascontiguousarray(dense[k : k + 2].transpose(1, 2, 0)) * unit for k, unit in ((8, 50), (14, 25)))
    peaks = [_peaks(chance(dense[k]), view) for k in (12, 13)]
    return FlatReading(
        view,
        np.asarray(eye_mm, float),
        chance(woven(dense[:4])),
        chance(woven(dense[4:8])),
        way,
        inner,
        owner - np.log(np.exp(owner).sum(axis=0)),
        *peaks,
        _shares(at_cells[:, :3] - np.log(COUNT_WEIGHTS)),
        np.maximum(at_cells[:, 3], 0),
    )


def fill_input(
    planes: np.ndarray, image: np.ndarray, view: PlaneView, layout: FlatLayout, eye_mm: np.ndarray
) -> None:
    """Write float32 (8, M, N); the meaning of the planes is told in training/network.py."""
    height, width = image.shape[:2]
    np.multiply(image.transpose(2, 0, 1), np.float32(1 / 255), out=planes[:3])
    for axis, (length, cells) in enumerate(((width, layout.columns), (height, layout.rows))):
        at = (view.x0, view.y0)[axis] + np.arange(length) / view.px_per_mm
        place = (at - layout.corner_mm[axis]) / layout.pitch_mm[axis]
        offset = np.clip(place - np.clip(np.floor(place), 0, cells - 1) - 0.5, -1.5, 1.5)
        shape = (1, -1) if axis == 0 else (-1, 1)
        planes[3 + axis] = offset.reshape(shape)
        planes[6 + axis] = ((eye_mm[axis] - at) / 500).reshape(shape)
    planes[5] = sum(layout.pitch_mm) / 200


def _shares(logits: np.ndarray) -> np.ndarray:
    grown = np.exp(logits - logits.max(axis=1, keepdims=True))
    return grown / grown.sum(axis=1, keepdims=True)


def _read_at(cells: np.ndarray, layout: FlatLayout, view: PlaneView) -> np.ndarray:
    """(cells, 6): the map at an eighth of the resolution, read between its pixels at the cells' centres."""
    centres = np.array([c.centre_mm for c in layout.cells])
    at = ((view.to_px(centres) + 0.5) / 8 - 0.5).astype(np.float32)
    read = [
        cv2.remap(np.ascontiguousarray(plane), at[:, 0].copy(), at[:, 1].copy(), cv2.INTER_LINEAR) for plane in cells
    ]
    return np.stack([np.ravel(r) for r in read], axis=1)


def _peaks(heat: np.ndarray, view: PlaneView) -> Peaks:
    px, scores = tops(heat, LEAST_PEAK)
    return Peaks(view.to_mm(px), scores)
