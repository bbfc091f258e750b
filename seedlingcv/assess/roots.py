"""Root checks among a folder's photos: whose they are, and which of them count.

1. A photo that shows the root board is a root check of the flat whose tag lies on the board.
2. It goes with the flat's other photos of its day; one without a time goes with them too. Older ones are put aside. One
   of a later day is told of: the flat was not photographed that day.
3. Several photos of one flat and day are judged as if all their plugs lay on one board.
4. What the register says of the flat's roots counts before any photo: somebody wrote it.
5. In a flat with several crops the photo can't tell whose plugs it shows: the register has to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from seedlingcv.assess.look import Look, with_problem
from seedlingcv.flags import Problem
from seedlingcv.measure.roots import WORDS, together
from seedlingcv.records.register import FlatRow


def settle_roots(looks: list[Look], days: Mapping[int, date | None],
                 rows: Mapping[int, Sequence[FlatRow]]) -> dict[int, str]:
    """What photos say of the roots, by flat. Photos that don't count get their reason, in place, in `looks`.

    days : of the flats that are assessed; rows : of the same flats, in the register
    """
    counted: dict[int, list[int]] = {}
    for index, look in enumerate(looks):
        if look.roots is None or not look.result.usable:
            continue
        flat = look.result.flat
        assert flat is not None
        if flat not in days:
            looks[index] = with_problem(look, Problem("roots_alone", facts={"flat": flat}), usable=False)
            continue
        problem, aside = _not_counted(look, days[flat], rows[flat])
        if problem or aside:
            looks[index] = with_problem(look, problem or Problem("spare", fatal=False), usable=False, note=aside)
        else:
            counted.setdefault(flat, []).append(index)
    words = {}
    for flat, indices in counted.items():
        word, why = together([plug for i in indices for plug in looks[i].roots.plugs])
        if word:
            words[flat] = word
        else:
            for i in indices:
                looks[i] = with_problem(looks[i], Problem("roots_unsure", facts={"why": why}), usable=False, note="")
    return words


def _not_counted(look: Look, day: date | None, rows: Sequence[FlatRow]) -> tuple[Problem | None, str]:
    """What is to be told, or why it is quietly put aside; neither where it counts."""
    taken = look.result.taken.date() if look.result.taken else None
    if taken and day and taken < day:
        return None, f"of {taken}; the newest day, {day}, is assessed"
    if taken and day and taken > day:
        return _not_given(look, f"the flat's other photos are of {day}"), ""
    if len(rows) > 1 or rows[0].part:
        return _not_given(look, "the flat holds several crops"), ""
    if rows[0].roots:
        return None, f"the register says {WORDS[rows[0].roots]} of the roots, and that counts"
    return None, ""


def _not_given(look: Look, why: str) -> Problem:
    return Problem("roots_not_given", facts={"found": look.result.note, "why": why})
