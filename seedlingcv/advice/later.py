"""A verdict of one day, read on a later one, when nobody has looked at the flat since.

The same rule as when figures are judged anew (rules.py): a flat that was to wait and by reckoning is ready since is to
be looked at; after ten days the verdict is only that day's. Dates stand as they were reckoned.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from seedlingcv.advice import wording as say
from seedlingcv.advice.findings import OLD_DAYS
from seedlingcv.advice.verdict import Verdict


def read_on(verdict: Verdict, seen: date, today: date) -> Verdict:
    """The verdict as it reads on `today`; `seen` is the day of its figures."""
    ago = (today - seen).days
    if ago <= 0 or verdict.action == "do_not_transplant":
        return verdict
    if ago > OLD_DAYS:
        return replace(verdict, as_of=seen)
    if verdict.action == "wait" and verdict.earliest and verdict.earliest <= today:
        ready = f"Seen {say.days_ago(ago)}; by reckoning it is ready since {say.day(verdict.earliest)}: look"
        return replace(verdict, action="unsure", earliest=None, latest=verdict.due, reasons=(ready, *verdict.reasons))
    return verdict


def outdated(verdict: Verdict, newer: date | None) -> Verdict:
    """The verdict with a word that the records have other figures by now. newer : the day of theirs; None: the figures
    it rests on were corrected."""
    news = f"Figures of {say.day(newer)} are in the records" if newer else "Its figures were corrected since"
    first, *rest = verdict.reasons or ("",)
    return replace(verdict, reasons=(f"{news}: assess or advise again to judge by them. {first}".strip(), *rest))
