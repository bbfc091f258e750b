"""The answer first, as one would tell it over the fence."""

from __future__ import annotations

from seedlingcv.trials.compare import Comparison, Group
from seedlingcv.trials.design import BY
from seedlingcv.trials.matters import verdict
from seedlingcv.trials.pairs import Difference
from seedlingcv.trials.units import PLURALS, WORDS, level_name

VERDICT = {
    "nothing": "not tested",
    "unsure": "can't tell yet",
    "real": "real",
    "matters": "real, enough to matter",
    "surely matters": "real, surely enough to matter",
    "maybe matters": "real; can't tell yet whether it matters",
    "small": "real, too small to matter",
    "none": "no difference that would matter",
}


def answer(comparison: Comparison, *, inch: bool = False) -> str:
    """The whole answer in one sentence."""
    if comparison.why_nothing is not None:
        return _nothing(comparison, inch)
    if len(comparison.differences) == 1:
        return _pair(comparison, comparison.differences[0], inch)
    return _several(comparison, inch)


def pair_lines(comparison: Comparison, *, inch: bool = False) -> tuple[str, ...]:
    """Of several pairs, a short line for each that can be told apart; none where the answer itself is the pair."""
    if len(comparison.differences) < 2:
        return ()
    return tuple(_short(comparison, difference, inch) for difference in comparison.differences if difference.real)


def verdict_words(comparison: Comparison, difference: Difference) -> str:
    return VERDICT[verdict(difference, comparison.matter)]


def interval(comparison: Comparison, difference: Difference, inch: bool = False) -> str:
    """`0.05 to 0.37`, without the unit."""
    figure = comparison.question.measure
    return f"{figure.number(difference.low, inch)} to {figure.number(difference.high, inch)}"


def name_of(by: str, group: str) -> str:
    """As it stands in a sentence: `the old panel`, `shelf 2`, `'Moneymaker'`."""
    if by in ("light", "spectrum"):
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
    if figure.number(difference.estimate, inch).strip("0.\u2212") == "":
        seen = f"had the same {figure.name} as"
    else:
        words = figure.more if difference.estimate > 0 else figure.less
        seen = f"{words.format(figure.text(abs(difference.estimate), inch))} than"
    said = f"{_sentence(one)} {plants(comparison)} {seen} {other}"
    if by not in ("light", "spectrum", "shelf"):
        said = f"{_sentence(plants(comparison))} {one} {seen} those {other}"
    within = f"(95 % interval {_size_interval(comparison, difference, inch)})"
    limit = "" if matter is None else figure.text(matter.size, inch)
    end = {
        "unsure": f"the {comparison.kinds} differ so much among themselves that this may be chance: can't tell yet.",
        "real": "more than chance; whether it matters, you must judge.",
        "matters": "enough to matter.",
        "surely matters": "enough to matter, even at the least of it.",
        "maybe matters": f"more than chance, but whether it is enough to matter ({limit}) can't be told yet.",
        "small": f"more than chance, but too little to matter (that would be {limit}).",
        "none": f"and any difference is smaller than would matter ({limit}).",
    }[verdict(difference, matter)]
    joint = ", but " if verdict(difference, matter) == "unsure" else ", "
    return f"{said} {within}{joint}{end}"


def _size_interval(comparison: Comparison, difference: Difference, inch: bool) -> str:
    """Of the size as the sentence tells it: of a difference told as `less`, the signs turned."""
    figure = comparison.question.measure
    low, high = difference.low, difference.high
    if difference.estimate < 0 and low is not None and high is not None:
        low, high = -high, -low
    return f"{figure.number(low, inch)} to {figure.number(high, inch)}"


def _several(comparison: Comparison, inch: bool) -> str:
    by, figure = comparison.question.by, comparison.question.measure
    tested = sorted((group for group in comparison.groups if group.low is not None), key=lambda group: group.mean)
    span = f"{_span(comparison, tested[0], inch)}, {_span(comparison, tested[-1], inch)}"
    real = sum(difference.real for difference in comparison.differences)
    if real:
        pairs = f"{real} of {len(comparison.differences)} pairs can be told apart"
        return f"{_sentence(plants(comparison))} differ in {figure.name} with the {BY[by]}: {span}; {pairs}."
    if all(verdict(difference, comparison.matter) == "none" for difference in comparison.differences):
        end = "any difference is smaller than would matter."
    else:
        end = f"the {comparison.kinds} differ so much among themselves that this may be chance: can't tell yet."
    return f"No {BY[by]} can be told from another in {figure.name} of {plants(comparison)}: {span}; {end}"


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
    if comparison.why_nothing is not None:
        return (f"Give each {by} four to six flats of its own, spread over shelves and batches: how much flats differ "
                f"by chance has to be seen before a {by} can be judged.",)
    if planning is None:
        return ("Name the difference that would matter to you with --difference, and the number of flats needed to see "
                "it is worked out.",)
    kinds = comparison.kinds
    wanted = figure.text(planning.difference, inch)
    few = "more than 200" if planning.each is None else str(planning.each)
    low = "more than 200" if planning.at_least is None else str(planning.at_least)
    high = "more than 200" if planning.at_most is None else str(planning.at_most)
    lines = [f"To see a difference of {wanted} in 4 trials of 5 takes about {few} {kinds} for each of two "
             f"{PLURALS[by]}."]
    if low != high:
        lines[0] += f" The scatter is known from few {kinds} only, so it may be {low} to {high}."
    if planning.smallest_seen is not None:
        lines.append(f"This trial would have shown a difference of {figure.text(planning.smallest_seen, inch)} in 4 "
                     "cases of 5.")
    if planning.plant_share is not None:
        lines.append(f"{_sentence(kinds)} differ by {figure.text(planning.unit_sd, inch)} and plants of a flat by "
                     f"{figure.text(planning.plant_sd, inch)} (standard deviations): "
                     f"{_more_plants(planning.plant_share)}")
    return tuple(lines)


def _more_plants(share: float) -> str:
    if share < 0.2:
        return "measuring more plants in each flat would hardly help, more flats would."
    return f"{100 * share:.0f} % of what flats differ by comes from how few plants were measured: measuring more helps."


def blocks_words(comparison: Comparison) -> str:
    """`batches and varieties`, what was taken out."""
    return " and ".join(PLURALS[WORDS[factor]] for factor in (*comparison.blocks, *comparison.random))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
