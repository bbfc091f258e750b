"""The stretch limits against the published tables they rest on, and against tables they don't rest on."""

import pytest

from seedlingcv.crops import bands
from seedlingcv.crops.crop import FOLDER, crop_names, load_crop

LIMITS = ("compact_below", "normal_below", "leggy_above", "young_leggy_above")


def limits(name):
    return {key: getattr(load_crop(name).legginess, key) for key in LIMITS}


@pytest.mark.parametrize(
    ("name", "computed"),
    [
        ("tomato", bands.tomato_bands()),
        ("lettuce", bands.lettuce_bands()),
        ("strawberry", bands.strawberry_bands()),
    ],
)
def test_files_hold_what_the_computation_gives(name, computed):
    assert limits(name) == computed


def test_tomato_limits_by_hand():
    # Plant means of 'Moneymaker' (figure4phyE.csv, Schrager-Lavelle et al. 2016, seen) with the printed mean
    # hypocotyls 15.62 and 28.89 mm, worked out by hand: sun 28 d (42.33 + 15.62) / 69.72 = 0.831, sun 35 d
    # 108.45 / 135.87 = 0.798; shade 82.06 / 79.28 = 1.035 and 184.55 / 156.06 = 1.183; 21 d 1.402 and 1.897.
    # Means 0.815 and 1.109; geometric means sqrt(0.815 x 1.109) = 0.951 and sqrt(1.402 x 1.897) = 1.631.
    expected = {"compact_below": 0.5, "normal_below": 0.8, "leggy_above": 1.0, "young_leggy_above": 1.6}
    assert bands.tomato_bands() == expected


@pytest.mark.parametrize(
    ("stem_mm", "petioles_mm", "leggy"),
    # 'M82' and its tall mutant tie-1, both in sun, 8 plants each, mm; stem without hypocotyl, two longest
    # petioles. Data in.pet.all.csv, repository MaloofLab/Lavelle-2015 (seen, computed), not used for the
    # limits.
    [
        (44.0, 64.8, False),  # M82, 28 days
        (84.1, 115.7, False),  # M82, 35 days
        (84.8, 66.3, True),  # tie-1, 28 days
        (161.9, 123.6, True),  # tie-1, 35 days
    ],
)
def test_a_genetically_leggy_tomato_is_told_from_its_parent(stem_mm, petioles_mm, leggy):
    index = (stem_mm + bands.MONEYMAKER_HYPOCOTYL_MM["sun"]) / petioles_mm
    assert (index > load_crop("tomato").legginess.leggy_above) is leggy


@pytest.mark.parametrize(("stem_mm", "petioles_mm", "leggy"), [(15.0, 23.9, False), (32.9, 25.2, True)])
def test_the_same_at_21_days_by_the_young_limit(stem_mm, petioles_mm, leggy):
    # The same record; at 21 days both are above 1.0, so only the higher limit can tell them apart.
    index = (stem_mm + bands.MONEYMAKER_HYPOCOTYL_MM["sun"]) / petioles_mm
    assert index > load_crop("tomato").legginess.leggy_above
    assert (index > load_crop("tomato").legginess.young_leggy_above) is leggy


def test_well_grown_rosettes_are_never_called_leggy_by_a_stem_half_their_height():
    # Lettuce height / largest width, film culture, n = 54: 0.41 to 0.66 (CEAOD 2018, seen, computed). Half of
    # the highest is a generous stem for a rosette.
    assert load_crop("lettuce").legginess.leggy_above > 0.66 / 2


def test_carried_over_limits_say_so():
    for name in crop_names():
        crop = load_crop(name)
        if crop.legginess is None:
            continue
        text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        assert "provisional" in text
        if crop.bands_unproved:
            assert "unproved" in text
            origin = limits(crop.legginess.derived_from)
            assert limits(name) == origin
