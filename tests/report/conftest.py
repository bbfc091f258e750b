"""An INVENTED nursery of three flats: every name, date and figure below is made up for these tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

import cv2
import numpy as np
import pytest

from seedlingcv.advice.verdict import Verdict
from seedlingcv.flags import Problem
from seedlingcv.measure.pictures import FlatPictures
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement
from seedlingcv.photo.result import PhotoResult
from seedlingcv.plan.potup import Entry

TODAY = date(2025, 3, 25)
HOSTILE = '<script>alert("x")</script> & [bold]Lantern[/bold]'


@dataclass(frozen=True)
class Nursery:
    entries: list[Entry]
    photos: list[PhotoResult]
    pictures: dict[int, FlatPictures]
    complaints: list[str] = field(default_factory=list)
    today: date = TODAY


def invented_cells(rows: int, columns: int, seed: int, *, stretch: float) -> tuple[CellMeasurement, ...]:
    """Invented figures: row A with stems, some cells empty, doubled, unsure or without a stem."""
    dice = np.random.default_rng(seed)
    cells = []
    for place in range(rows * columns):
        name = f"{chr(ord('A') + place // columns)}{place % columns + 1}"
        if place % 17 == 5:
            cells.append(CellMeasurement(name, plants=0, canopy_cover=0.0, flags=("empty",)))
            continue
        cover = float(dice.uniform(0.05, 0.95))
        if place % 19 == 7:
            cells.append(CellMeasurement(name, plants=2, canopy_cover=cover, flags=("several_plants",)))
            continue
        spread, front = float(dice.uniform(25, 60)), place < columns
        stem = spread * stretch * float(dice.uniform(0.7, 1.3)) if front or place % 3 else None
        flags = () if stem else ("not_in_front_row",)
        if place % 11 == 3:
            flags += ("overlap_unsure",)
        cells.append(CellMeasurement(
            name, plants=1, canopy_cover=cover, leaf_spread_mm=spread, leaf_area_mm2=spread * 9.7,
            true_leaves=int(dice.integers(1, 4)), greenness=float(dice.uniform(0.1, 0.3)),
            yellow_fraction=float(dice.uniform(0, 0.1)), stem_length_mm=stem,
            stem_from=("side" if front else "parallax") if stem else None,
            hypocotyl_length_mm=stem * 0.6 if stem and front else None,
            stem_diameter_mm=float(dice.uniform(1.2, 2.4)) if front else None,
            height_mm=stem * 1.3 if stem else None, row_spread_mm=spread * 0.8 if front else None,
            lean_deg=float(dice.uniform(0, 15)) if front else None, flags=flags,
            se={"canopy_cover": 0.01, "leaf_spread_mm": 1.25, **({"stem_length_mm": 1.5} if stem else {})},
        ))
    return tuple(cells)


def invented_pictures(measured: FlatMeasurement) -> FlatPictures:
    """Plain drawn pictures, no photographs."""
    px = 80
    w, h = measured.columns * px, measured.rows * px
    above, side = np.full((h, w, 3), 60, np.uint8), np.full((300, w, 3), 200, np.uint8)
    boxes, outlines, stems, nodes = {}, {}, {}, {}
    turns = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ring = list(zip(np.cos(turns).tolist(), np.sin(turns).tolist(), strict=True))
    for place, cell in enumerate(measured.cells):
        row, column = divmod(place, measured.columns)
        x, y = column * px, row * px
        boxes[cell.cell] = (x, y, x + px, y + px)
        if cell.plants:
            cv2.circle(above, (x + px // 2, y + px // 2), 24, (70, 150, 80), -1)
            outlines[cell.cell] = [[(x + 40 + 26 * c, y + 40 + 26 * s) for c, s in ring]]
        if row == 0 and cell.stem_length_mm:
            foot, tip = (w - x - 40.0, 280.0), (w - x - 34.0, 280.0 - 4 * cell.stem_length_mm)
            cv2.line(side, tuple(map(int, foot)), tuple(map(int, tip)), (70, 150, 80), 6)
            stems[cell.cell] = [foot, tip]
            nodes[cell.cell] = (foot[0] + 3, (foot[1] + tip[1]) / 2)
    jpegs = [cv2.imencode(".jpg", image)[1].tobytes() for image in (above, side)]
    return FlatPictures(jpegs[0], (w, h), boxes, outlines, jpegs[1], (w, 300), stems, nodes)


@pytest.fixture(scope="session")
def nursery() -> Nursery:
    tomato = FlatMeasurement(7, TODAY, 4, 10, invented_cells(4, 10, 1, stretch=1.4), "tomato", HOSTILE,
                             date(2025, 2, 20), "one weak lamp")
    lettuce = FlatMeasurement(112, TODAY, 6, 12, invented_cells(6, 12, 2, stretch=0.6), "lettuce",
                              "Invented Pond", date(2025, 3, 1), None, ("tilted",))
    bare = FlatMeasurement(45, None, 2, 3, tuple(
        CellMeasurement(name, flags=("no_overhead_photo",)) for name in ("A1", "A2", "A3", "B1", "B2", "B3")))
    entries = [
        Entry(bare, Verdict("unsure", reasons=("no usable overhead photo of this flat",),
                            missing=("an overhead photo",))),
        Entry(lettuce, Verdict("wait", burial="crown_above", earliest=date(2025, 4, 2), latest=date(2025, 4, 9),
                               reasons=("two true leaves on the median plant, four are wanted",),
                               legginess_band="normal", leggy_share=0.0, assumed=("10 °C nights",))),
        Entry(tomato, Verdict("pot_up_early", burial="deep", burial_depth_mm=22.4, earliest=date(2025, 3, 22),
                              latest=date(2025, 3, 27),
                              reasons=("19 of 24 plants are leggy: the median stem is 1.41 times the leaf spread",
                                       "more light would have kept them shorter"),
                              cautions=("Lift a full flat with two people or a cart",), legginess_band="leggy",
                              leggy_share=19 / 24, assumed=("a 100 mm pot",), missing=("night temperature",))),
    ]
    photos = [
        PhotoResult("bench 1/top.jpg", "overhead", 7, True, (), datetime(2025, 3, 25, 9, 30), 5.2, 0.4, 0.08),
        PhotoResult("bench 1/front.jpg", "side", 7, True, (), px_per_mm=6.1),
        PhotoResult("bench 2/top.jpg", "overhead", 112, True,
                    (Problem("tilted", fatal=False, facts={"tilt_deg": 23.4}),), px_per_mm=4.9),
        PhotoResult("bench 2/shaky.jpg", "overhead", 45, False, (Problem("blurred"),)),
        PhotoResult("bench 2/card.jpg", None, None, False, (Problem("card_missing", facts={"cards": "2"}),)),
        PhotoResult("bench 2/top again.jpg", "overhead", 112, False, (Problem("spare"),)),
    ]
    pictures = {7: invented_pictures(tomato), 112: invented_pictures(lettuce)}
    return Nursery(entries, photos, pictures, ["flat 45 is not in the register"])
