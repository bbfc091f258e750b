"""How many leaves one seedling has in a close-up from above, seed leaves (cotyledons) included; no scale is needed.

A leaf is a place where the plant is widest around: the middle of a largest circle that fits. Two such places are
two leaves where the plant between them narrows to a petiole or a notch, measured against the narrower of the two;
lobes of one leaf narrow less. Stems and petioles are narrow against the plant's widest leaf and count for nothing.
All limits are shares, so that neither the scale nor the size of the photo matters.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from seedlingcv.segment.vegetation import find_vegetation

WORKING_SIDE_PX = 300  # longer side of the picture that is looked at; 240 to 450 count the same
ROOM = 0.15  # of the plant's extent, kept around it when a small plant is looked at more closely
# Chosen on 33 real close-ups of eight species, in the middle of where nothing changes (0.55-0.65, 0.23-0.32).
NECK = 0.6  # a narrower neck than this share of a leaf's own width parts it from the next leaf
SLENDER = 0.28  # width against the widest leaf below which it is a petiole or a leaf still folded
# Stricter and laxer limits: how far the count could be off.
STRICT, LAX = (0.45, 0.35), (0.70, 0.20)
CUT_SHARE = 0.25  # a piece with more of its size along the picture's edge is a neighbour's leaf
FULL_EDGE = 0.3  # of the picture's edge on the plant: then parts of it lie outside
LEAST_WIDTH_PX = 4.0  # of the widest leaf, in the photo as given: narrower things are specks
WIDEST_DOUBT = 3  # leaves between strict and lax, above which no count is given


@dataclass(frozen=True)
class LeafCount:
    """count : leaves plainly open, seed leaves included; None where it can't be told, and `why` says why:
        "nothing_green", "plant_cut" (runs out of the picture) or "leaves_unsure"
    least, most : count under stricter and laxer limits; equal where the count is plain
    places_px : float (count, 2), x and y of each leaf's widest place in the given picture, widest leaf first
    widths_px : float (count,), width of each leaf there
    """

    count: int | None
    least: int = 0
    most: int = 0
    places_px: np.ndarray = field(default_factory=lambda: np.empty((0, 2)))
    widths_px: np.ndarray = field(default_factory=lambda: np.empty(0))
    why: str | None = None

    @property
    def sure(self) -> bool:
        return self.count is not None and self.least == self.most


def count_all_leaves(image: np.ndarray) -> LeafCount:
    """Count the leaves of the one seedling that the picture shows, straight from above and nearly filling it.

    image : uint8 (M, N, 3) BGR

    Raises ValueError where the picture is of another kind.
    """
    if image.ndim != 3 or image.shape[2] != 3 or image.dtype != np.uint8 or min(image.shape[:2]) < 2:
        raise ValueError(f"A uint8 picture (M, N, 3) is wanted, not {image.dtype} {image.shape}.")
    box = (0, 0, image.shape[1], image.shape[0])
    plant, scale = _plant(image, box)
    if not plant.any():
        return LeafCount(None, why="nothing_green")
    if _edge(plant).mean() > FULL_EDGE:
        return LeafCount(None, why="plant_cut")
    x, y, width, height = cv2.boundingRect(plant.astype(np.uint8))
    room = ROOM * max(width, height)
    closer = [int(v / scale) for v in (x - room, y - room, x + width + room, y + height + room)]
    box = (max(closer[0], 0), max(closer[1], 0), min(closer[2], box[2]), min(closer[3], box[3]))
    plant, scale = _plant(image, box)
    least, most = (len(widest_places(plant, *limits)[1]) for limits in (STRICT, LAX))
    places, radii = widest_places(plant, NECK, SLENDER)
    if 2 * radii.max(initial=0.0) < LEAST_WIDTH_PX * scale:
        return LeafCount(None, why="nothing_green")
    if most - least > WIDEST_DOUBT:
        return LeafCount(None, least, most, why="leaves_unsure")
    return LeafCount(len(radii), least, most, (places + 0.5) / scale - 0.5 + box[:2], 2 * radii / scale)


def _plant(image: np.ndarray, box: tuple[int, int, int, int]) -> tuple[np.ndarray, float]:
    """The plant as a bool picture of `box` (x0, y0, x1, y1) in working size, and that picture's scale.

    All that is green belongs to it, for a petiole may be too thin or red to be seen, but pieces that the picture's
    edge cuts are other plants' leaves; not so the main piece, the one with the most green near the middle.
    """
    part = image[box[1] : box[3], box[0] : box[2]]
    scale = WORKING_SIDE_PX / max(part.shape[:2])
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    found = find_vegetation(cv2.resize(part, None, fx=scale, fy=scale, interpolation=way)).mask
    number, pieces, stats, _ = cv2.connectedComponentsWithStats(found.astype(np.uint8))
    rows, columns = (np.linspace(-1, 1, n) for n in found.shape)
    central = np.exp(-(rows[:, None] ** 2 + columns**2))
    weight = np.bincount(pieces.ravel(), weights=central.ravel(), minlength=number)
    cut = np.bincount(_edge(pieces), minlength=number) > CUT_SHARE * np.sqrt(stats[:, cv2.CC_STAT_AREA])
    cut[0] = True
    if number > 1:
        cut[1 + weight[1:].argmax()] = False
    return ~cut[pieces], scale


def _edge(picture: np.ndarray) -> np.ndarray:
    return np.concatenate([picture[0], picture[-1], picture[1:-1, 0], picture[1:-1, -1]])


def widest_places(plant: np.ndarray, neck: float, slender: float) -> tuple[np.ndarray, np.ndarray]:
    """Where a plant is widest around, its leaves.

    plant : bool (M, N)
    neck : a place counts if every way to a wider one leads through somewhere narrower than this share of its width
    slender : share of the widest leaf's width below which a place doesn't count

    Returns (n, 2) x and y, and (n,) distances to the outline (half widths), widest first. The maxima of a grey
    reconstruction (Vincent 1993, IEEE Trans. Image Processing 2:176-201; from memory) of the distances times `neck`
    under the distances themselves: h-maxima with a height in proportion.
    """
    from skimage.measure import label
    from skimage.morphology import local_maxima, reconstruction

    inside = np.pad(plant, 1)
    if not inside.any():
        return np.empty((0, 2)), np.empty(0)
    distance = cv2.GaussianBlur(cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 5), (0, 0), 1.0) * inside
    tops = label(local_maxima(reconstruction(distance * neck, distance)) & inside)
    flat, order = tops.ravel(), np.argsort(-distance.ravel(), kind="stable")
    _, first = np.unique(flat[order], return_index=True)
    best = order[np.sort(first[1:])] if (flat == 0).any() else order[np.sort(first)]
    radii = distance.ravel()[best].astype(float)
    rows, columns = np.unravel_index(best, distance.shape)
    keep = radii >= slender * radii.max()
    return np.column_stack([columns, rows])[keep] - 1.0, radii[keep]
