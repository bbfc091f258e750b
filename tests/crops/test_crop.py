"""Crop files: how they are read; errors that help; a grower's own values. What they hold: test_table.py."""

import pytest

from seedlingcv.crops import crop as module
from seedlingcv.crops.crop import Bands, crop_names, load_crop
from seedlingcv.errors import CropError


def test_aliases_are_unique_and_reach_their_crop():
    seen = {}
    for name in crop_names():
        for alias in (name, *load_crop(name).aliases):
            assert seen.setdefault(alias.casefold(), name) == name
            assert load_crop(alias).name == name
    assert load_crop("Aubergine").name == "eggplant"
    assert load_crop(" sweet-PEPPER ").name == "pepper"
    assert load_crop("swede").name == "rutabaga"
    assert load_crop("courgette").name == "squash"
    assert load_crop("Lady's Fingers").name == "okra"
    assert load_crop("brussels_sprouts").name == "brussels sprouts"


def test_leaves_in_pairs_are_said_in_pairs():
    assert load_crop("tomato").pot_up_said == "2-4 true leaves"
    assert load_crop("basil").pot_up_said == "2-3 pairs of true leaves"
    assert load_crop("zinnia").pot_up_said == "2 pairs of true leaves"
    assert load_crop("sunflower").pot_up_said == "1-2 pairs of true leaves"
    assert load_crop("carrot").pot_up_said is None
    basil = load_crop("basil")
    assert basil.leaves_said(2, 2) == "1 pair of true leaves"
    assert basil.leaves_said(3, 5) == "3-5 true leaves", "no half pairs"
    assert load_crop("melon").leaves_said(1, 1) == "1 true leaf"


def test_the_leggy_limit_in_use_depends_on_the_stage():
    bands = Bands(0.5, 0.8, 1.0, 1.6, from_true_leaves=2, derived_from="tomato")
    assert [bands.leggy_limit(n) for n in (None, 0, 1.5, 2, 7)] == [1.6, 1.6, 1.6, 1.0, 1.0]
    assert bands.origin == "tomato's tables"


def test_root_bound_days_between_and_beyond_the_listed_sizes():
    tomato = load_crop("tomato")
    assert tomato.root_bound_days(72) == (35, 42)
    assert tomato.root_bound_days(12) == tomato.root_bound_days(18)
    assert tomato.root_bound_days(400) == tomato.root_bound_days(288)
    # log(105 / 72) / log(128 / 72) = 0.656: 35 - 0.656 x 7 = 30.4, 42 - 4.6 = 37.4
    assert tomato.root_bound_days(105) == (30, 37)
    assert load_crop("carrot").root_bound_days(72) is None


def test_unknown_crop_names_close_matches():
    with pytest.raises(CropError, match="cabbage"):
        load_crop("cabage")
    with pytest.raises(CropError, match="aubergine"):
        load_crop("aubergin")
    with pytest.raises(CropError, match="lists all"):
        load_crop("zzzz")


# A grower's own file


@pytest.fixture
def own(tmp_path):
    def write(text):
        path = tmp_path / "own.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_own_values_override_and_name_their_file(own):
    path = own("[Tomatoes]\npot_up_true_leaves = [3, 5]\n[Tomatoes.legginess]\nleggy_above = 1.2\n")
    tomato, shipped = load_crop("tomato", own=path), load_crop("tomato")
    assert tomato.pot_up_true_leaves == (3, 5)
    assert tomato.legginess.leggy_above == 1.2
    assert tomato.legginess.normal_below == shipped.legginess.normal_below
    assert tomato.sources["pot_up_true_leaves"] == "own file own.toml"
    assert "pot_up_true_leaves" in shipped.notes and "pot_up_true_leaves" not in tomato.notes
    assert tomato.sources["burial"] == shipped.sources["burial"]
    assert load_crop("pepper", own=path) == load_crop("pepper")


def test_own_sizes_one_stage_alone(own):
    path = own("[tomato.heights_mm]\npot_up = [70, 110]\n[kale]\nusual_height_mm = 72\n")
    tomato, shipped = load_crop("tomato", own=path), load_crop("tomato")
    assert tomato.heights_mm == shipped.heights_mm | {"pot_up": (70, 110)}
    assert tomato.usual_height_mm == 90, "the middle"
    assert tomato.sources["usual_height_mm"].endswith("own file own.toml")
    assert load_crop("kale", own=path).usual_height_mm == 72


def test_own_file_may_state_a_source_and_a_note(own):
    path = own('[kale]\nmin_night_c = { value = -3, source = "our 2024 log", note = "under fleece" }\n')
    kale = load_crop("kale", own=path)
    assert (kale.min_night_c, kale.sources["min_night_c"]) == (-3, "our 2024 log")
    assert kale.notes["min_night_c"] == "under fleece"


def test_own_cautions_and_hazards_stay_apart(own):
    path = own('[tomato]\ncautions = ["Bench 4 floods."]\n')
    tomato = load_crop("tomato", own=path)
    assert tomato.cautions == ("Bench 4 floods.", *load_crop("tomato").hazards)


ROCKET = """
[rocket]
family = "Brassicaceae"
aliases = ["arugula"]
leaf_arrangement = "alternate"
cotyledons = 2
transplant_tolerance = "easy"
min_night_c = 0
cautions = []
pot_up_true_leaves = [2, 3]
weeks_to_pot_up = [2, 3]
weeks_in_pot = [2, 3]
burial = "same_depth"
root_bound_days = { 200 = [24, 30] }
"""


def test_own_file_may_add_a_crop(own):
    path = own(ROCKET + "usual_height_mm = 40\n")
    rocket = load_crop("Rocket", own=path)
    assert rocket.name == "rocket" and rocket.legginess is None and rocket.root_bound_days(72) == (24, 30)
    assert (rocket.kind, rocket.hardening, rocket.heights_mm, rocket.hazards) == (None, None, {}, ())
    assert "rocket" in crop_names(path) and "rocket" not in crop_names()
    with pytest.raises(CropError, match="rocket"):
        load_crop("rockets", own=path)


def test_an_added_crop_may_have_all_that_shipped_ones_have(own):
    path = own(ROCKET + """
    botanical_name = "Eruca vesicaria"
    kind = "herb"
    growth_form = "rosette"
    heights_mm = { seed_leaves = [10, 20], pot_up = [30, 50], sale = [60, 90] }
    spread_mm = { seed_leaves = [15, 20], pot_up = [50, 80] }
    day_c = [16, 20]
    night_c = [8, 12]
    crown_rule = "Above the mix."
    hardening_days = [3, 5]
    hardening = "Outdoors by day."
    hazards = ["None."]
    legginess.from_true_leaves = 2
    legginess.compact_below = 0.2
    legginess.normal_below = 0.4
    legginess.leggy_above = 0.6
    legginess.young_leggy_above = 0.9
    """.replace("    ", ""))
    rocket = load_crop("rocket", own=path)
    assert (rocket.kind, rocket.usual_height_mm, rocket.night_c) == ("herb", 40, (8, 12))
    assert rocket.legginess.derived_from == "rocket" and not rocket.bands_unproved
    assert rocket.cautions == rocket.hazards == ("None.",)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[tomato]\nburial = 'upside down'\n", "burial.*one of: deep"),
        ("[tomato]\npot_up_true_leaves = [4, 2]\n", "pot_up_true_leaves.*two whole numbers"),
        ("[tomato]\npot_up_true_leaves = [2.5, 4]\n", "two whole numbers"),
        ("[tomato]\nmin_night_c = 'warm'\n", "min_night_c.*a number from"),
        ("[tomato]\nmin_night_c = nan\n", "min_night_c.*a number from"),
        ("[tomato]\nmin_night_c = 17\n", "min_night_c is above night_c"),
        ("[tomato]\nnight_c = [20, 25]\n", "night_c is warmer than day_c"),
        ("[tomato]\ncotyledons = 3\n", "cotyledons.*one of"),
        ("[tomato]\ncotyledons = true\n", "cotyledons.*one of"),
        ("[tomato]\nkind = 'tree'\n", "kind.*one of: vegetable"),
        ("[tomato]\naliases = 'love apple'\n", "aliases.*list"),
        ("[tomato]\nfamily = ''\n", "family.*text"),
        ("[tomato]\nhardening_days = 7\n", "hardening_days.*two whole numbers"),
        ("[tomato]\nheights_mm = 80\n", "heights_mm.*ranges by stage"),
        ("[tomato]\nheights_mm = { flowering = [1, 2] }\n", "heights_mm.*ranges by stage"),
        ("[tomato]\nheights_mm = { pot_up = [300, 400] }\n", "heights_mm.*don't shrink"),
        ("[tomato]\nroot_bound_days = { small = [1, 2] }\n", "root_bound_days.*cells a flat"),
        ("[tomato]\nroot_bound_days = { 72 = [30, 40], 128 = [35, 45] }\n", "smaller cells fill sooner"),
        ("[tomato.legginess]\nleggy_above = 0.1\n", "legginess.*rise"),
        ("[tomato.legginess]\ncompact_below = 0\n", "legginess.*over 0"),
        ("[tomato.legginess]\nleggy = 1.1\n", "legginess.*leggy_above"),
        ("[tomato.legginess]\nfrom_true_leaves = 2.5\n", "from_true_leaves.*whole"),
        ("[tomato]\ngrowth_form = 'no stem'\n", "no stem.*legginess"),
        ("[tomato]\npot_up_leafs = [2, 4]\n", "pot_up_leafs.*Known keys"),
        ("[rocket]\nfamily = 'Brassicaceae'\n", "lacks aliases"),
        (ROCKET, "neither usual_height_mm nor heights_mm"),
        ("[lettuce]\nburial = 'to_seed_leaves'\n", "lacks burial_limit_mm"),
        ("tomato = 3\n", "must be a section"),
        ("[tomato]\nmin_night_c = 5\n[Tomatoes]\nmin_night_c = 6\n", "more than one section"),
        ("[tomato\n", "not valid TOML"),
    ],
)
def test_a_wrong_own_file_says_where_and_what_to_do(own, text, says):
    path = own(text)
    wanted = "rocket" if "rocket" in text else "lettuce" if "lettuce" in text else "tomato"
    with pytest.raises(CropError, match=says) as caught:
        load_crop(wanted, own=path)
    assert "own.toml" in str(caught.value) or caught.value.where == "lettuce.toml"
    assert caught.value.next_step


def test_a_missing_own_file_is_named(tmp_path):
    with pytest.raises(CropError, match="can't be read"):
        load_crop("tomato", own=tmp_path / "none.toml")


# A shipped file that lacks something is refused too: `crops/` is edited by hand


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"Solanaceae", source = "botany"', '"Solanaceae"', "needs a value and a source"),
        ('"Solanaceae", source = "botany"', '"Solanaceae", source = ""', "doesn't list"),
        ('"Solanaceae", source = "botany"', '"Solanaceae", source = []', "doesn't list"),
        ('"Solanaceae", source = "botany"', '"Solanaceae", source = "hearsay"', "hearsay"),
        ('"Solanaceae", source = "botany"', '"Solanaceae", source = "botany", by = "me"', "may have a note"),
        ("crown_rule", "crown_rules", "crown_rules.*not a key"),
        ('kind = { value = "vegetable", source = "common" }\n', "", "lacks kind"),
    ],
)
def test_a_wrong_shipped_file_is_refused(tmp_path, monkeypatch, old, new, says):
    text = (module.FOLDER / "vegetables" / "tomato.toml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "tomato.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    monkeypatch.setattr(module, "_files", lambda: {"tomato": path})
    with pytest.raises(CropError, match=says):
        load_crop("tomato")
