"""Lights over shelves and moved flats. Shelves, lights and dates are invented.

Outside checks: daily light integrals printed elsewhere (see the tests); 1 in = 25.4 mm exactly (1959 agreement).
"""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seedlingcv.errors import RegisterError
from seedlingcv.records.history import Lighting, daily_light_integral
from seedlingcv.records.lights import Move, read_lights, read_moves

FEBRUARY, MARCH, APRIL = date(2025, 2, 1), date(2025, 3, 1), date(2025, 4, 1)


def lights(folder, text):
    path = folder / "lights.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_lights(path)


def one(folder, header, line, separator=","):
    """The only light, and what is said of it."""
    found, said = lights(folder, f"shelf{separator}light{separator}{header}\nrack 1{separator}panel{separator}{line}\n")
    return (found[0] if found else None), " ".join(said)


def moves(folder, text):
    path = folder / "moves.csv"
    path.write_text(text, encoding="utf-8")
    return read_moves(path)


@pytest.mark.parametrize(("ppfd", "hours", "dli"), [
    # a table of DLI by PPFD and hours on a web page, values as rounded there (seen, weak)
    (100, 12, 4.3), (300, 14, 15.1), (400, 14, 20.16), (500, 16, 28.8), (1000, 12, 43.2),
    # the treatments of a tomato plug trial, Horticulturae 2024, 10, 730: DLI seen, the PPFD and hours of each computed
    (250, 12, 10.8), (250, 14, 12.6), (300, 12, 12.96),
])
def test_the_daily_light_integral_as_published(ppfd, hours, dli):
    places = len(str(dli).partition(".")[2])
    assert round(daily_light_integral(ppfd, hours), places) == dli
    assert round(Lighting("rack 1", "panel", ppfd_umol=((ppfd,),), hours=hours).dli_mol, places) == dli


def test_the_daily_light_integral_of_a_grid_and_of_what_is_not_known():
    assert Lighting("r", "l", ppfd_umol=((200, 300), (400, 300)), hours=14).dli_mol == pytest.approx(15.12)
    assert Lighting("r", "l", ppfd_umol=((200,),)).dli_mol is None
    assert Lighting("r", "l", hours=14).dli_mol is None


def test_a_plain_file(tmp_path):
    found, said = lights(tmp_path, (
        "shelf,light,type,spectrum,ppfd,hours,distance_mm,red_far_red,window_side,from,to\n"
        "# measured at the canopy\n"
        "rack 2,old panel,LED panel,white 4000 K,180 210 190 / 170 200 185,16,300,1.2,row A,2025-02-01,2025-03-01\n"
        "rack 3,tubes,,,,,,,,,\n"))
    assert said == []
    assert found == [
        Lighting("rack 2", "old panel", "LED panel", "white 4000 K", ((180, 210, 190), (170, 200, 185)), 16, 300, 1.2,
                 "row A", FEBRUARY, MARCH),
        Lighting("rack 3", "tubes")]


@pytest.mark.parametrize("header", [
    "Rack,Lamp,PPFD,Hours per day,Distance (mm),R:FR,Window,Since,Until",
    "bench,fixture,par,photoperiod,lamp height mm,red to far red,window side,start,end",
    "SHELF,Light,PPFD (µmol/m²/s),day length,distance-to-canopy-mm,RFR,Window-Side,First day,Last day",
    "shelves,lights,ppfd µmol m⁻² s⁻¹,hours,DISTANCE_MM,r_fr_ratio,window,from date,to date",
])
def test_columns_as_growers_name_them(tmp_path, header):
    found, said = lights(tmp_path, f"{header}\nr1,panel,220,16,300,1.2,row A,2025-02-01,2025-03-01\n")
    assert said == []
    assert found == [Lighting("r1", "panel", None, None, ((220,),), 16, 300, 1.2, "row A", FEBRUARY, MARCH)]


@pytest.mark.parametrize(("separator", "written", "grid"), [
    (",", "220", ((220,),)), (",", "220 µmol", ((220,),)), (",", "220 µmol/m²/s", ((220,),)), (",", "", ()),
    (",", "180 210 190 / 170 200 185", ((180, 210, 190), (170, 200, 185))),
    (",", "180 210 190/170 200 185/", ((180, 210, 190), (170, 200, 185))),
    (",", "180 210 190; 170 200 185", ((180, 210, 190), (170, 200, 185))),
    (",", '"180 210 190\n170 200 185"', ((180, 210, 190), (170, 200, 185))),
    (",", '"180, 210, 190 / 170, 200, 185"', ((180, 210, 190), (170, 200, 185))),
    (",", "180.5 210", ((180.5, 210),)),
    (";", "180,5 210 190 / 170 200 185,25", ((180.5, 210, 190), (170, 200, 185.25))),
    (";", '"180,5 210; 170 200"', ((180.5, 210), (170, 200))), (";", "180,5", ((180.5,),)),
    ("\t", "180,5, 210", ((180.5, 210),)),
])
def test_readings(tmp_path, separator, written, grid):
    found, said = one(tmp_path, "ppfd", written, separator)
    assert (found.ppfd_umol, said) == (grid, "")


@pytest.mark.parametrize(("written", "words"), [
    ("bright", "write one value, or readings as"), ("220 x", "write one value"), ("1_80", "write one value"),
    ("0", "between 1 and 3000"), ("-5", "between 1 and 3000"), ("22000", "between 1 and 3000"),
    ("nan", "write one value"), ("180 210 / 5000", "between 1 and 3000"),
    ("180 210 190 / 170 200", "different numbers of readings"),
    ('"180,5 210"', "whether its commas part readings"), ('"180,210,190"', "whether its commas part readings"),
    ("12000 lux", "how much PPFD that is depends on the lamp"), ("500 foot-candles", "depends on the lamp"),
])
def test_readings_that_cannot_be_told_are_left_out_and_the_light_stays(tmp_path, written, words):
    found, said = one(tmp_path, "ppfd,hours", f"{written},16")
    assert found == Lighting("rack 1", "panel", hours=16)
    assert said.startswith("lights.csv row 2: the PPFD ") and words in said


@pytest.mark.parametrize("name", ["lux", "Light (lux)", "klux", "foot candles", "ppfd_lux", "fc"])
def test_lux_is_refused_in_words(tmp_path, name):
    found, said = one(tmp_path, name, "12000")
    assert found.ppfd_umol == ()
    assert said.startswith("lights.csv row 1: the column") and "measure PPFD" in said


@pytest.mark.parametrize(("header", "value", "field", "want"), [
    ("distance_cm", "30", "distance_mm", 300), ("distance in", "12", "distance_mm", 304.8),
    ("lamp height (inches)", "11 3/4", "distance_mm", 298.45), ("distance_m", "0.8", "distance_mm", 800),
    ("distance ft", "1", "distance_mm", 304.8), ("hours", "16 h", "hours", 16), ("hours", "16:30", "hours", 16.5),
    ("photoperiod (h)", "14", "hours", 14), ("hours", "0", "hours", 0), ("hours", "24", "hours", 24),
    ("red_far_red", "0.7", "red_far_red", 0.7),
])
def test_other_figures(tmp_path, header, value, field, want):
    found, said = one(tmp_path, header, value)
    assert said == "" and getattr(found, field) == pytest.approx(want)


@pytest.mark.parametrize(("header", "value", "words"), [
    ("distance", "30", "names no unit"), ("distance_mm", "5", "check the unit"), ("distance_cm", "400", "the unit"),
    ("hours", "25", "hours can't be"), ("hours", "all day", "is no number for hours"), ("hours", "-1", "can't be"),
    ("red_far_red", "0", "red_far_red can't be"), ("red_far_red", "500", "red_far_red can't be"),
    ("window_side", "north", "which side of the flats faces the window: row A, last row, column 1 or last column"),
    ("window_side", "row F", "the window side"), ("distence_mm", "300", "did you mean distance_mm?"),
    ("window_side,window", "row A,row A", 'means the same as "window_side", which counts'),
])
def test_figures_that_cannot_be_told_are_left_out_and_the_light_stays(tmp_path, header, value, words):
    found, said = one(tmp_path, header, value)
    assert (found.shelf, found.light, found.hours, found.distance_mm, found.red_far_red) == (
        "rack 1", "panel", None, None, None)
    assert words in said and said.count("lights.csv row") == 1


@pytest.mark.parametrize(("written", "side"), [
    ("A", "row A"), ("row a", "row A"), ("Row A side", "row A"), ("first row", "row A"), ("col 1", "column 1"),
    ("Column 1", "column 1"), ("the last column", "last column"), ("last-row", "last row"), ("LAST COL", "last column"),
])
def test_the_side_of_the_window(tmp_path, written, side):
    found, said = one(tmp_path, "window_side", written)
    assert (found.window_side, said) == (side, "")


@pytest.mark.parametrize(("line", "words"), [
    ("rack 1,,,", "the light has no name"), ("rack 1,panel,soon,", "please write year-month-day"),
    ("rack 1,panel,,3/4/25", "without that date"), ("rack 1,panel,2025-03-01,2025-02-01", "before it begins"),
])
def test_rows_that_cannot_be_used(tmp_path, line, words):
    found, said = lights(tmp_path, f"shelf,light,from,to\n{line}\nrack 2,tubes,,\n")
    assert found == [Lighting("rack 2", "tubes")] and len(said) == 1 and words in said[0]


def test_the_type_names_a_light_that_has_no_name(tmp_path):
    assert lights(tmp_path, "shelf,light,type\nrack 1,,tubes\n") == ([Lighting("rack 1", "tubes", "tubes")], [])


def test_one_light_after_the_other(tmp_path):
    """The next light ends one without an end; on the day of the change both dates may be written."""
    text = "shelf,light,from,to\nr1,new,2025-03-01,\nr1,old,,\nr2,old,,2025-03-01\nr2,new,2025-03-01,\n"
    found, said = lights(tmp_path, text)
    assert said == []
    assert found == [Lighting("r1", "new", since=MARCH), Lighting("r1", "old"), Lighting("r2", "old", until=MARCH),
                     Lighting("r2", "new", since=MARCH)]


def test_two_lights_over_a_shelf_at_a_time(tmp_path):
    text = ("shelf,light,ppfd,from,to\nrack 1,panel,200,2025-02-01,2025-03-01\nRACK 1,tubes,90,2025-02-01,\n"
            "rack 1,bulb,20,2025-02-10,2025-04-01\nrack 1,lamp,20,2025-02-10,2025-02-20\nrack 2,tubes,90,2025-02-01,\n")
    found, said = lights(tmp_path, text)
    assert [(x.light, x.since, x.until) for x in found] == [
        ("panel", FEBRUARY, MARCH), ("bulb", date(2025, 3, 2), APRIL), ("tubes", FEBRUARY, None)]
    assert [s.split(":")[0] for s in said] == [f"lights.csv row {n}" for n in (3, 4, 5)]
    assert "the light of row 2 is on there from the same day" in said[0] and "measured apart can't be added" in said[0]
    assert "is on there until 2025-03-01, and counts until then" in said[1]


def test_lights_without_a_shelf_are_told_by_their_names(tmp_path):
    found, said = lights(tmp_path, "light,ppfd\npanel,200\ntubes,90\nPanel,210\n")
    assert [(x.shelf, x.light, x.mean_ppfd_umol) for x in found] == [("", "panel", 200), ("", "tubes", 90)]
    assert len(said) == 1 and said[0].startswith("lights.csv row 4")


def test_moves(tmp_path):
    found, said = moves(tmp_path, "Tray,Moved on,Bench,Lamp\n31,2025-03-01,rack 3,\n32,2025-03-01,,window\n"
                                  "31,2025-04-01,rack 1,\n")
    assert said == []
    assert found == [Move(31, MARCH, "rack 3"), Move(32, MARCH, None, "window"), Move(31, APRIL, "rack 1")]


@pytest.mark.parametrize(("line", "words"), [
    ("5,2025-03-01,rack 3", "is no flat number"), ("31,,rack 3", "without a date the row is left out"),
    ("31,1.3.2025,rack 3", "please write year-month-day"), ("31,2025-03-01,", "neither shelf nor light"),
    ("77,2025-03-01,rack 5", "row 2 has a move of flat 77 on that day already"),
])
def test_moves_that_cannot_be_used(tmp_path, line, words):
    found, said = moves(tmp_path, f"flat,date,shelf\n77,2025-03-01,rack 4\n{line}\n")
    assert found == [Move(77, MARCH, "rack 4")] and len(said) == 1 and words in said[0]


def test_files_that_are_none(tmp_path):
    with pytest.raises(RegisterError, match="no column named light"):
        lights(tmp_path, "shelf,ppfd\nr1,200\n")
    with pytest.raises(RegisterError, match="no column named shelf"):
        moves(tmp_path, "flat,date\n31,2025-03-01\n")
    with pytest.raises(RegisterError, match="no column named date"):
        moves(tmp_path, "flat,shelf\n31,r1\n")
    with pytest.raises(RegisterError, match="can't be opened"):
        read_lights(tmp_path / "none.csv")


@given(st.one_of(st.binary(max_size=200), st.text('shelf,light;\t"\n 0139-/.µ', max_size=200).map(
    lambda s: b"shelf,light,ppfd,hours,distance_cm,window_side,from,to\n" + s.encode())))
@settings(max_examples=300, deadline=None)
def test_any_bytes_end_in_lights_or_a_register_error(tmp_path_factory, data):
    try:
        found, said = lights(tmp_path_factory.getbasetemp(), data)
    except RegisterError as error:
        assert error.next_step
        return
    assert all("\n" not in s for s in said)
    for light in found:
        assert all(1 <= v <= 3000 for row in light.ppfd_umol for v in row)
        assert light.hours is None or 0 <= light.hours <= 24
        assert not (light.since and light.until) or light.since <= light.until


days = st.one_of(st.none(), st.dates(date(2025, 1, 1), date(2025, 2, 20)))


@given(st.lists(st.tuples(st.sampled_from(["r1", "r2"]), st.sampled_from(["a", "b"]), days, days), max_size=6))
@settings(max_examples=300, deadline=None)
def test_no_two_lights_with_an_end_share_more_than_the_day_of_the_change(tmp_path_factory, rows):
    text = "shelf,light,from,to\n" + "".join(f"{s},{x},{a or ''},{b or ''}\n" for s, x, a, b in rows)
    found, _ = lights(tmp_path_factory.getbasetemp(), text)
    for one, other in ((x, y) for x in found for y in found if x is not y and x.shelf == y.shelf):
        first, second = sorted((one, other), key=lambda x: x.since or date.min)
        assert first.since != second.since
        assert first.until is None or first.until <= second.since
