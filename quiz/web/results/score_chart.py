"""The chart of a drill's scores: one mark a learner, filled where the pass mark is reached, hollow below it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from cases.figures.pen import SMALL, Pen, points
from cases.notation.plurals import counted
from cases.procedure.figure import Figure

WIDE, TALL = 352.0, 88.0
MOST_MARKS = 18
"""In a column; with more, a column is drawn as one block, whose height is the number."""
TICKS = 5


@dataclass(frozen=True)
class Scored:
    """One learner's score."""

    right: int
    passed: bool | None


def score_chart(scores: Sequence[Scored], most: int, pass_from: int | None, of_words: str) -> Figure:
    """Draw how many learners have each number right, 0 to most.

    pass_from: the least number right that passes, where there is one for all; of_words: "right answers of 20".
    """
    pen = Pen()
    step = (WIDE - 12) / max(1, most)
    wide = max(1.5, min(12.0, step - 2))
    high = Counter(one.right for one in scores)
    tallest = max(high.values(), default=1)
    unit = min(11.0, TALL / tallest)
    floor = TALL + 20

    def across(right: float) -> float:
        return 6 + right * step

    for right in sorted(high):
        hollow = sum(one.right == right and one.passed is False for one in scores)
        filled = high[right] - hollow
        for low, count, is_filled in ((0, filled, True), (filled, hollow, False)):
            blocks = [(low, count)] if tallest > MOST_MARKS else [(low + each, 1) for each in range(count)]
            for first, tall in blocks:
                if tall:
                    gap = 3.0 if tallest <= MOST_MARKS else 0.0
                    _block(
                        pen, across(right) - wide / 2, floor - first * unit, wide, tall * unit - gap, filled=is_filled
                    )
    pen.line((0, floor + 2), (WIDE, floor + 2), "scale")
    if pass_from is not None:
        at = across(pass_from - 0.5)
        pen.line((at, 8), (at, floor + 6), "go", weight=2)
        end = at > WIDE / 2
        words = f"pass mark: {pass_from} right"
        pen.text(at + (-6 if end else 6), 16, words, size=SMALL, anchor="end" if end else "start", kind="go halo")
    every = max(1, -(-most // TICKS))
    for right in range(0, most + 1, every):
        pen.text(across(right), floor + 19, f"{right}", size=SMALL, kind="quiet")
    pen.text(WIDE / 2, floor + 36, of_words, size=SMALL, kind="quiet")
    told = ", ".join(f"{right} right: {high[right]}" for right in sorted(high)) or "nobody"
    title = f"Scores of {counted(len(scores), 'learner')}"
    return pen.figure(uid="chart-scores", title=title, description=told, height=floor + 42, width=WIDE)


def _block(pen: Pen, left: float, bottom: float, wide: float, tall: float, *, filled: bool) -> None:
    """Draw a mark that stands on `bottom`."""
    inset = 0.0 if filled else 0.7
    right, top = left + wide - inset, bottom - tall + inset
    left, bottom = left + inset, bottom - inset
    outline = f"M{points((left, bottom), (right, bottom), (right, top), (left, top))}Z"
    if filled:
        pen.wash(outline, 1.0)
    else:
        pen.path(outline, "ink", weight=1.4)
