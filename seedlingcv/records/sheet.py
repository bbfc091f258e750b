"""Reading a grower's table: CSV as spreadsheets save it, whatever the encoding and the separator, or a workbook.

The field readers add what is wrong to a list, in words for the grower, and give None for what can't be understood.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.flat.layout import MAX_COLUMNS, MAX_ROWS, known_layouts
from seedlingcv.records.workbook import is_workbook, read_workbook
from seedlingcv.tags.family import FLAT_IDS, is_flat

MAX_BYTES = 5_000_000
FIRST_YEAR = 2000
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
    """All rows of the file, which messages call `name`. Raises RegisterError if it can't be read as a table."""
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
    lines = text.split("\n")
    header = next((line for line in lines if line.strip()), "")
    if re.fullmatch(r"sep=.", header.strip()):  # spreadsheets write it to name the separator
        lines[lines.index(header)] = ""
    # a title or a remark above the header may have none
    header = next((line for line in lines if re.search("[,;\t]", line) and not is_comment(line.strip(' "'))), "")
    separator = max(",;\t", key=header.count)
    try:
        try:
            rows = list(csv.reader([line + "\n" for line in lines], delimiter=separator, strict=True))
        except csv.Error:
            # a stray quotation mark must not swallow the rows after it: then every line stands alone
            rows = [next(csv.reader([line], delimiter=separator), []) for line in lines]
    except csv.Error as error:
        raise RegisterError(f"The {name} is no table ({error}).", where=path.name,
                            next_step="Save it again as CSV.") from error
    return Table([(n, [_trimmed(cell) for cell in row]) for n, row in enumerate(rows, 1)], separator)


def _trimmed(cell: str) -> str:
    if re.match(r"'[=+\-@]", cell):  # so marked as text, lest a spreadsheet reckons with it
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
    match = re.fullmatch(r"0*([0-9]{1,6})(\.0*)?", text)  # 31.0: spreadsheets make it of 31
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
    """A date written year-month-day; `what` names it in the complaint, such as `sowing date`."""
    if not text:
        return None
    match = re.fullmatch(r"([0-9]{4}-[0-9]{2}-[0-9]{2})([ T]00:00(:00)?)?", text)
    try:
        found = date.fromisoformat(match[1]) if match else None
    except ValueError:
        found = None
    if found is None or found.year < FIRST_YEAR:
        why = ", since 3/4 is one day here and another elsewhere" if re.search(r"[0-9][/.][0-9]", text) else ""
        wrong.append(f'the {what} "{short(text)}" is left out{why}; please write year-month-day, '
                     "such as 2025-02-23")
        return None
    return found


def needed_day(text: str, wrong: list[str], what: str) -> date | None:
    """A day without which the row can't be used."""
    found = day(text, wrong, what)
    if found is None:
        wrong.append(f"without a {what} the row is left out")
    return found


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


def short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 30 else text[:29] + "…"
