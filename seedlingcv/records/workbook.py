"""Spreadsheet workbooks (.xlsx, .xlsm) as rows of plain text, of one sheet: the one that is called as the file
is, else the first that has content.

Text is what a CSV of the sheet would hold, but for dates, which are written year-month-day whatever the cell shows,
and cells merged downwards: what stands in them is said of every row that they reach over and that has something else.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from seedlingcv.errors import RegisterError

OLE = b"\xd0\xcf\x11\xe0"  # begins an old workbook, and one locked with a password
ZIP = b"PK"
MOST_UNPACKED = 30_000_000  # bytes; a register has a thousandth of it, and unpacking must not fill the memory
SAVE_AGAIN = "Open it in a spreadsheet program and save it again as .xlsx or as CSV."

Rows = list[tuple[int, list[str]]]


def is_workbook(data: bytes) -> bool:
    return data.startswith((OLE, ZIP))


def read_workbook(data: bytes, file: str, name: str) -> tuple[Rows, list[str]]:
    """The rows, numbered as the spreadsheet shows them, and what is wrong; messages call the table `name`.

    Raises RegisterError if the workbook is locked, old, damaged, of another kind, too large or empty.
    """
    _check(data, file, name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of drop-down lists and styles, which nobody asked for
        try:
            rows, waiting, titles = _rows(data, Path(file).stem)
        except Exception as error:  # on a damaged file the library raises whatever it stumbles over
            raise RegisterError("This spreadsheet workbook is damaged.", where=file, next_step=SAVE_AGAIN) from error
    if not rows:
        raise RegisterError("This spreadsheet workbook is empty.", where=file,
                            next_step=f"Write the {name} into its first sheet.")
    complaints = []
    if len(titles) > 1:
        quoted = [f'"{title}"' for title in titles]
        complaints.append(f"{file}: only the sheet {quoted[0]} is read, not {' and '.join(quoted[1:])}; save what is a "
                          "table of its own as a file of its own.")
    if waiting:
        many = f"{len(waiting)} formulas have no results, the first in cell" if len(waiting) > 1 else \
            "a formula has no result, in cell"
        complaints.append(f"{file}: {many} {waiting[0]}; they count as empty. Open the file in a spreadsheet program, "
                          "save it, and use it again.")
    return rows, complaints


def _check(data: bytes, file: str, name: str) -> None:
    if data.startswith(OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:  # where a locked workbook keeps its content
            raise RegisterError("This spreadsheet workbook is locked with a password.", where=file,
                                next_step="Save a copy without the password.")
        raise RegisterError("This is a spreadsheet workbook of the old kind (.xls), which can't be read.", where=file,
                            next_step=SAVE_AGAIN)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = {member.filename: member.file_size for member in archive.infolist()}
    except Exception as error:  # a damaged zip raises other errors than BadZipFile too
        raise RegisterError("This spreadsheet workbook is damaged.", where=file, next_step=SAVE_AGAIN) from error
    if "[Content_Types].xml" not in members or not any(member.startswith("xl/") for member in members):
        raise RegisterError("This is a spreadsheet workbook of another kind, or no workbook.", where=file,
                            next_step=SAVE_AGAIN)
    if sum(members.values()) > MOST_UNPACKED:
        raise RegisterError(f"The workbook is far too large for a {name}.", where=file,
                            next_step="Save the table alone as CSV.")


def _rows(data: bytes, wanted: str) -> tuple[Rows, list[str], list[str]]:
    """The filled rows of one sheet, the cells whose formulas were never reckoned, and the names of the filled sheets,
    beginning with the one that is read."""
    pages = [(at, page, _cells(page)) for at, page in enumerate(_pages(data)) if page.sheet_state == "visible"]
    filled = [found for found in pages if any(cell.value is not None for _, row in found[2] for cell in row)]
    filled.sort(key=lambda found: found[1].title.casefold() != wanted.casefold())
    if not filled:
        return [], [], []
    at, page, cells = filled[0]
    formulas = [[cell.data_type == "f" for cell in row] for _, row in cells]
    if any(any(row) for row in formulas):  # this reading has the formulas; their results take another
        cells = _cells(_pages(data, results=True)[at])
    # a result of type "str" without a value is an empty text
    waiting = [cell.coordinate for (_, row), made in zip(cells, formulas, strict=True)
               for cell, formula in zip(row, made, strict=True)
               if formula and cell.value is None and cell.data_type != "str"]
    texts = [(number, [_text(cell) for cell in row]) for number, row in cells]
    rows = [(number, row) for number, row in texts if any(row)]
    _fill_down(dict(rows), _merged(data, page))
    return rows, waiting, [page.title for _, page, _ in filled]


def _merged(data: bytes, page: Any) -> list[tuple[int, int, int, int]]:
    """First column, first row, last column, last row of merged cells, which the library leaves out here."""
    from openpyxl.utils import range_boundaries

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        xml = archive.read(page._worksheet_path)
    found = re.findall(rb'<(?:\w+:)?mergeCell\s[^>]*?ref="([A-Z0-9:]+)"', xml)
    return [range_boundaries(cells.decode()) for cells in found]


def _fill_down(rows: dict[int, list[str]], merged: list[tuple[int, int, int, int]]) -> None:
    for column, first, _, last in merged:
        above = rows.get(first, [])[column - 1 : column]
        for number in range(first + 1, last + 1) if above else ():
            row = rows.get(number)
            if row is not None:
                row += [""] * (column - len(row))
                row[column - 1] = row[column - 1] or above[0]


def _pages(data: bytes, *, results: bool = False) -> list[Any]:
    from openpyxl import load_workbook

    return load_workbook(io.BytesIO(data), read_only=True, data_only=results, keep_links=False).worksheets


def _cells(page: Any) -> list[tuple[int, Any]]:
    page.reset_dimensions()  # what a file says of its size may be wrong
    return [(number, row) for number, row in enumerate(page.iter_rows(), 1) if row]


def _text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, datetime | date):
        return value.isoformat()[:10]
    if isinstance(value, timedelta):  # 16:00 in a cell that shows hours
        minutes = round(value.total_seconds() / 60)
        return f"{minutes // 60}:{minutes % 60:02d}"
    if isinstance(value, time):
        return value.strftime("%H:%M")
    if isinstance(value, bool):
        return str(value).upper()
    if not isinstance(value, int | float):
        return str(value)
    if "%" in (cell.number_format or ""):  # a cell that shows 19 % holds 0.19
        return f"{value * 100:.15g} %"
    return f"{value:.15g}"  # a spreadsheet's own precision: 31.0 is 31
