"""The answer first, as one would tell it over the fence."""

from __future__ import annotations

from seedlingcv.trials.compare import Comparison, Group
from seedlingcv.trials.design import BY
from seedlingcv.trials.matters import verdict
from seedlingcv.trials.pairs import Difference
from seedlingcv.trials.units import LIGHTS, ON_SHELVES, PLURALS, level_name

MOST_LINES = 5  # pairs told one by one; of more the table tells

VERDICT = {
    "nothing": "not tested",
    "unsure": "can't tell yet",
    "real": "real",
    "matters": "real, probably enough to matter",
    "surely matters": "real, enough to matter",
    "maybe matters": "real; can't tell yet whether it matters",
    "small": "real, too small to matter",
    "none": "no difference that would matter",
}


def answer(comparison: Comparison, *, inch: bool = False) -> str:
    """The whole answer in one sentence: of several pairs that can be told apart, the one furthest apart."""
    if comparison.why_nothing is not None:
        return _nothing(comparison, inch)
    if len(comparison.differences) == 1:
        return _pair(comparison, comparison.differences[0], inch)
    if (widest := _widest(comparison)) is not None:
        return _pair(comparison, widest if widest.estimate > 0 else widest.turned, inch)
    return _none_of_several(comparison, inch)


def pair_lines(comparison: Comparison, *, inch: bool = False) -> tuple[str, ...]:
    """Of several pairs what the answer leaves unsaid: a short line for each other one that can be told apart, or how
    many there are, and those that can't be. None where the answer itself says all."""
    widest, found = _widest(comparison), comparison.differences
    if len(found) < 2 or widest is None:
        return ()
    others = [difference for difference in found if difference.real and difference is not widest]
    lines = [_short(comparison, difference, inch) for difference in others]
    same = [difference for difference in found if not difference.real]
    if len(others) > MOST_LINES or len(same) > MOST_LINES:
        lines.append(f"Of {len(found)} pairs {len(others) + 1} can be told apart; the table has them all.")
        return tuple(lines[-1:])
    for word, which in (("Can't be told apart yet", "unsure"), ("No difference that would matter", "none")):
        pairs = [f"{name_of(comparison.question.by, d.one)} and {name_of(comparison.question.by, d.other)}"
                 for d in same if verdict(d, comparison.matter) == which]
        if pairs:
            lines.append(f"{word}: {'; '.join(pairs)}.")
    return tuple(lines)


def _widest(comparison: Comparison) -> Difference | None:
    return max((d for d in comparison.differences if d.real), key=lambda d: abs(d.estimate), default=None)


def verdict_words(comparison: Comparison, difference: Difference) -> str:
    return VERDICT[verdict(difference, comparison.matter)]


def interval(comparison: Comparison, difference: Difference, inch: bool = False) -> str:
    """`0.05 to 0.37`, without the unit; a digit more where an end that leaves 0 out would read as 0."""
    figure, ends = comparison.question.measure, (difference.low, difference.high)
    finer = int(difference.real and any(figure.number(end, inch).strip("0.\u2212") == "" for end in ends))
    return " to ".join(figure.number(end, inch, finer=finer) for end in ends)


def name_of(by: str, group: str) -> str:
    """As it stands in a sentence: `the old panel`, `shelf 2`, `'Moneymaker'`."""
    if by in ("light", "spectrum"):
        if len(group) < 3:  # `under the a` would be misread
            return f"'{group}'"
        return f"the {group}" if group[:1].islower() and not group.casefold().startswith("the ") else group
    if by == "variety":
        return f"'{group}'"
    return level_name(by, group)


def _where(by: str, group: str) -> str:
    before = {"light": "under", "spectrum": "under", "shelf": "on"}.get(by, "of")
    return f"{before} {name_of(by, group)}"


def plants(comparison: Comparison) -> str:
    return f"{comparison.crop} plants" if comparison.crop else "plants"


def _pair(comparison: Comparison, difference: Difference, inch: bool) -> str:
    by, figure, matter = comparison.question.by, comparison.question.measure, comparison.matter
    one, other = _where(by, difference.one), _where(by, difference.other)
    joint, seen = "as", f"had the same {figure.name}"
    if figure.number(difference.estimate, inch).strip("0.\u2212") != "":
        words = figure.more if difference.estimate > 0 else figure.less
        joint, seen = "than", words.format(figure.text(abs(difference.estimate), inch))
    said = f"{_sentence(plants(comparison))} {seen} {one} {joint} {other}"
    if by not in ("light", "spectrum", "shelf"):
        said = f"{_sentence(plants(comparison))} {one} {seen} {joint} those {other}"
    means = {group.name: figure.number(group.mean, inch) for group in comparison.groups}
    within = (f"({means[difference.one]} against {means[difference.other]}; 95 % interval of the difference "
              f"{_size_interval(comparison, difference, inch)})")
    limit = "" if matter is None else figure.text(matter.size, inch)
    end = {
        "unsure": f"the {comparison.kinds} differ so much among themselves that this may be chance: can't tell yet.",
        "real": "more than chance; whether it matters, you must judge.",
        "matters": "more than chance and probably enough to matter.",
        "surely matters": "enough to matter, even at the least of it.",
        "maybe matters": f"more than chance, but whether it is enough to matter ({limit}) can't be told yet.",
        "small": f"more than chance, but too little to matter (that would be {limit}).",
        "none": f"and any difference is smaller than would matter ({limit}).",
    }[verdict(difference, matter)]
    if comparison.lamps_unknown and difference.real:
        end = f"{end[:-1]}, if no two flats shared a lamp (shelves aren't written down)."
    return f"{said} {within}, {'but ' if verdict(difference, matter) == 'unsure' else ''}{end}"


def _size_interval(comparison: Comparison, difference: Difference, inch: bool) -> str:
    """Of the size as the sentence tells it: of a difference told as `less`, the signs turned."""
    return interval(comparison, difference.turned if difference.estimate < 0 else difference, inch)


def _none_of_several(comparison: Comparison, inch: bool) -> str:
    question, found = comparison.question, comparison.differences
    named = {name for difference in found for name in (difference.one, difference.other)}
    seen = sorted((group for group in comparison.groups if group.name in named), key=lambda group: group.mean)
    span = f"{_span(comparison, seen[0], inch)}, {_span(comparison, seen[-1], inch)}"
    if all(verdict(difference, comparison.matter) == "none" for difference in found):
        end = "any difference is smaller than would matter."
    else:
        end = f"the {comparison.kinds} differ so much among themselves that this may be chance: can't tell yet."
    against = question.against if question.against in named else None
    who = f"No {BY[question.by]} can be told from {name_of(question.by, against) if against else 'another'}"
    if question.pairs:
        who = "None of the pairs named can be told apart"
    return f"{who} in {question.measure.name} of {plants(comparison)}: {span}; {end}"


def _short(comparison: Comparison, difference: Difference, inch: bool) -> str:
    by, figure = comparison.question.by, comparison.question.measure
    size = "more" if difference.estimate > 0 else "less"
    return (f"{_sentence(_where(by, difference.one))} {figure.text(abs(difference.estimate), inch)} {size} than "
            f"{_where(by, difference.other)} ({_size_interval(comparison, difference, inch)}): "
            f"{verdict_words(comparison, difference)}.")


def _span(comparison: Comparison, group: Group, inch: bool) -> str:
    figure = comparison.question.measure
    return f"{figure.text(group.mean, inch)} {_where(comparison.question.by, group.name)}"


def _nothing(comparison: Comparison, inch: bool) -> str:
    by, figure = comparison.question.by, comparison.question.measure
    seen = ", ".join(_span(comparison, group, inch) for group in comparison.groups)
    return (f"Nothing can be said about the {PLURALS[BY[by]]} yet: {comparison.why_nothing}. "
            f"Seen was {figure.name} {seen}.")


def next_trial(comparison: Comparison, *, inch: bool = False) -> tuple[str, ...]:
    """How many flats the next trial needs, in sentences."""
    planning, figure, by = comparison.planning, comparison.question.measure, BY[comparison.question.by]
    why_one = [out.why for out in comparison.left_out] if len(comparison.groups) < 2 else []
    if comparison.why_nothing is not None and any(why.startswith("not measured") for why in why_one):
        return (f"Measure the flats of all {PLURALS[by]} on the same days, or compare at another age (--age) or at "
                "equal leaf stage (--leaves).",)
    if comparison.why_nothing is not None and any(why.startswith("light changed") for why in why_one):
        return (f"Put flats under their {by} when the seedlings come up and leave them there: what stood under several "
                "tells of none.",)
    if comparison.why_nothing is not None and by in LIGHTS and comparison.kind in ON_SHELVES:
        return (f"Hang each over at least two shelves, better four to six, or swap the {PLURALS[by]} between "
                f"batches: how much shelves differ by chance has to be seen before a {by} can be judged.",)
    if comparison.why_nothing is not None:
        return (f"Give each {by} four to six flats of its own, otherwise alike, spread over shelves and batches: how "
                f"much flats differ by chance has to be seen before a {by} can be judged.",)
    if planning is None:
        return ("Name the difference that would matter to you with --difference, and the number of flats needed to see "
                "it is worked out.",)
    kinds = comparison.kinds
    wanted = figure.text(planning.difference, inch)
    few = "more than 200" if planning.each is None else str(planning.each)
    low = "more than 200" if planning.at_least is None else str(planning.at_least)
    high = "more than 200" if planning.at_most is None else str(planning.at_most)
    lines = [f"To see a difference of {wanted} takes about {few} {kinds} for each of two {PLURALS[by]}; then 4 trials "
             "of 5 show it."]
    if low != high:
        lines[0] += f" The scatter is known from few {kinds} only, so it may be {low} to {high}."
    if planning.smallest_seen is not None:
        lines.append(f"Of 5 trials like this one 4 would show a difference of "
                     f"{figure.text(planning.smallest_seen, inch)}.")
    if planning.plant_share is not None:
        lines.append(f"{_sentence(kinds)} differ by {figure.text(planning.unit_sd, inch)} and plants of a flat by "
                     f"{figure.text(planning.plant_sd, inch)} (standard deviations): "
                     f"{_more_plants(planning.plant_share)}")
    return tuple(lines)


def _more_plants(share: float) -> str:
    if share < 0.2:
        return "measuring more plants in each flat would hardly help, more flats would."
    return (f"about {100 * share:.0f} % of what flats differ by comes from how few plants were measured, so measuring "
            "more of them helps.")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
