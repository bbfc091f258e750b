"""The register of flats: `flats.csv`, which the grower keeps in a spreadsheet.

    flat,crop,variety,layout,sown,light
    31,tomato,Harbor Lantern,6x12,2025-02-23,LED panel

Only `flat` is needed. What can't be understood is left out and complained of, one line a row; the rest stays.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from seedlingcv.errors import RegisterError
from seedlingcv.flat.layout import MAX_COLUMNS, MAX_ROWS, known_layouts
from seedlingcv.tags.family import FLAT_IDS, is_flat

FILE_NAME = "flats.csv"
COLUMNS = ("flat", "crop", "variety", "layout", "sown", "light")
MAX_BYTES = 5_000_000
FIRST_YEAR = 2000


@dataclass(frozen=True)
class FlatRow:
    """One flat. `rows` and `columns` are both known or both None; `extra` holds columns of other names."""

    flat: int
    crop: str | None = None  # in small letters
    variety: str | None = None
    rows: int | None = None
    columns: int | None = None
    sown: date | None = None
    light: str | None = None
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Register:
    path: Path
    flats: dict[int, FlatRow]
    complaints: tuple[str, ...] = ()

    def get(self, flat: int) -> FlatRow | None:
        return self.flats.get(flat)


def find_register(folder: Path) -> Path | None:
    """`flats.csv` in the folder, in whatever capitals; None if there is none."""
    try:
        found = [p for p in folder.iterdir() if p.name.lower() == FILE_NAME and p.is_file()]
    except OSError as error:
        raise RegisterError(f"The folder can't be looked through ({error.strerror}).", where=folder.name,
                            next_step="Check that it is there and may be read.") from error
    return min(found, key=lambda p: (p.name != FILE_NAME, p.name), default=None)


def read_register(path: Path) -> Register:
    """Raises RegisterError if the file can't be read or has no `flat` column."""
    table = _table(path, _text(path))
    number, header = next(((n, row) for n, row in table if any(row)), (0, []))
    names = [name.lower() for name in header]
    if "flat" not in names:
        raise RegisterError("The register has no column named flat.", where=path.name,
                            next_step=f"Its first line must name the columns: {','.join(COLUMNS)}.")
    flats: dict[int, FlatRow] = {}
    seen_at: dict[int, int] = {}
    complaints = []
    for at, values in table:
        if at <= number or not any(values):
            continue
        wrong: list[str] = []
        row = _row(header, values, wrong)
        if row is not None and row.flat in flats:
            wrong = [f"flat {row.flat} stands in row {seen_at[row.flat]} already; that one counts, "
                     "so delete one of the two"]
        elif row is not None:
            flats[row.flat], seen_at[row.flat] = row, at
        if wrong:
            complaints.append(f"{path.name} row {at}: {'; '.join(wrong)}.")
    return Register(path, flats, tuple(complaints))


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise RegisterError("The file is far too large for a register.", where=path.name,
                                next_step="Save the table of flats alone as CSV.")
        data = path.read_bytes()
    except OSError as error:
        raise RegisterError(f"The register can't be opened ({error.strerror}).", where=path.name,
                            next_step="Check that it is there, may be read and isn't open elsewhere.") from error
    if data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0":  # a zip or an OLE file: a workbook renamed
        raise RegisterError("This is a spreadsheet workbook, not CSV.", where=path.name,
                            next_step="Open it and save it again as CSV.")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):  # what spreadsheets call Unicode text
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")  # CSV as Windows saves it


def _table(path: Path, text: str) -> list[tuple[int, list[str]]]:
    """(row number as a spreadsheet shows it, trimmed cells) for every row."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\0", "")
    lines = text.split("\n")
    header = next((line for line in lines if line.strip()), "")
    if re.fullmatch(r"sep=.", header.strip()):  # spreadsheets write it to name the separator
        lines[lines.index(header)] = ""
        header = next((line for line in lines if line.strip()), "")
    separator = max(",;\t", key=header.count)
    try:
        try:
            rows = list(csv.reader([line + "\n" for line in lines], delimiter=separator, strict=True))
        except csv.Error:
            # a stray quotation mark must not swallow the rows after it: then every line stands alone
            rows = [next(csv.reader([line], delimiter=separator), []) for line in lines]
    except csv.Error as error:
        raise RegisterError(f"The register is no table ({error}).", where=path.name,
                            next_step="Save it again as CSV.") from error
    return [(n, [" ".join(cell.split()) for cell in row]) for n, row in enumerate(rows, 1)]


def _row(header: list[str], values: list[str], wrong: list[str]) -> FlatRow | None:
    """None if the row belongs to no flat. What is wrong is added to `wrong`."""
    cells: dict[str, str] = {}
    extra: dict[str, str] = {}
    for name, value in zip(header, values, strict=False):
        if name.lower() in COLUMNS:
            cells.setdefault(name.lower(), value)
        elif name:
            extra.setdefault(name, value)
    flat = _flat(cells.get("flat", ""), wrong)
    if flat is None:
        return None
    if any(values[len(header):]):
        wrong.append("there are more values than columns: put text with a comma in it between quotation marks")
    rows, columns = _layout(cells.get("layout", ""), wrong)
    return FlatRow(flat=flat, crop=cells.get("crop", "").lower() or None, variety=cells.get("variety") or None,
                   rows=rows, columns=columns, sown=_sown(cells.get("sown", ""), wrong),
                   light=cells.get("light") or None, extra=extra)


def _flat(text: str, wrong: list[str]) -> int | None:
    usual = f"write the number on the flat's tag, {FLAT_IDS.start} to {FLAT_IDS.stop - 1}"
    if not text:
        wrong.append(f"the flat's number is missing, so the row is left out; {usual}")
        return None
    match = re.fullmatch(r"0*([0-9]{1,6})(\.0*)?", text)  # 31.0: spreadsheets make it of 31
    if match is None or not is_flat(int(match[1])):
        wrong.append(f'"{_short(text)}" is no flat number, so the row is left out; {usual}')
        return None
    return int(match[1])


def _layout(text: str, wrong: list[str]) -> tuple[int, int] | tuple[None, None]:
    if not text:
        return None, None
    if match := re.fullmatch(r"0*([0-9]{1,4}) ?[x×*] ?0*([0-9]{1,4})", text.lower()):
        rows, columns = int(match[1]), int(match[2])
        if 1 <= columns < rows <= MAX_COLUMNS:
            wrong.append(f'the layout "{_short(text)}" has more rows than columns, so it is left out; row A runs '
                         f"along the long side: write {columns}x{rows} if that is meant")
            return None, None
        if 1 <= rows <= min(columns, MAX_ROWS) and columns <= MAX_COLUMNS:
            return rows, columns
    elif match := re.fullmatch(r"([0-9]{1,4})(\.0*)?", text):
        known = [layout for layout in known_layouts() if layout[0] * layout[1] == int(match[1])]
        if len(known) == 1:
            return known[0]
    wrong.append(f'the layout "{_short(text)}" isn\'t known, so it is left out; write rows x columns, such as 6x12')
    return None, None


def _sown(text: str, wrong: list[str]) -> date | None:
    if not text:
        return None
    match = re.fullmatch(r"([0-9]{4}-[0-9]{2}-[0-9]{2})([ T]00:00(:00)?)?", text)
    try:
        day = date.fromisoformat(match[1]) if match else None
    except ValueError:
        day = None
    if day is None or day.year < FIRST_YEAR:
        why = ", since 3/4 is one day here and another elsewhere" if re.search(r"[0-9][/.][0-9]", text) else ""
        wrong.append(f'the sowing date "{_short(text)}" is left out{why}; please write year-month-day, '
                     "such as 2025-02-23")
        return None
    return day


def _short(text: str) -> str:
    return text if len(text) <= 30 else text[:29] + "…"
