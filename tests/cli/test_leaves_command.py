"""`seedlingcv leaves` on drawn seedlings."""

import cv2
import numpy as np
from typer.testing import CliRunner

from seedlingcv.cli.app import app


def seedling(path, leaves):
    image = np.full((600, 600, 3), (60, 75, 90), np.uint8)
    for k in range(leaves):
        angle = 360 * k / leaves
        centre = (300 + 130 * np.cos(np.radians(angle)), 300 + 130 * np.sin(np.radians(angle)))
        cv2.ellipse(image, (centre, (170, 80), angle), (60, 170, 70), -1)
        cv2.line(image, (300, 300), tuple(int(c) for c in centre), (60, 170, 70), 14)
    cv2.imwrite(str(path), image)
    return str(path)


def test_each_photo_is_told_with_its_count(tmp_path):
    four, three = seedling(tmp_path / "four.png", 4), seedling(tmp_path / "three.png", 3)
    done = CliRunner().invoke(app, ["leaves", four, three])
    assert done.exit_code == 0
    assert "four.png: 4 leaves" in done.output.replace("\n", "")
    assert "three.png: 3 leaves" in done.output.replace("\n", "")


def test_what_is_not_counted_says_why(tmp_path):
    bare, broken = tmp_path / "bare.png", tmp_path / "broken.jpg"
    cv2.imwrite(str(bare), np.full((400, 400, 3), (60, 75, 90), np.uint8))
    broken.write_bytes(b"no photo")
    done = CliRunner().invoke(app, ["leaves", str(bare), seedling(tmp_path / "two.png", 2), str(broken)])
    assert done.exit_code == 3
    assert "nothing green" in done.output
    assert CliRunner().invoke(app, ["leaves", str(bare)]).exit_code == 1
