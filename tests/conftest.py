"""Shared by all tests: where the drawn scenes are, and where the evaluation photos may be."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

EVALUATION = Path(__file__).resolve().parents[2] / "shared" / "eval"


@pytest.fixture(scope="session")
def evaluation() -> Path:
    """The folder of evaluation photos beside the checkout; tests that need it skip without it."""
    if not EVALUATION.is_dir():
        pytest.skip("no evaluation photos at ../shared/eval")
    return EVALUATION
