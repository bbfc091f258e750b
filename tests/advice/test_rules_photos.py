"""What the rules say of the photos: flags, missing views, where stems come from. Figures are invented."""

from dataclasses import replace

import pytest
from invented import TODAY, answer, flat

from seedlingcv.advice.rules import advise
from seedlingcv.advice.wording import WITHOUT_FIGURES
from seedlingcv.crops.crop import load_crop
from seedlingcv.flags import PHOTO
from seedlingcv.measure.table import CellMeasurement, FlatMeasurement


def stems_only(source, **extra):
    had = CellMeasurement("A1", plants=1, stem_length_mm=60.0, stem_from=source, **extra)
    return FlatMeasurement(7, TODAY, 6, 12, (had,) * 8, crop="tomato")


def test_a_side_photo_alone_asks_for_an_overhead_photo():
    verdict = advise(stems_only("side"), load_crop("tomato"), TODAY)
    assert verdict.action == "unsure"
    assert verdict.reasons[0] == "Only stems were measured (8 plants): take an overhead photo"
    assert "canopy cover: an overhead photo" in verdict.missing
    assert "the leaf spread of plants whose stems were measured" in verdict.missing
    assert not any("side photo" in m for m in verdict.missing)


def test_too_few_plants_is_not_told_as_none():
    few = CellMeasurement("A1", plants=1, true_leaves=2)
    rest = CellMeasurement("A2", plants=1)
    verdict = advise(FlatMeasurement(7, TODAY, 6, 12, (few, *(rest,) * 7)), load_crop("tomato"), TODAY)
    assert verdict.reasons[0] == "Too few plants could be measured: look at the flat"
    assert "true leaves could be counted on 1 plant only" in verdict.missing


def test_seed_leaves_hidden_in_the_side_photo_ask_for_no_other():
    def wish(source):
        measured = flat(2, 1.8)
        cells = tuple(replace(c, stem_from=source) for c in measured.cells)
        verdict = advise(replace(measured, cells=cells), load_crop("tomato"), TODAY)
        return [m for m in verdict.missing if "seed leaves" in m]

    assert wish("side") == ["the height of the seed leaves, to say how deep"]
    assert wish("parallax") == ["the height of the seed leaves, to say how deep: a side photo of row A"]


def test_where_stems_come_from_is_assumed_aloud():
    reckoned = "stems that no side photo shows are reckoned from plant heights"
    in_row_a = "row A stands for the whole flat: stems are seen in row A only"
    depth = "row A's seed leaves stand for the whole flat's: how deep rests on them"

    def assumed(*sources):
        front = flat(3, 0.6, hypocotyl=15.0).cells[0]
        cells = tuple(
            replace(front, stem_from=s, hypocotyl_length_mm=15.0 if s == "side" else None) for s in sources
        )
        lines = advise(FlatMeasurement(7, TODAY, 6, 12, cells), load_crop("tomato"), TODAY).assumed
        return [line for line in (reckoned, in_row_a, depth) if line in lines]

    assert assumed(*["side"] * 6) == [in_row_a]
    assert assumed(*["parallax"] * 6) == [reckoned]
    assert assumed(*["side"] * 6, *["parallax"] * 30) == [reckoned, depth]
    assert not {reckoned, in_row_a} & set(answer("tomato", 3, None).assumed)


@pytest.mark.parametrize("code", sorted(PHOTO))
def test_no_flag_leaves_a_figure_to_be_filled_in(code):
    measured = [
        *(flat(leaves, index, hypocotyl=40.0, flags=(code,)) for leaves in (0, 2, 6) for index in (0.6, 1.8)),
        flat(None, None, cover=None, flags=(code,)),
        replace(stems_only("side"), flags=(code,)),
    ]
    for one in measured:
        for crop in (None, *map(load_crop, ("tomato", "cucumber", "lettuce", "carrot"))):
            verdict = advise(one, crop, TODAY)
            for line in (*verdict.reasons, *verdict.cautions, *verdict.assumed, *verdict.missing):
                assert "{" not in line and "}" not in line, line
            if crop and crop.transplant_tolerance != "avoid":  # and no flag is passed over in silence
                plain = advise(replace(one, flags=()), crop, TODAY)
                assert (verdict.cautions, verdict.assumed) != (plain.cautions, plain.assumed)


def test_how_a_height_was_come_by_is_no_warning():
    flags = ("height_from_side", "height_from_crop", "height_unknown")
    plain = answer("tomato", 2, 0.6)
    verdict = answer("tomato", 2, 0.6, flags=flags)
    assert verdict.cautions == plain.cautions
    assert len(verdict.assumed) == len(plain.assumed) + 3
    assert "leaves stand at the crop's usual height" in verdict.assumed


def test_dates_apart_say_what_to_check():
    cautions = answer("tomato", 2, 0.6, flags=("days_apart", "card_missing", "height_unknown")).cautions
    assert cautions[-1] == (
        "The side photo and the overhead photo have different dates: "
        "legginess mixes the two, check the phone's clock."
    )
    assert cautions[-2] == "The photos had warnings (a corner card can't be read): the figures may be off."
    assert not any("had warnings" in c for c in answer("tomato", 2, 0.6, flags=("days_apart",)).cautions)


def test_every_text_that_wants_figures_has_words_without_them():
    told_alone = {"days_apart", *(code for code in PHOTO if code.startswith("roots_"))}  # those of no figure
    assert {code for code, meaning in PHOTO.items() if "{" in meaning.text} - told_alone == set(WITHOUT_FIGURES)
