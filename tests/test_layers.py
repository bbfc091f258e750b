"""Data flows one way: a step imports the steps before it, never one after it."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "seedlingcv"
STEPS = ["photo", "tags", "flat", "segment", "measure", "records", "crops", "trials", "stretch", "advice", "plan",
         "report", "assess", "cli"]
FILES = sorted(PACKAGE.rglob("*.py"))


def imports(path: Path) -> set[str]:
    """Steps of this package that a file imports, at its top or inside functions; type hints don't count."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hints = [n for n in ast.walk(tree) if isinstance(n, ast.If) and "TYPE_CHECKING" in ast.unparse(n.test)]
    skipped = {id(n) for hint in hints for n in ast.walk(hint)}
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and id(node) not in skipped:
            names.add(node.module)
        elif isinstance(node, ast.Import) and id(node) not in skipped:
            names |= {alias.name for alias in node.names}
    return {n.split(".")[1] for n in names if n.startswith("seedlingcv.")}


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_no_step_imports_a_later_one(path):
    step = path.relative_to(PACKAGE).parts[0]
    if step not in STEPS:  # errors, units, flags and the like: the base, which imports no step
        if step not in ("__main__.py", "training", "benchmarks"):
            assert not imports(path) & set(STEPS)
        return
    later = set(STEPS[STEPS.index(step) + 1 :])
    assert not imports(path) & later


@pytest.mark.parametrize("step", ["crops", "advice", "plan", "records"])
def test_no_pixels_after_measuring(step):
    for path in (PACKAGE / step).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "import cv2" not in text
        assert "import numpy" not in text


def test_every_folder_is_a_known_step():
    folders = {p.parent.name for p in PACKAGE.glob("*/__init__.py")}
    assert folders <= {*STEPS, "training", "benchmarks"}
