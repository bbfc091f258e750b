"""Reading a grower's table: CSV as spreadsheets save it, whatever the encoding and the separator, or a workbook.

The field readers add what is wrong to a list, in words for the grower, and give None for what can't be understood.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.flat.layout import MAX_COLUMNS, MAX_ROWS, known_layouts
from seedlingcv.records.workbook import is_workbook, read_workbook
from seedlingcv.tags.family import FLAT_IDS, is_flat

MAX_BYTES = 20_000_000  # many times a season's table; its text must not fill the memory
csv.field_size_limit(MAX_BYTES)
FIRST_YEAR = 2000
# year first, or last; a time of day is dropped
DAY = re.compile(r"(?:([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})|([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4}))"
                 r"(?:[ T][0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?(?: ?[AaPp][Mm])?)?")
ROOT_STATES = ("not_ready", "firm", "root_bound")  # what a tipped-out plug shows
ROOT_WORDS = {"notready": "not_ready", "rootbound": "root_bound", "bound": "root_bound"}
SUFFIXES = (".csv", ".xlsx", ".xlsm")  # of files that hold tables, the first found counts
SPREADSHEET_ERRORS = ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!")


@dataclass(frozen=True)
class Table:
    """Rows as (number a spreadsheet shows, cells); cells are trimmed and keep line breaks as newlines.

    separator : between a CSV's columns; None for a workbook
    """

    rows: list[tuple[int, list[str]]]
    separator: str | None = None
    complaints: tuple[str, ...] = ()


def find_file(folder: Path, name: str) -> Path | None:
    """`name.csv` in the folder, in whatever capitals, else the workbook of that name; None if there is neither."""
    found = _named(folder, name)
    return found[0] if found else None


def not_read(path: Path, name: str) -> list[str]:
    """A complaint if `path` is the table `name` of its folder and another file could be it just as well."""
    if path.stem.lower() != name:
        return []
    others = [p.name for p in _named(path.absolute().parent, name) if p.name.lower() != path.name.lower()]
    return [f"{path.name}: {' and '.join(others)} beside it is not read; keep one of them."] if others else []


def _named(folder: Path, name: str) -> list[Path]:
    try:
        found = [p for p in folder.iterdir() if p.stem.lower() == name and p.suffix.lower() in SUFFIXES and p.is_file()]
    except OSError as error:
        raise RegisterError(f"The folder can't be looked through ({error.strerror}).", where=folder.name,
                            next_step="Check that it is there and may be read.") from error
    return sorted(found, key=lambda p: (SUFFIXES.index(p.suffix.lower()), p.stem != name, p.name))


def read_table(path: Path, name: str) -> Table:
    """All rows of the file, which messages call `name`. Raises RegisterError if it can't be read as a table or is
    empty."""
    data = _bytes(path, name)
    if is_workbook(data):
        rows, complaints = read_workbook(data, path.name, name)
        return Table([(n, [_trimmed(cell) for cell in row]) for n, row in rows], None, tuple(complaints))
    return _csv(path, _text(data), name)


def _bytes(path: Path, name: str) -> bytes:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise RegisterError(f"The file is far too large for a {name}.", where=path.name,
                                next_step="Save the table of flats alone as CSV.")
        return path.read_bytes()
    except OSError as error:
        raise RegisterError(f"The {name} can't be opened ({error.strerror}).", where=path.name,
                            next_step="Check that it is there, may be read and isn't open elsewhere.") from error


def _text(data: bytes) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):  # what spreadsheets call Unicode text
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")  # CSV as Windows saves it


def _csv(path: Path, text: str, name: str) -> Table:
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
    if not text.strip(" \n\t,;"):
        raise RegisterError("The file is empty.", where=path.name, next_step="Its first line must name the columns.")
    lines = text.split("\n")
    header = next((line for line in lines if line.strip()), "")
    if re.fullmatch(r"sep=.", header.strip()):  # spreadsheets write it to name the separator
        lines[lines.index(header)] = ""
    # a title or a remark above the header may have none
    header = next((line for line in lines if re.search("[,;\t]", line) and not is_comment(line.strip(' "'))), "")
    separator = max(",;\t", key=header.count)
    try:
        rows = list(csv.reader([line + "\n" for line in lines], delimiter=separator, strict=True))
    except csv.Error:
        # a stray quotation mark must not swallow the rows after it: then every line stands alone
        rows = [next(csv.reader([line], delimiter=separator), []) for line in lines]
    return Table([(n, [_trimmed(cell) for cell in row]) for n, row in enumerate(rows, 1)], separator)


def _trimmed(cell: str) -> str:
    if re.match(r"'+[=+\-@]", cell):  # so marked as text, lest a spreadsheet reckons with it
        cell = cell[1:]
    lines = (" ".join(line.split()) for line in cell.splitlines())
    return "\n".join(line for line in lines if line)


def is_comment(text: str) -> bool:
    """Whether a row that begins so is a remark: `# …`. `#31` is meant as a flat, `#REF!` is a broken formula."""
    return bool(re.match(r"#(?![0-9])", text)) and not text.startswith(SPREADSHEET_ERRORS)


def flat_number(text: str, wrong: list[str]) -> int | None:
    usual = f"write the number on the flat's tag, {FLAT_IDS.start} to {FLAT_IDS.stop - 1}"
    if not text:
        wrong.append(f"the flat's number is missing, so the row is left out; {usual}")
        return None
    # 31.0: spreadsheets make it of 31
    match = re.fullmatch(r"(?:(?:flat|tray) ?)?(?:no\.? ?|nr\.? ?)?#?0*([0-9]{1,6})(\.0*)?", text.lower())
    if match is None or not is_flat(int(match[1])):
        wrong.append(f'"{short(text)}" is no flat number, so the row is left out; {usual}')
        return None
    return int(match[1])


def layout(text: str, wrong: list[str]) -> tuple[int, int] | tuple[None, None]:
    if not text:
        return None, None
    if match := re.fullmatch(r"0*([0-9]{1,4}) ?[x×*] ?0*([0-9]{1,4})", text.lower()):
        rows, columns = int(match[1]), int(match[2])
        if 1 <= columns < rows <= MAX_COLUMNS:
            wrong.append(f'the layout "{short(text)}" has more rows than columns, so it is left out; row A runs '
                         f"along the long side: write {columns}x{rows} if that is meant")
            return None, None
        if 1 <= rows <= min(columns, MAX_ROWS) and columns <= MAX_COLUMNS:
            return rows, columns
    elif match := re.fullmatch(r"([0-9]{1,4})(\.0*)?", text):
        known = [known for known in known_layouts() if known[0] * known[1] == int(match[1])]
        if len(known) == 1:
            return known[0]
    wrong.append(f'the layout "{short(text)}" isn\'t known, so it is left out; write rows x columns, such as 6x12')
    return None, None


def day(text: str, wrong: list[str], what: str) -> date | None:
    """The date that a cell says; `what` names it in the complaint, such as `sowing date`."""
    found = read_day(text)
    if text and found is None:
        wrong.append(f'the {what} "{short(text)}" is left out{no_day(text)}')
    return found


def past_day(text: str, wrong: list[str], what: str) -> date | None:
    """A day on which something was done; one that is still to come is a slip."""
    found = day(text, wrong, what)
    today = date.today()
    if found and found > today + timedelta(days=1):  # where the photo was taken it may be tomorrow by now
        wrong.append(f"the {what} {found} is still to come (by this computer's clock it is {today}), so it is left out")
        return None
    return found


def needed_day(text: str, wrong: list[str], what: str) -> date | None:
    """A day on which something was done, without which the row can't be used."""
    found = past_day(text, wrong, what)
    if found is None:
        wrong.append(f"without a {what} the row is left out")
    return found


def read_day(text: str) -> date | None:
    """`2025-02-23`, `2025/2/3`, `2025-02-23 08:30`, and `23.02.2025` where only one reading is possible; None for what
    is no day or could be two."""
    match = DAY.fullmatch(" ".join(text.split()))
    if match is None:
        return None
    numbers = [int(part) for part in match.groups() if part]
    if match[1]:
        return _date(*numbers)
    one, other, year = numbers
    readings = {_date(year, one, other), _date(year, other, one)} - {None}
    return readings.pop() if len(readings) == 1 else None


def no_day(text: str) -> str:
    """Why a text is no day, to follow what is done about it, and how a day is written."""
    match = re.fullmatch(r"([0-9]{1,2})[/.-]([0-9]{1,2})[/.-][0-9]{2,4}", text)
    two = ", since 3/4 is one day here and another elsewhere" if match and int(match[1]) <= 12 >= int(match[2]) else ""
    return f"{two}; please write year-month-day, such as 2025-02-23"


def _date(year: int, month: int, day_of_month: int) -> date | None:
    try:
        return date(year, month, day_of_month) if year >= FIRST_YEAR else None
    except ValueError:
        return None


def roots(text: str, wrong: list[str]) -> str | None:
    """One of ROOT_STATES, or None where nothing is written."""
    if not text:
        return None
    plain = "_".join(text.lower().replace("-", " ").replace("_", " ").split())
    plain = ROOT_WORDS.get(plain, plain)
    if plain in ROOT_STATES:
        return plain
    usual = f"{', '.join(ROOT_STATES[:-1])} or {ROOT_STATES[-1]}"
    wrong.append(f'the root check "{short(text)}" is left out; write {usual}')
    return None


def read_number(text: str) -> float | None:
    """`38`, `1.5`, `1,5`, `1 1/2`, `3/8`, `19 %` (the sign is dropped); None for what is no number."""
    plain, fraction = r"-?[0-9]+(?:[.,][0-9]+)?(?:[eE][-+]?[0-9]{1,2})?", r"([0-9]+)/([1-9][0-9]*)"
    match = re.fullmatch(rf"({plain})?(?:(?:^| |(?<=[0-9])-){fraction})? ?%?", " ".join(text.split()))
    if match is None or (match[1] is None and match[2] is None):
        return None
    return float((match[1] or "0").replace(",", ".")) + (int(match[2]) / int(match[3]) if match[2] else 0.0)


def words(text: str) -> str:
    """In one line. Bytes that were no text to the system are read as those of a table would be: a terminal may not
    speak UTF-8, and no database takes them as they are."""
    def readable(match: re.Match[str]) -> str:
        code = ord(match[0])
        return bytes([code & 0xFF]).decode("cp1252", "replace") if 0xDC80 <= code <= 0xDCFF else "\ufffd"

    return " ".join(re.sub("[\ud800-\udfff]", readable, text).replace("\0", " ").split())


def ranges(numbers: Sequence[int]) -> str:
    """`301-303, 307` for sorted numbers."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 30 else text[:29] + "…"
