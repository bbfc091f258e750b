"""A writer to be stopped in the middle of its work: run as a program, it writes an invented season into records.

    python writer.py write TARGET LOG [FIRST]   writes the season once, beginning with a flat, and tells of what is kept
    python writer.py serve                      forks a writer for every line `TARGET LOG SECONDS` on its input, kills
                                                it after so many seconds, if any, and says how it ended
"""

import os
import random
import signal
import sys
import time
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from warnings import catch_warnings, simplefilter

from season_store import VERSION, key, measured, register

from seedlingcv.errors import RecordsError
from seedlingcv.records import migrate  # noqa: F401 what is loaded before forking costs nothing after it
from seedlingcv.records.database import open_records
from seedlingcv.records.keep import (
    KeptVerdict,
    Photo,
    keep_corrections,
    keep_day,
    keep_photos,
    keep_pottings,
    keep_register,
    keep_verdicts,
)
from seedlingcv.records.log import Correction, Potting
from seedlingcv.records.recall import recall_day
from seedlingcv.records.register import FlatRow

FLATS, DAYS = 4, 2
FIRST_DAY = date(2025, 3, 1)


def season():
    """(flat, day) of everything there is to write, in order."""
    return [(31 + flat, FIRST_DAY + timedelta(4 * day)) for day in range(DAYS) for flat in range(FLATS)]


def figures(flat, day, *, corrected=False):
    """72 cells of invented figures, the same every time."""
    chance = random.Random(f"{flat} {day}")
    whole = measured(flat, day, rows=6, columns=12)
    cells = [replace(c, stem_length_mm=chance.uniform(20, 60)) for c in whole.cells]
    if corrected:
        cells[13] = replace(cells[13], plants=2, flags=(*cells[13].flags, "corrected"))  # B2
    return replace(whole, cells=tuple(cells))


def write(target, log, first=0):
    """Write what isn't there yet; after each commit a line goes into `log`."""
    with open_records(target) as records, open(log, "a", buffering=1) as told:
        told.write("opened\n")
        steps = season()
        keep_register(records, register(*(FlatRow(31 + flat, "tomato", sown=FIRST_DAY - timedelta(9), shelf="S1")
                                          for flat in range(FLATS))))
        told.write("register\n")
        for flat, day in steps[first:] + steps[:first]:
            name = f"{flat} {day}"
            keys = [key(f"{flat}.{day}.{view}") for view in ("overhead", "side")]
            taken = datetime(day.year, day.month, day.day, 9)
            keep_photos(records, [Photo(f"{k[-24:]}.jpg", k, "overhead", taken, flat, True) for k in keys])
            told.write(f"photos {name}\n")
            keep_day(records, figures(flat, day), source="photo", keys=keys, version=VERSION)
            told.write(f"day {name}\n")
            keep_verdicts(records, [KeptVerdict(flat, None, day, day, "wait", None, {"flat": flat})])
            told.write(f"verdict {name}\n")
            keep_corrections(records, [Correction(flat, day, "B2", "plants", 2, "R. Moss", day, "two in it")])
            told.write(f"corrected {name}\n")
            if day == steps[-1][1]:
                keep_pottings(records, [Potting(flat, day, 72)])
                told.write(f"potted {name}\n")


def serve():
    """One writer at a time, forked, so that nothing has to be loaded again."""
    for line in sys.stdin:
        target, log, seconds = line.split()
        number = os.fork()
        if not number:
            try:
                write(target, log)
            except BaseException as error:
                print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
                os._exit(1)
            os._exit(0)
        if float(seconds):
            time.sleep(float(seconds))
            os.kill(number, signal.SIGKILL)  # it is not waited for yet, so the number can't be another's
        print(os.waitpid(number, 0)[1], flush=True)


def as_somebody(path: Path, *, only_read: bool = False) -> str:
    """What becomes of opening and adding to records (or of reading them) as a user without special rights."""
    reading, writing = os.pipe()
    with catch_warnings():
        simplefilter("ignore", DeprecationWarning)  # threads of other tests' libraries; the child needs none
        number = os.fork()
    if not number:
        try:
            if os.geteuid() == 0:
                os.setgid(65534)
                os.setuid(65534)  # nobody
            told = _try(path, only_read)
        except BaseException as error:
            told = f"{type(error).__name__}: {error}"
        os.write(writing, told.encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        told = pipe.read()
    os.waitpid(number, 0)
    return told


def _try(path, only_read):
    with open_records(path, make=not only_read) as records:
        if only_read:
            return f"read {len(recall_day(records, 31, date(2025, 3, 20)).cells)} cells"
        keep_day(records, measured(32), source="photo", keys=[], version=VERSION)
    return "written"


if __name__ == "__main__":
    if sys.argv[1] == "serve":
        serve()
    else:
        try:
            write(*sys.argv[2:4], *map(int, sys.argv[4:5]))
        except RecordsError as error:
            sys.exit(f"RecordsError: {error}")
