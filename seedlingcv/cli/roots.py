"""`seedlingcv roots`: are the plugs rooted enough, or too much?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seedlingcv.errors import PhotoError

if TYPE_CHECKING:
    from seedlingcv.measure.roots import PlugRoots, RootCheck

UNSURE = "look at it"


def roots(
    photos: Annotated[list[Path], typer.Argument(help="Photos of plugs on the root board.", show_default=False)],
    json: Annotated[Path | None, typer.Option(help="Write all figures as JSON.")] = None,
) -> None:
    """Judge roots from photos of plugs on the printed root board.

    They are not ready, firm or root-bound.

    Ends with 0 if every photo gave an answer, 3 if some didn't, 1 if none did or a file could not be read or written.
    """
    from seedlingcv.files import write_whole
    from seedlingcv.measure.roots import RootCheck, check_roots
    from seedlingcv.photo.read import read_photo
    from seedlingcv.report.files import check_targets

    if json:
        check_targets([json], keep=photos)
    checks: list[tuple[Path, RootCheck]] = []
    for path in photos:
        try:
            check = check_roots(read_photo(path).image)
        except PhotoError as error:
            check = RootCheck(None, f"{error.what} {error.next_step}".strip())
        checks.append((path, check))
        _print(path, check)
    if json:
        write_whole(json, _as_json(checks))
    answered = sum(check.word is not None for _, check in checks)
    if answered < len(checks):
        raise typer.Exit(3 if answered else 1)


def _print(path: Path, check: RootCheck) -> None:
    from seedlingcv.measure.roots import WORDS

    flat = f" (flat {check.flat})" if check.flat is not None else ""
    typer.echo(f"{path}{flat}: {WORDS.get(check.word, UNSURE).upper()}: {check.reason}")
    for plug in check.plugs:
        typer.echo(f"  place {plug.place}: {WORDS.get(plug.word, UNSURE)}: {plug.reason}")
    if check.word:
        whose = f"flat {check.flat}" if check.flat is not None else "the flat (no flat's tag lies on the board)"
        typer.echo(f"  For the register, column roots of {whose}: {check.word}")


def _as_json(checks: list[tuple[Path, RootCheck]]) -> str:
    import json

    return json.dumps({"photos": [{
        "file": str(path), "flat": check.flat, "roots": check.word, "reason": check.reason,
        "photo_px_per_mm": _rounded(check.photo_px_per_mm), "plugs": [_plug(p) for p in check.plugs],
    } for path, check in checks]}, indent=1, ensure_ascii=False) + "\n"


def _plug(plug: PlugRoots) -> dict[str, object]:
    figures = ("root_share", "circling_share", "solidity", "crumb_share")
    return {"place": plug.place, "roots": plug.word, "reason": plug.reason,
            **{name: _rounded(getattr(plug, name)) for name in figures}}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
