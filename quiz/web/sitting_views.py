"""What the end page of a sitting receives."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from cases.notation.plurals import plural
from cases.procedure.vocabulary import CREDITED
from quiz.practice.sittings import Facts, Slipped
from quiz.practice.titles import type_title
from quiz.storage.store import Answer

VERDICT_WORDS = {
    "right": "right",
    "equivalent": "right, in the other form",
    "near": "right, within the tolerance",
    "slip": "slipped",
    "wrong": "not right",
}


def verdict_words(answer: Answer) -> str:
    """Say in a few words what became of an answer."""
    return "not known" if answer.did_not_know else VERDICT_WORDS.get(answer.verdict, answer.verdict)


TIMES = {1: "once", 2: "twice", 3: "three times"}
NAMED_AT_MOST = 3


@dataclass(frozen=True)
class SlipLine:
    """A slip made in the sitting, in words."""

    words: str
    step: str


@dataclass(frozen=True)
class CaseLine:
    """One case of the sitting."""

    number: int
    url_id: str
    title: str
    mark: str
    seconds: str


@dataclass(frozen=True)
class SittingPage:
    """What the end page receives."""

    ended: bool
    summary: str
    settled: tuple[str, ...]
    settled_since: str
    slips: tuple[SlipLine, ...]
    come_back: str
    shaky: tuple[str, ...]
    cases: tuple[CaseLine, ...]
    at_bench: bool = False


def sitting_page(facts: Facts) -> SittingPage:
    """Put what a sitting came to into words."""
    return SittingPage(
        ended=facts.sitting.ended_at is not None,
        summary=_summary(facts),
        settled=facts.settled,
        # With nothing right and unaided, nothing can have become so in this sitting.
        settled_since=(
            "Secure, from practice on several days:"
            if facts.unaided or facts.late
            else "Already secure before this sitting:"
        ),
        slips=slip_lines(facts.slipped),
        come_back=_come_back(facts),
        shaky=facts.shaky[:NAMED_AT_MOST],
        cases=case_lines(facts.answers),
        at_bench=facts.sitting.at_bench,
    )


def case_lines(answers: Sequence[Answer], accepted: Collection[str] = ()) -> tuple[CaseLine, ...]:
    """Return the cases of a sitting as a table shows them; accepted are those whose late answers count."""
    return tuple(
        CaseLine(
            number,
            one.dealt,
            type_title(one.type),
            f"{verdict_words(one)}{_how(one)}{_late(one, accepted)}",
            "" if one.seconds is None else f"{one.seconds:.0f} s",
        )
        for number, one in enumerate(answers, 1)
    )


def _how(one: Answer) -> str:
    return ", from paper" if one.on_paper else ", with help" if _helped(one) else ""


def _late(one: Answer, accepted: Collection[str]) -> str:
    if not one.late:
        return ""
    return ", late: counted by your preceptor" if one.dealt in accepted else ", late: not counted"


def _helped(one: Answer) -> bool:
    return bool(one.hints) and one.verdict in CREDITED


def _summary(facts: Facts) -> str:
    count = len(facts.answers) - facts.late
    if count == 0:
        return f"No case was answered in this sitting.{late_words(facts.late)}"
    cases = "one case" if count == 1 else f"{count} cases"
    right = {0: "none right", count: "all right" if count > 1 else "right"}.get(facts.right, f"{facts.right} right")
    aided = facts.right - facts.unaided
    help_words = f", {aided} of them with a line of the working shown" if aided else ""
    return f"{cases[:1].upper()}{cases[1:]}: {right}{help_words}.{late_words(facts.late)}"


def late_words(late: int) -> str:
    """Say how many answers are not counted, after a score."""
    if late == 0:
        return ""
    return (
        " One answer came after the time and is not counted."
        if late == 1
        else (f" {late} answers came after the time and are not counted.")
    )


def slip_lines(slipped: Sequence[Slipped]) -> tuple[SlipLine, ...]:
    """Put the slips of a sitting into words."""
    return tuple(map(_slip, slipped))


def _slip(one: Slipped) -> SlipLine:
    often = TIMES.get(one.times, f"{one.times} times")
    *others, last = (f"you {title}" for title in one.titles)
    if one.at_once:
        both = f"{', '.join(others)}, and {last}"
        return SlipLine(f"Together these would give it, {often}: {both}.", ", ".join(one.steps))
    if not others and not one.fact:
        return SlipLine(f"It looks as if {last}: {often}.", one.steps[0])
    if not others:
        return SlipLine(f"{last[:1].upper()}{last[1:]}: {often}.", one.steps[0])
    return SlipLine(f"One of these, {often}: {', '.join(others)}, or {last}.", ", or ".join(one.steps))


def _come_back(facts: Facts) -> str:
    if not facts.answers:
        return "Come back whenever you like: the case that was open is kept."
    days = facts.back_in_days
    if days is None:
        return "Everything that you met here should last for four weeks."
    if days == 0:
        return "Come back tomorrow, or later today: some of it is still shaky."
    return plural(
        days,
        "Come back tomorrow: that is when the first of it begins to fade.",
        "Come back in {n} days: that is when the first of it begins to fade.",
    )
