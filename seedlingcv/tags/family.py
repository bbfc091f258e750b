"""Which printed tag means what. The capture protocol's numbers stand here and nowhere else.

Tags are AprilTag 36h11 (Olson, "AprilTag: a robust and flexible visual fiducial system", ICRA 2011),
black on a white matte card. All lengths in mm.
"""

from __future__ import annotations

SQUARE_MM = 30.0  # side of a tag's black square
CARD_MM = 42.0  # side of the card it is printed on
MODULE_MM = SQUARE_MM / 8  # 36h11: 6 x 6 data modules inside a border of one

CORNER_IDS = (0, 1, 2, 3)  # clockwise from above; 0 at cell A1
BACKDROP_LEFT, BACKDROP_RIGHT = 4, 5  # as the camera sees them
FLAT_IDS = range(10, 581)  # a flat's own number

BACKDROP_WIDTH_MM, BACKDROP_HEIGHT_MM = 600.0, 250.0


def is_flat(tag_id: int) -> bool:
    return tag_id in FLAT_IDS
