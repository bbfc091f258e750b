"""How high the plants of a drawn side view reach."""

import cv2
import pytest
from side_scene import SOIL_UP_MM, Plant, Scene, draw

from seedlingcv.flat.backdrop import fit_side
from seedlingcv.segment.plant_top import USUAL_TOP_MM, highest_plant_mm
from seedlingcv.tags.detect import detect_tags


def top_of(*plants):
    scene = Scene(tuple(plants))
    image = draw(scene)
    tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    return highest_plant_mm(image, fit_side(tags, image.shape[1::-1], scene.focal_px, rows=6, columns=12))


@pytest.mark.parametrize("top", [45, 90, 150])
def test_the_highest_of_two_plants(top):
    low, high = Plant(-60.0, 20, 26, 38), Plant(64.0, 0.5 * top, 0.7 * top, top)
    assert top_of(low, high) == pytest.approx(SOIL_UP_MM + top, abs=4)


def test_an_empty_row():
    assert top_of() == USUAL_TOP_MM
