"""The error ledger as a figure: from the right mean power to the written one, a bar a cause, each where the last ended.

The largest is the one thing to look at; the last line, broken, is what was written. The sum is printed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cases.figures.pen import Pen, text_width
from cases.notation.prescription import write_power
from cases.procedure.figure import Figure

WIDTH, LEFT, RIGHT = 352.0, 14.0, 290.0
ROW, BAR, LETTERS = 40.0, 11.0, 13.5
"""Units: from row to row, a bar's height, the size of letters."""
LEAST_SPAN_D = 0.5
"""The scale spans this many dioptres at least, so that hundredths do not look like errors."""


@dataclass(frozen=True)
class LedgerBar:
    """One cause: its words, and what it did to the mean power, in D."""

    words: str
    mean_d: float


def ledger_figure(bars: Sequence[LedgerBar], *, right_d: float, written_d: float, uid: str, title: str) -> Figure:
    """Draw a ledger of mean powers in D; what the bars leave of written less right is drawn as a last one."""
    rows = list(bars)
    rest = written_d - right_d - math.fsum(one.mean_d for one in rows)
    if abs(rest) >= 0.005:
        rows.append(LedgerBar("smaller causes together", rest))
    places = [right_d]
    for one in rows:
        places.append(places[-1] + one.mean_d)
    low, high = min(places), max(places)
    spare = max(0.0, LEAST_SPAN_D - (high - low)) / 2
    low, span = low - spare, high - low + 2 * spare

    def at(power: float) -> float:
        return LEFT + (RIGHT - LEFT) * (power - low) / span

    largest = max(rows, key=lambda one: abs(one.mean_d), default=None)
    pen, foot = Pen(), 20.0 + ROW * (len(rows) + 1)
    pen.line((at(right_d), 18), (at(right_d), foot), "scale", weight=1)
    told = f"right, M {write_power(right_d, 2)}"
    pen.text(_within(at(right_d), told), 12, told, size=LETTERS, anchor="start", kind="quiet")
    for number, one in enumerate(rows):
        top, main = 42.0 + ROW * number, one is largest and abs(one.mean_d) >= 0.005
        start, end = at(places[number]), at(places[number + 1])
        size = write_power(one.mean_d, 2)
        pen.text(LEFT, top - 5, one.words, size=LETTERS, anchor="start", kind="go halo" if main else "label halo")
        pen.bar(start, top, end, top + BAR, "go" if main else "ink")
        pen.text(
            max(start, end) + 6, top + BAR - 1, size, size=LETTERS, anchor="start", kind="go" if main else "number"
        )
        if number + 1 < len(rows):
            pen.line((end, top + BAR), (end, top + ROW), "hair", weight=1)
    pen.line((at(written_d), foot - 12), (at(written_d), foot + 10), "mine", weight=2)
    total = f"written, M {write_power(written_d, 2)}: {write_power(written_d - right_d, 2)} in all"
    long = text_width(total, LETTERS)
    right, left = WIDTH - at(written_d) - 6 >= long, at(written_d) - 6 >= long
    if right or left:
        pen.text(
            at(written_d) + (6 if right else -6), foot + 4, total,
            size=LETTERS, anchor="start" if right else "end", kind="mine halo",
        )  # fmt: skip
    else:
        # In the middle there is room on neither side of the line: below it.
        foot += 18
        pen.text(_within(at(written_d) - long / 2, total), foot + 8, total, size=LETTERS, anchor="start", kind="mine")
    causes = "; ".join(f"{one.words} {write_power(one.mean_d, 2)}" for one in rows) or "nothing"
    described = (
        f"From the right mean power {write_power(right_d, 2)} D to the written one {write_power(written_d, 2)} D: "
        f"{causes}; in all {write_power(written_d - right_d, 2)} D."
    )
    return pen.figure(uid=uid, title=title, description=described, height=foot + 16, width=WIDTH)


def _within(x: float, words: str) -> float:
    """Move the start of a line of letters so that it ends inside the drawing."""
    return max(0.0, min(x, WIDTH - text_width(words, LETTERS)))
