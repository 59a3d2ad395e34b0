"""Which cases of a list another platform can mark as the app does, and a plain line for each that it cannot."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cases.errors import CaseError
from cases.procedure.case_type import Case
from cases.worksheet import on_paper
from quiz.exports.numeric_fields import NotCarried, Questions, questions

ONLY_IN_THE_APP = (
    "A number that is written as the question says is right on the platform where it is right in the app. Marks for "
    "single steps, hints and practice of mistakes exist in the app alone."
)
"""Said to the person who takes a file in."""

LeftOut = tuple[tuple[int, Case, str], ...]
"""The number of each case that is left out, the case, and why."""


class NothingToMark(CaseError):
    """A drill of whose cases none can be marked by a platform as the app marks it."""

    def __init__(self, left_out: LeftOut) -> None:
        super().__init__(f"there is no case here that this format can mark. {' '.join(left_out_lines(left_out))}")


def anything(_: Questions) -> None:
    """Hold for a format that marks every range: QTI."""


def carried(
    cases: Sequence[Case], check: Callable[[Questions], None] = anything
) -> tuple[list[tuple[int, Questions]], LeftOut]:
    """Return the cases on paper that a format can mark, with their numbers (from 1), and those that it cannot.

    check: raises NotCarried for what a format cannot mark.

    Raises
    ------
    NothingOnPaper
        When every case is at the bench.
    NothingToMark
        When no case is left.
    """
    found, left_out = sorted_out(cases, check)
    if not found:
        raise NothingToMark(left_out)
    return found, left_out


def sorted_out(
    cases: Sequence[Case], check: Callable[[Questions], None] = anything
) -> tuple[list[tuple[int, Questions]], LeftOut]:
    """Do as `carried`, also where no case is left."""
    found, left_out = [], []
    for number, case in on_paper(cases):
        try:
            one = questions(case)
            check(one)
            found.append((number, one))
        except NotCarried as error:
            left_out.append((number, case, str(error)))
    return found, tuple(left_out)


def left_out_lines(left_out: LeftOut) -> tuple[str, ...]:
    """Say which cases are left out, a sentence for each reason."""
    lines = []
    for reason in dict.fromkeys(why for *_, why in left_out):
        numbers = [number for number, _, why in left_out if why == reason]
        named = f"Case {numbers[0]} is" if len(numbers) == 1 else f"Cases {', '.join(map(str, numbers))} are"
        lines.append(f"{named} left out: {reason}.")
    return tuple(lines)
