"""The pixel classifier on drawn pictures under different light, against scikit-learn's own measures."""

import numpy as np
import pytest

from seedlingcv.benchmarks import classifier

sklearn_metrics = pytest.importorskip("sklearn.metrics", reason="scikit-learn is needed only for the comparison")


def picture(seed, light=1.0):
    rng = np.random.default_rng(seed)
    truth = np.zeros((60, 80), bool)
    truth[15:45, 20:60] = True
    colour = np.where(truth[..., None], (50, 150, 60), (60, 75, 90)) * light
    return np.clip(colour + rng.normal(0, 12, (60, 80, 3)), 0, 255).astype(np.uint8), truth


@pytest.fixture(scope="module")
def model():
    return classifier.train([classifier.sample(str(k), *picture(k, light), count=2000)
                             for k, light in enumerate((0.7, 0.9, 1.1, 1.3))])


def test_a_picture_it_never_saw(model):
    image, truth = picture(9, light=1.0)
    assert sklearn_metrics.jaccard_score(truth.ravel(), model.vegetation(image).ravel()) > 0.9


def test_chances_are_between_nought_and_one_and_repeatable(model):
    image, truth = picture(9)
    x = classifier.features(image).reshape(-1, 18)
    assert np.array_equal(model.chance(x), model.chance(x))
    assert 0 <= model.chance(x).min() <= model.chance(x).max() <= 1


def test_reliability_as_scikit_learn():
    from sklearn.calibration import calibration_curve

    rng = np.random.default_rng(0)
    chance = rng.random(5000)
    truth = rng.random(5000) < chance**2
    got = classifier.reliability(chance, truth)
    came, said = calibration_curve(truth, chance, n_bins=10)
    assert got.brier == pytest.approx(sklearn_metrics.brier_score_loss(truth, chance))
    assert np.allclose(got.came, came)
    assert np.allclose(got.said, said)
    assert got.ece == pytest.approx(np.mean(chance - chance**2), abs=0.02)  # the mean gap that was put in


def test_calibrating_mends_chances_that_are_too_sure():
    """Two lots of pictures whose labels are noisy: trees that learned them by heart are too sure of themselves."""
    rng = np.random.default_rng(1)

    def noisy(k):
        image, truth = picture(k)
        return classifier.sample(str(k), image, truth ^ (rng.random(truth.shape) < 0.3), 3000)

    model = classifier.train([noisy(k) for k in range(4)])
    new = noisy(9)
    raw, calibrated = (classifier.reliability(f(new.x), new.y) for f in (model.raw_chance, model.chance))
    assert calibrated.ece < raw.ece
    assert calibrated.ece < 0.05


def test_pixels_not_known_are_left_out():
    image, truth = picture(0)
    taken = classifier.sample("x", image, truth, 10_000, known=truth)
    assert taken.y.all()
    assert len(taken.y) == truth.sum()


def test_one_picture_is_too_few():
    with pytest.raises(ValueError, match="two pictures"):
        classifier.train([classifier.sample("x", *picture(0), 100)])
