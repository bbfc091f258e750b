"""Are a flat's plugs rooted enough to be potted up, or too much? From a photo of a few on the root board.

root_share       share of the plug's face, as seen from above, under roots
circling_share   share of the bottom edge (its corners left out) along which a root runs, within 30 degrees of it
                 and 4 mm from it. The sides don't count: roots that grow straight down run along them too.
solidity         area of the outline over that of its convex hull: 1 for a sound plug, less for a broken one
crumb_share      area of loose mix lying beside the plug over the plug's own

not_ready: too few roots to hold the mix. firm: roots hold it and end loosely. root_bound: roots run round the bottom
or cover most of the face. A plug near a limit, or that falls apart though roots cover it, is left open.

Checked on drawn plugs only (tests/measure/test_root_check.py): on 52 that no limit was chosen on, the share was off by
0.009 on average and 0.036 at most, none was given a wrong word and 10 were left open. No real plug on a real board has
been measured yet, so look at the plugs yourself as well.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from seedlingcv.flags import PHOTO
from seedlingcv.photo.quality import check_picture
from seedlingcv.segment.roots import (
    PHOTO_PX_PER_MM,
    PX_PER_MM,
    Plug,
    find_board,
    find_plugs,
    ridge_direction,
    root_mask,
)
from seedlingcv.tags.detect import Tag, detect_tags
from seedlingcv.tags.family import is_flat
from seedlingcv.tags.root_board import BOARD_IDS

# Limits of the words. That a plug is ready when its roots hold it together, and too old when they run round the
# cell's bottom in a mat, is common practice; no source puts figures to it, so these are start values.
FIRM_SHARE, BOUND_SHARE, BOUND_CIRCLING = 0.12, 0.65, 0.6
CIRCLING_NEEDS_SHARE = 0.25  # a single root along the bottom binds nothing
SHARE_DOUBT, CIRCLING_DOUBT = 0.05, 0.15  # the figures' own error on drawn plugs
SOUND_SOLIDITY, BROKEN_SOLIDITY = 0.92, 0.85  # drawn sound plugs have 0.95 or more
CRUMBS_BROKEN = 0.08  # judgement

WORDS = {"not_ready": "not ready", "firm": "firm", "root_bound": "root-bound"}

BOTTOM_BAND_MM, CORNER_MM = 4.0, 2.0
ALONG_DEG = 30.0
LEAST_JUDGED = 2  # plugs; the trade tips out three, pots lie two to a board


@dataclass(frozen=True)
class PlugRoots:
    """word : "not_ready", "firm", "root_bound", or None where `reason` says why not."""

    place: int
    word: str | None
    reason: str
    root_share: float | None = None
    circling_share: float | None = None
    solidity: float | None = None
    crumb_share: float | None = None


@dataclass(frozen=True)
class RootCheck:
    """word : the flat's, or None where `reason` says why not. flat : number on the flat tag in the photo, if one."""

    word: str | None
    reason: str
    plugs: tuple[PlugRoots, ...] = ()
    flat: int | None = None
    photo_px_per_mm: float | None = None


def check_roots(image: np.ndarray, tags: Sequence[Tag] | None = None) -> RootCheck:
    """Judge a photo of plugs on the root board. Never raises for a bad photo: `reason` says what is wrong.

    image : uint8 (height, width, 3) BGR as stored; tags : all tags of the photo, if they are known already
    """
    if tags is None:
        tags = detect_tags(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), wanted=len(BOARD_IDS) + 1)  # the flat's own too
    own = {t.id for t in tags if is_flat(t.id)}
    flat = own.pop() if len(own) == 1 else None
    faults = check_picture(image, tags)
    if faults:
        return RootCheck(None, f"{faults[0].text}: {PHOTO[faults[0].code].advice}", flat=flat)
    board = find_board(image, tags)
    if board is None:
        return RootCheck(None, "fewer than three of the root board's tags can be read: clear them, show the whole "
                               "board", flat=flat)
    scale = board.photo_px_per_mm
    if scale < PHOTO_PX_PER_MM:
        return RootCheck(None, f"only {scale:.1f} pixels per mm: go closer, so that the board fills the picture",
                         flat=flat, photo_px_per_mm=scale)
    if not board.ground_seen:
        return RootCheck(None, "the board isn't blue in this photo: print it in colour, use white light", flat=flat,
                         photo_px_per_mm=scale)
    plugs = tuple(judge_plug(plug) for plug in find_plugs(board))
    word, reason = together(plugs)
    return RootCheck(word, reason, plugs, flat, scale)


def judge_plug(plug: Plug) -> PlugRoots:
    """Figures and word of one plug."""
    if plug.fault:
        return PlugRoots(plug.place, None, plug.fault)
    solidity, crumbs = _solidity(plug.mask), float(plug.loose.sum() / plug.mask.sum())
    roots = root_mask(plug.picture, plug.mask)
    if roots is None:
        return PlugRoots(plug.place, None, "roots can't be told from the mix: wet the plugs, use even light",
                         solidity=solidity, crumb_share=crumbs)
    share = float(roots.sum() / plug.mask.sum())
    circling = _circling(plug, roots)
    word, reason = _word(share, circling, solidity, crumbs)
    return PlugRoots(plug.place, word, reason, share, circling, solidity, crumbs)


def _word(share: float, circling: float, solidity: float, crumbs: float) -> tuple[str | None, str]:
    seen = f"roots cover {share:.0%} of the face, run along {circling:.0%} of the bottom edge"
    if solidity < SOUND_SOLIDITY or crumbs > CRUMBS_BROKEN:
        if share < FIRM_SHARE - SHARE_DOUBT and (solidity < BROKEN_SOLIDITY or crumbs > CRUMBS_BROKEN):
            return "not_ready", f"it falls apart; {seen}"
        return None, f"its outline is broken, or a leaf lies over it: look at it; {seen}"
    if share > BOUND_SHARE + SHARE_DOUBT:
        return "root_bound", seen
    if circling > BOUND_CIRCLING + CIRCLING_DOUBT and share > CIRCLING_NEEDS_SHARE + SHARE_DOUBT:
        return "root_bound", seen
    if share < FIRM_SHARE - SHARE_DOUBT:
        return "not_ready", seen
    few_circle = circling < BOUND_CIRCLING - CIRCLING_DOUBT or share < CIRCLING_NEEDS_SHARE - SHARE_DOUBT
    if FIRM_SHARE + SHARE_DOUBT < share < BOUND_SHARE - SHARE_DOUBT and few_circle:
        return "firm", seen
    return None, f"too close to a limit: look at it; {seen}"


def together(plugs: Sequence[PlugRoots]) -> tuple[str | None, str]:
    """The word that more than half of a flat's plugs have, and how many have which; None and why where none has."""
    judged = Counter(p.word for p in plugs if p.word)
    if not plugs:
        return None, "no plug was found on the board"
    if judged.total() < LEAST_JUDGED:
        return None, f"only {judged.total()} of {len(plugs)} plugs could be judged, at least {LEAST_JUDGED} are wanted"
    word, count = judged.most_common(1)[0]
    said = ", ".join(f"{n} {WORDS[w]}" for w, n in judged.most_common())
    if 2 * count <= len(plugs):
        return None, f"the plugs differ ({said}, of {len(plugs)}): look at more of them"
    return word, f"{said}, of {len(plugs)} plugs"


def _solidity(mask: np.ndarray) -> float:
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    return float(cv2.contourArea(outline) / cv2.contourArea(cv2.convexHull(outline)))


def _circling(plug: Plug, roots: np.ndarray) -> float:
    """Share of the bottom edge, a column of pixels at a time, with a root above it that runs its way."""
    height = plug.mask.shape[0]
    columns = np.nonzero(plug.mask.any(axis=0))[0]
    lowest = height - 1 - np.argmax(plug.mask[::-1], axis=0)
    # the bottom ends where the outline turns up into the sides
    bottom = np.median(lowest[columns])
    edge = columns[lowest[columns] > bottom - BOTTOM_BAND_MM * PX_PER_MM]
    corner = round(CORNER_MM * PX_PER_MM)
    edge = edge[corner : len(edge) - corner]
    if not edge.size:
        return 0.0
    depth = lowest[None, :] - np.arange(height)[:, None]
    band = (depth >= 0) & (depth < BOTTOM_BAND_MM * PX_PER_MM)
    slope = np.degrees(np.arctan(np.polyfit(edge, lowest[edge], 1)[0]))
    away = np.abs((ridge_direction(plug.picture) - slope + 90) % 180 - 90)
    return float((roots & band & (away < ALONG_DEG)).any(axis=0)[edge].mean())
