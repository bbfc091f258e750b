"""A calibrated pixel classifier: what colour alone can tell, learned instead of chosen by hand.

Small boosted trees on the pixel's colour in four colour spaces at two scales. Larger trees learned the flats by
heart and did worse on flats left out. Their score is turned into a chance by a logistic curve (Platt 1999; from
memory) fitted on pictures that the scoring trees never saw. Development only: needs `pip install scikit-learn`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from seedlingcv.errors import SeedlingError

if TYPE_CHECKING:
    from sklearn.ensemble import HistGradientBoostingClassifier

SCALES_PX = (1.0, 5.0)  # standard deviations of the blur: against JPEG noise, and the surroundings
TREES, LEARNING_RATE, LEAVES, LEAST_PIXELS = 60, 0.1, 8, 200
PIXELS_A_FLAT, PIXELS_A_FIELD_PHOTO = 20_000, 4_000
FOLDS = 3  # to calibrate: pictures of one fold are scored by trees grown on the others
BINS = 10
STRIP = 256  # rows at a time


def features(picture: np.ndarray) -> np.ndarray:
    """float32 (M, N, 18): chromaticities, excess green, CIELAB, HSV of a uint8 BGR picture, at both scales."""
    whole = picture.astype(np.float32) / 255
    return np.concatenate([_colours(cv2.GaussianBlur(whole, (0, 0), scale)) for scale in SCALES_PX], axis=2)


def _colours(bgr: np.ndarray) -> np.ndarray:
    total = np.maximum(bgr.sum(axis=2), 1e-3)
    green, red = bgr[..., 1] / total, bgr[..., 2] / total
    return np.dstack([green, red, 3 * green - 1, cv2.cvtColor(bgr, cv2.COLOR_BGR2LAB),
                      cv2.cvtColor(bgr, cv2.COLOR_BGR2HSV)]).astype(np.float32)


@dataclass(frozen=True)
class Sample:
    """Pixels of one picture. x : float32 (n, features); y : bool (n,), vegetation. `name` keeps pictures apart."""

    name: str
    x: np.ndarray
    y: np.ndarray


def sample(name: str, picture: np.ndarray, truth: np.ndarray, count: int, known: np.ndarray | None = None,
           seed: int = 0) -> Sample:
    """`count` random pixels, all equally likely. truth, known : bool (M, N); pixels not `known` are left out."""
    places = np.flatnonzero(np.ones(truth.shape, bool) if known is None else known)
    chosen = np.random.default_rng(seed).choice(places, min(count, len(places)), replace=False)
    found = features(picture)
    return Sample(name, found.reshape(-1, found.shape[2])[chosen], truth.ravel()[chosen])


@dataclass(frozen=True)
class PixelClassifier:
    """`slope` and `offset` turn the trees' log odds into calibrated log odds."""

    trees: HistGradientBoostingClassifier
    slope: float
    offset: float

    def chance(self, x: np.ndarray) -> np.ndarray:
        """(n,) calibrated chance of vegetation."""
        return _logistic(self.slope * self.trees.decision_function(x) + self.offset)

    def raw_chance(self, x: np.ndarray) -> np.ndarray:
        """(n,) as the trees say it, before calibration."""
        return _logistic(self.trees.decision_function(x))

    def vegetation(self, picture: np.ndarray) -> np.ndarray:
        """bool (M, N): calibrated chance above a half."""
        from threadpoolctl import threadpool_limits

        found = features(picture)
        with threadpool_limits(1):
            return np.concatenate([self.chance(rows.reshape(-1, found.shape[2])).reshape(rows.shape[:2]) > 0.5
                                   for rows in np.array_split(found, max(1, len(found) // STRIP))])


def train(samples: Sequence[Sample]) -> PixelClassifier:
    """Trees on all pictures; the calibrating curve on scores by trees that had not seen the scored picture.

    Raises SeedlingError without scikit-learn, ValueError with fewer than two pictures.
    """
    try:
        from sklearn.linear_model import LogisticRegression
        from threadpoolctl import threadpool_limits  # comes with scikit-learn
    except ImportError as error:
        raise SeedlingError("The pixel classifier needs scikit-learn.", next_step="pip install scikit-learn") from error
    if len(samples) < 2:
        raise ValueError("the classifier needs at least two pictures: one to learn from, one to calibrate on")
    folds = min(FOLDS, len(samples))
    with threadpool_limits(1):  # on a busy machine several threads wait for each other longer than they work
        unseen = []
        for fold in range(folds):
            trees = _grow([s for n, s in enumerate(samples) if n % folds != fold])
            unseen += [(trees.decision_function(s.x), s.y) for n, s in enumerate(samples) if n % folds == fold]
        curve = LogisticRegression().fit(np.concatenate([score for score, _ in unseen])[:, None],
                                         np.concatenate([truth for _, truth in unseen]))
        return PixelClassifier(_grow(samples), float(curve.coef_[0, 0]), float(curve.intercept_[0]))


def _grow(samples: Sequence[Sample]) -> HistGradientBoostingClassifier:
    from sklearn.ensemble import HistGradientBoostingClassifier

    trees = HistGradientBoostingClassifier(
        max_iter=TREES, learning_rate=LEARNING_RATE, max_leaf_nodes=LEAVES, min_samples_leaf=LEAST_PIXELS,
        l2_regularization=1.0, early_stopping=False, random_state=0)
    return trees.fit(np.concatenate([s.x for s in samples]), np.concatenate([s.y for s in samples]))


@dataclass(frozen=True)
class Reliability:
    """said, came : (bins,) mean chance said and share that came true, nan where a bin is empty; count : (bins,)
    brier : mean squared error of the chances; ece : expected calibration error, mean |said - came| over pixels"""

    said: np.ndarray
    came: np.ndarray
    count: np.ndarray
    brier: float
    ece: float


def reliability(chance: np.ndarray, truth: np.ndarray) -> Reliability:
    """In ten equal bins. chance : float (n,); truth : bool (n,)."""
    bin_of = np.minimum((chance * BINS).astype(int), BINS - 1)
    count = np.bincount(bin_of, minlength=BINS)
    with np.errstate(invalid="ignore"):
        said = np.bincount(bin_of, weights=chance, minlength=BINS) / count
        came = np.bincount(bin_of, weights=truth, minlength=BINS) / count
    ece = float(np.nansum(np.abs(said - came) * count) / len(chance))
    return Reliability(said, came, count, float(np.mean((chance - truth) ** 2)), ece)


def _logistic(logit: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(logit, -30, 30)))
