"""Two meridians a little off right angles: worked as if they were at right angles, with a warning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from cases.errors import CaseError
from cases.notation.finding_line import SQUARE_WITHIN
from cases.notation.prescription import read_powers, write_axis
from cases.optics.axes import across, axis_gap
from cases.procedure.kinds import Cross
from cases.procedure.quantities import Quantity
from quiz.practice.forms import Input


def off_square(first: float, second: float, what: str) -> str:
    """Say that two directions in degrees are not at right angles, and how they are taken; "" where they are.

    what: what the directions are of, "streaks" or "meridians".
    """
    gap = axis_gap(first, second)
    if gap == 90:
        return ""
    if 90 - gap <= 1:
        return f"The two {what} are {gap:g}° apart and are taken to be at right angles."
    return (
        f"The {what} at {write_axis(first)} and {write_axis(second)} are {gap:.0f}° apart. Principal meridians lie at "
        f"right angles, so the second is taken at {write_axis(across(first))}: look again."
    )


def square_crosses(inputs: Sequence[Input], texts: Mapping[str, str]) -> tuple[dict[str, str], tuple[str, ...]]:
    """Write each power cross with its second meridian at right angles to its first, where it nearly is; with warnings.

    What is no cross, or far from square, is left as it was typed.
    """
    out, says = dict(texts), []
    for one in inputs:
        if not isinstance(one.kind, Cross):
            continue
        try:
            (first, power), (second, other) = read_powers(texts.get(one.name, ""), square_within=SQUARE_WITHIN)
        except CaseError:
            continue
        if warning := off_square(first, second, "meridians"):
            out[one.name] = f"{power:+g} @ {first:g}, {other:+g} @ {across(first):g}"
            says.append(warning)
    return out, tuple(says)


def square_streaks(inputs: Sequence[Input], findings: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Set the second of two streaks at right angles to the first, where it nearly is; with the warning."""
    streaks = [
        (one.place, float(one.of(findings)))
        for one in inputs
        if isinstance(one.kind, Quantity) and one.kind.on_dial and one.name.endswith("streak")
    ]
    if len(streaks) != 2:
        return dict(findings), ()
    (_, first), (place, second) = streaks
    off = 90 - axis_gap(first, second)
    if not 0 < off <= SQUARE_WITHIN:
        return dict(findings), ()
    # Within a degree a type takes them as they are: that is how finely a dial is read.
    squared = _with(findings, place, across(first)) if off > 1 else dict(findings)
    return squared, (off_square(first, second, "streaks"),)


def _with(findings: Mapping[str, Any], path: Sequence[str], value: Any) -> dict[str, Any]:
    head, *rest = path
    return {**findings, head: _with(findings[head], rest, value) if rest else value}
