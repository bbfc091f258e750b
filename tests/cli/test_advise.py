"""`advise` as a grower types it. Flats are invented, but for the evaluation flats' true measures."""

import importlib.util
import json
import re

import pypdfium2
import pytest
import typer
from typer.testing import CliRunner

from seedlingcv.cli.advise import advise, run
from seedlingcv.errors import SeedlingError

app = typer.Typer()
app.command()(advise)

SHEET = """flat,cell,date,true_leaves,stem_length_mm,hypocotyl_length_mm,leaf_spread_mm,canopy_cover
31,A1,2025-03-20,2,38,29,59,0.19
31,A2,2025-03-20,2,36,28,60,0.18
31,A3,2025-03-20,2,39,30,58,0.2
31,A4,2025-03-20,3,37,29,60,0.21
58,,2025-03-20,3,35,25,62,0.3
"""
REGISTER = "flat,crop,layout,sown\n31,tomato,6x12,2025-02-23\n58,pepper,6x12,2025-02-03\n"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "ruler.csv").write_text(SHEET)
    (tmp_path / "flats.csv").write_text(REGISTER)
    return tmp_path


def call(*arguments):
    done = CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "100", "NO_COLOR": "1"})
    assert done.exception is None or isinstance(done.exception, (SystemExit, SeedlingError)), done.exception
    return done


def test_a_list_from_a_ruler(folder):
    done = call(folder / "ruler.csv")
    assert done.exit_code == 0, done.output
    assert "Pot-up list for Thursday 20 March 2025" in done.output
    text = " ".join(done.output.split())
    assert "Tomato" in text and "Pepper" in text and "2 true leaves (pot-up window 2-4)" in text
    assert "Last day: Roots begin to circle about Sun 30 Mar" in text
    assert "Photos not used" not in text and "Report:" not in text
    assert not (folder / "pot-up-list.html").exists(), "a report only when asked for"


def test_files_are_written(folder):
    done = call(folder / "ruler.csv", "--json", folder / "r.json", "--csv", folder / "r.csv", "--report",
                folder / "r.html")
    assert done.exit_code == 0 and "r.html" in done.output
    flats = {f["flat"]: f for f in json.loads((folder / "r.json").read_text())["flats"]}
    assert flats[31]["verdict"]["action"] == "pot_up" and flats[31]["verdict"]["depth"]["mark"] == "plug_on_bottom"
    assert [c["cell"] for c in flats[31]["cells"]] == ["A1", "A2", "A3", "A4"]
    assert flats[58]["cells"][0]["cell"] == "all"
    assert "one line of the sheet stands for all plants of the flat" in flats[58]["verdict"]["assumed"]
    page = (folder / "r.html").read_text()
    assert "What would change this" in page and "the figures came from a table" in page
    # What it wrote can be read back, and says the same.
    again = call(folder / "r.csv", "--flats", folder / "flats.csv", "--json", folder / "again.json")
    assert again.exit_code == 0, again.output
    back = {f["flat"]: f["verdict"] for f in json.loads((folder / "again.json").read_text())["flats"]}
    assert back == {number: flat["verdict"] for number, flat in flats.items()}


def test_crew_sheet_and_labels_come_in_the_lists_units_and_with_the_growers_crops(folder):
    """A crop of the grower's own, in inches, on US Letter (8 1/2 x 11 in)."""
    (folder / "own.toml").write_text('''[medlar]
family = "Rosaceae"
aliases = []
leaf_arrangement = "alternate"
cotyledons = 2
transplant_tolerance = "care"
pot_up_true_leaves = [2, 4]
weeks_to_pot_up = [3, 4]
weeks_in_pot = [2, 3]
burial = "same_depth"
root_bound_days = { 72 = [35, 42] }
usual_height_mm = 70
min_night_c = 10
cautions = ["Thorns."]
crown_rule = "Invented rule for the crown."
''')
    (folder / "flats.csv").write_text(REGISTER.replace("tomato", "medlar"))
    crew, labels = folder / "crew.pdf", folder / "labels.csv"
    done = call(folder / "ruler.csv", "--crops", folder / "own.toml", "--crew", crew, "--labels", labels, "--inches",
                "--paper", "letter")
    assert done.exit_code == 0, done.output
    assert "Crew sheet: " in done.output and "Labels: " in done.output
    pdf = pypdfium2.PdfDocument(crew)
    told = [" ".join(page.get_textpage().get_text_range().split()) for page in pdf]
    page = next(t for t in told if t.startswith("FLAT") and " 31 " in t[:20])
    assert "Medlar" in page and "1/2 in free" in page and "Invented rule for the crown." in page
    assert pdf[0].get_size() == pytest.approx((8.5 * 72, 11 * 72))
    assert "in wide" in labels.read_text() and " mm" not in labels.read_text()
    done = call(folder / "ruler.csv", "--crops", folder / "own.toml", "--crew", crew, "--compact", "--quiet")
    assert done.exit_code == 0
    assert any("For every flat" in page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(crew))


def test_one_sheet_may_hold_all(tmp_path):
    (tmp_path / "r.csv").write_text("flat,crop,layout,sown,true_leaves,stem_length_in,leaf_spread_in,roots\n"
                                    "31,tomato,6x12,2025-02-23,2,4,2,firm\n77,kohlrbi,,,2,,,\n78,,,,2,,,\n")
    done = call(tmp_path / "r.csv", "--today", "2025-03-20", "--json", tmp_path / "r.json")
    assert done.exit_code == 3
    assert "kohlrabi" in done.output, "the near match"
    flats = {f["flat"]: f["verdict"] for f in json.loads((tmp_path / "r.json").read_text())["flats"]}
    assert flats[31]["action"] == "pot_up_early"
    assert any("Roots checked by hand" in r for r in flats[31]["reasons"])
    assert flats[77]["action"] == flats[78]["action"] == "unsure"


def test_a_flat_with_two_crops_gets_a_line_for_each(tmp_path):
    cells = "".join(f"12,{row}{n},2025-03-20,{leaves},20,50\n" for row, leaves in (("A", 4), ("D", 1))
                    for n in range(1, 6))
    (tmp_path / "r.csv").write_text("flat,cell,date,true_leaves,stem_mm,spread_mm\n" + cells)
    (tmp_path / "flats.csv").write_text("flat,crop,variety,layout,cells,roots\n12,basil,Mill Lane,6x12,A-C,\n"
                                        "12,parsley,Low Hedge,,D-F,not_ready\n")
    done = call(tmp_path / "r.csv", "--quiet", "--json", tmp_path / "r.json", "--report", tmp_path / "r.html")
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0].startswith("12 rows A-C Basil, Mill Lane: pot up,")
    assert lines[1].startswith("12 rows D-F Parsley, Low Hedge: wait,")
    flats = json.loads((tmp_path / "r.json").read_text())["flats"]
    assert [(f["flat"], f["part"], f["crop"], len(f["cells"])) for f in flats] == [
        (12, "rows A-C", "basil", 5), (12, "rows D-F", "parsley", 5)]
    page = (tmp_path / "r.html").read_text()
    assert 'href="#flat-12-rows-A-C"' in page and 'id="flat-12-rows-D-F"' in page
    assert len(set(re.findall(r' id="([^"]*)"', page))) == len(re.findall(r' id="([^"]*)"', page))


def test_growth_between_two_days_is_used(tmp_path):
    (tmp_path / "r.csv").write_text("flat,date,crop,true_leaves\n31,2025-03-10,tomato,1\n31,2025-03-20,tomato,2\n")
    done = run(tmp_path / "r.csv")
    assert done.complaints == [] and str(done.today) == "2025-03-20"
    assert "a new one every 10 days, measured since Mon 10 Mar" in done.entries[0].verdict.limits[0].text


def test_growth_is_measured_part_by_part_also_where_a_part_was_not_seen_before(tmp_path):
    (tmp_path / "r.csv").write_text("flat,cell,date,true_leaves\n"
                                    + "".join(f"12,A{n},2025-03-10,1\n12,A{n},2025-03-20,3\n" for n in range(1, 6))
                                    + "".join(f"12,D{n},2025-03-20,1\n" for n in range(1, 6)))
    (tmp_path / "flats.csv").write_text("flat,crop,layout,cells\n12,tomato,6x12,A-C\n12,pepper,,\n")
    tomato, pepper = sorted(
        run(tmp_path / "r.csv", flats=tmp_path / "flats.csv").entries, key=lambda e: e.measurement.crop, reverse=True)
    assert "every 5 days, measured since Mon 10 Mar" in " ".join(end.text for end in tomato.verdict.limits)
    assert "measured since" not in " ".join(end.text for end in pepper.verdict.limits)


@pytest.mark.parametrize("pot", ["110x160", "4 1/2 x 6 1/4 in", "1 gallon"])
def test_the_pot_is_named(folder, pot):
    done = call(folder / "ruler.csv", "--pot", pot, "--json", folder / "r.json")
    assert done.exit_code == 0, done.output
    verdict = {f["flat"]: f["verdict"] for f in json.loads((folder / "r.json").read_text())["flats"]}[31]
    assert verdict["depth"]["mark"] == "first_true_leaves" and verdict["burial_depth_mm"] > 25


@pytest.mark.parametrize("option", [["--inches"], ["--units", "inch"]])
def test_inches(folder, option):
    done = call(folder / "ruler.csv", *option)
    assert "3/8 in deeper than now" in done.output and " mm" not in done.output
    assert done.output == call(folder / "ruler.csv", "--inches").output


def test_marks_shift_the_limits_and_the_list_says_so(folder):
    (folder / "marks.csv").write_text("flat,date,mark\n31,2025-03-20,leggy\n99,2025-03-20,leggy\n")
    done = call(folder / "ruler.csv", "--marks", folder / "marks.csv", "--json", folder / "r.json")
    assert done.exit_code == 3 and "the mark on flat 99" in " ".join(done.output.split())
    verdicts = {f["flat"]: f["verdict"] for f in json.loads((folder / "r.json").read_text())["flats"]}
    assert verdicts[31]["bands_from"] == "limits for tomato, shifted by 1 mark of your own"
    assert "unproved" in verdicts[58]["bands_from"]


def test_a_template_to_the_screen_and_to_a_file(tmp_path):
    screen = call("--template")
    assert screen.exit_code == 0 and screen.output.startswith("flat,cell,date,")
    assert "stem_length_in" in call("--template", "--inches").output
    target = tmp_path / "new.csv"
    assert call(target, "--template").exit_code == 0 and target.read_text() == screen.output
    again = call(target, "--template")
    assert again.exit_code == 1 and "won't be written over" in str(again.exception)


@pytest.mark.parametrize(("arguments", "said"), [
    (["gone.csv"], "can't be opened"), (["."], "This is a folder"),
    (["ruler.csv", "--flats", "gone.csv"], "can't be opened"), (["ruler.csv", "--crops", "gone.toml"], "can't be read"),
    (["ruler.csv", "--marks", "gone.csv"], "can't be opened"), (["ruler.csv", "--json", "ruler.csv"], "won't be"),
    (["ruler.csv", "--report", "no/such/r.html"], "not there"), (["ruler.csv", "--crew", "flats.csv"], "won't be"),
    (["ruler.csv", "--labels", "l.csv", "--csv", "l.csv"], "Two results"),
])
def test_mistakes_are_told(folder, monkeypatch, arguments, said):
    monkeypatch.chdir(folder)
    done = call(*arguments)
    assert done.exit_code == 1 and said in str(done.exception)


@pytest.mark.parametrize("arguments", [[], ["ruler.csv", "--pot", "large"], ["ruler.csv", "--units", "furlong"],
                                       ["ruler.csv", "--today", "soon"],
                                       ["ruler.csv", "--compact"], ["ruler.csv", "--paper", "a5"]])
def test_commands_not_understood(folder, monkeypatch, arguments):
    monkeypatch.chdir(folder)
    assert call(*arguments).exit_code == 2


def test_nothing_to_say_is_an_error(tmp_path):
    (tmp_path / "r.csv").write_text("flat,cell,true_leaves\n")
    done = call(tmp_path / "r.csv")
    assert done.exit_code == 1 and "No flat could be measured." in done.output


def test_the_evaluation_flats_true_measures(evaluation, tmp_path):
    """The schema is that of the judge, and every flat gets an answer."""
    done = call(evaluation / "truth_measurements.csv", "--flats", evaluation / "flats" / "flats.csv", "--json",
                tmp_path / "t.json", "--quiet")
    assert done.exit_code == 0, done.output
    flats = json.loads((tmp_path / "t.json").read_text())["flats"]
    judge = importlib.util.spec_from_file_location("judge", evaluation / "score.py")
    module = importlib.util.module_from_spec(judge)
    judge.loader.exec_module(module)
    assert {f["flat"] for f in flats} == set(module.load_truth(evaluation))
    assert all(f["verdict"]["reasons"] for f in flats)
    stretched = next(f["verdict"] for f in flats if f["flat"] == 201)
    assert (stretched["action"], stretched["burial"]) == ("pot_up_early", "deep")


@pytest.mark.parametrize("option", ["--csv", "--json", "--report"])
def test_no_result_is_written_over_the_records(folder, option):
    database = folder / "season.db"
    assert call(folder / "ruler.csv", "--records", database).exit_code == 0
    before = database.read_bytes()
    done = call(folder / "ruler.csv", "--records", database, option, database)
    assert done.exit_code == 1 and "won't be written over" in str(done.exception)
    assert database.read_bytes() == before
