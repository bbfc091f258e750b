"""Opening the records for a list: what stands beside the photos or the sheet is added first."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from seedlingcv.assess.keeping import Keeping


def open_keeping(stack: ExitStack, target: str, tables: Sequence[Path], corrections: Path | None = None) -> Keeping:
    """The records, open until the stack closes.

    tables : what to add to them now; corrections : a table that waits until its days are measured
    Raises RecordsError, RegisterError.
    """
    from seedlingcv.assess.keeping import Keeping
    from seedlingcv.records.adding import add_tables
    from seedlingcv.records.database import open_records
    from seedlingcv.records.log import read_corrections

    records = stack.enter_context(open_records(target))
    if records.backup:
        typer.echo(f"The records were brought up to date; as they were, they stand in {records.backup}.", err=True)
    added = add_tables(records, tables)
    wrong, complaints = read_corrections(corrections) if corrections else ([], [])
    return Keeping(records, complaints=[*added.complaints, *complaints], notes=added.notes, corrections=wrong)
