"""Readiness in words, for Today and Progress: each topic, the whole paper, ten minutes, and how far to trust them."""

from __future__ import annotations

from collections.abc import Sequence

from quiz.practice.today import LEAST_CHANGE, Paper, Ready, TenMinutes


def title(one: Ready) -> str:
    """Write a topic's title as a line begins."""
    return f"{one.title[:1].upper()}{one.title[1:]}"


def chance(one: Ready) -> str:
    """Write a chance: "76 %, between 64 and 85 %" where figures may be given, else "likely right"."""
    if one.figures is None:
        return one.words
    return f"{one.chance:.0%}, between {one.figures.low:.0%} and {one.figures.high:.0%}".replace("%", "\u00a0%")


def note(ready: Sequence[Ready]) -> str:
    """Say how forecasts came true so far, or why there are no figures."""
    tenths = {one.tenth: one for one in ready if one.figures is not None}
    if not tenths:
        return "In words only: there are too few forecasts to say how far a figure could be trusted."
    said = (
        f"of {one.forecasts} forecasts from {low} to {high}\u00a0%, {one.came} came true"
        for (low, high), one in sorted(tenths.items())
    )
    return f"So far: {'; '.join(said)}."


def paper_words(found: Paper | None, day: str = "on that day") -> str:
    """Say what a mock paper on a day would come to; "" where too little is known of every topic."""
    if found is None:
        return ""
    left = found.cases - found.known
    rest = f" Nothing is known of the other {left}: you have answered too few cases of their topics." if left else ""
    of = f"the {found.known} cases from topics that you have practised" if left else f"its {found.cases} cases"
    if found.figures is None:
        return f"In a mock paper {day} {found.words} of {of} would probably be right.{rest}"
    low, high = int(found.figures.low), int(found.figures.high)
    about = f"about {round(found.share * found.known)} of {of} would be right"
    return f"In a mock paper {day} {about}, and {low} to {high} in four papers of five.{rest}"


def minutes_words(one: TenMinutes) -> tuple[str, str]:
    """Say where a topic stands on that day, and where after ten minutes of it."""
    before, after = one.before, one.after
    if before.met and not before.few and abs(one.change) < LEAST_CHANGE:
        return chance(before), "about the same"
    if one.change < 0:
        # Memory holds what was never met to stay as it is, and what was met to fade: the two are not to be compared.
        return chance(before), "not known: types new to you would come"
    if before.figures is None or after.figures is None:
        return before.words, "somewhat better" if before.words == after.words else after.words
    return chance(before), chance(after)
