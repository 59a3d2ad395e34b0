"""A log of the lenses tried in one meridian with the movement behind each, and the end-point that lies between them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from cases.errors import CaseError
from cases.notation.prescription import read_power, write_power
from cases.notation.tokens import hold_to_length
from cases.procedure import quantities
from cases.procedure.kinds import BadFinding, Kind

MOVEMENTS = ("with", "against", "neutral")
UNSTEADY = "pupil shrank"
MOST_LINES = 12
_LENS = quantities.POWER
_LINE = re.compile(
    rf"([^;\n]{{1,60}}?)\s{{1,9}}({'|'.join(MOVEMENTS)})(?:[\s,(]{{1,9}}({UNSTEADY})\)?)?\s{{0,9}}(?:[;,\n]\s{{0,9}}|$)",
    re.IGNORECASE,
)
"""One line and what parts it from the next. A comma may also be a decimal mark, so lines end at the movement."""


@dataclass(frozen=True)
class Tried:
    """One line of a log: the sphere in place in D, the movement seen, and whether the pupil shrank meanwhile.

    A pupil that shrinks is one that has begun to look near: the movement then belongs to another focus.
    """

    lens: float
    movement: str
    unsteady: bool = False


Log = tuple[Tried, ...]


class UnreadableLog(CaseError):
    """A line of a log has no lens or no movement."""

    def __init__(self, given: str) -> None:
        super().__init__(
            f"“{given.strip()[:40]}”: write a lens and its movement, such as +1.00 with, +2.00 neutral, +2.50 against"
        )


class NoEndPoint(CaseError):
    """A log does not enclose an end-point."""


@dataclass(frozen=True)
class Bracket:
    """What a log says of the end-point: the strongest lens that left with, those neutral, the weakest against, in D."""

    low: float | None
    neutral: tuple[float, ...]
    high: float | None

    @property
    def end_point(self) -> float:
        """The middle of the neutral lenses, or else the middle between the last with and the first against, in D.

        Source: common practice, no published source.

        Raises
        ------
        NoEndPoint
            When no lens was neutral and every one left the same movement.
        """
        if self.neutral:
            return (self.neutral[0] + self.neutral[-1]) / 2
        if self.low is None or self.high is None:
            side = "with" if self.high is None else "against"
            raise NoEndPoint(f"every lens left {side}: go on until neutral is seen or the movement turns round")
        return (self.low + self.high) / 2


def bracket(log: Sequence[Tried], *, unsteady_too: bool = False) -> Bracket:
    """Put the lines of a log in order and return what encloses the end-point.

    unsteady_too: count the lines in which the pupil shrank; rightly they are left out.

    Raises
    ------
    NoEndPoint
        When the movements do not run from with by neutral to against as plus is added, or enclose nothing.
    """
    seen = {
        movement: sorted(one.lens for one in log if one.movement == movement and (unsteady_too or not one.unsteady))
        for movement in MOVEMENTS
    }
    low = seen["with"][-1] if seen["with"] else None
    high = seen["against"][0] if seen["against"] else None
    found = Bracket(low, tuple(seen["neutral"]), high)
    rising = [*seen["with"][-1:], *seen["neutral"], *seen["against"][:1]]
    for less, more in pairwise(rising):
        if less > more or (less == more and (less == low or more == high)):
            raise NoEndPoint(
                f"{write_power(more)} lies past neutral and {write_power(less)} short of it: as plus is added the "
                "movement must go from with by neutral to against; look for a wandering gaze and measure again"
            )
    _ = found.end_point
    return found


@dataclass(frozen=True)
class LensLog(Kind[Log]):
    """A log of lenses tried, in the order of trying: a tuple of `Tried`."""

    id = "log"
    hint = "lens and movement, such as +1.00 with, +2.00 neutral, +2.50 against"

    def read(self, text: str) -> Log:
        """Read lines with commas, semicolons or line ends between; "pupil shrank" after one marks it."""
        log: list[Tried] = []
        left = hold_to_length(text).strip()
        while left and len(log) <= MOST_LINES:
            found = _LINE.match(left)
            if found is None:
                raise UnreadableLog(left)
            log.append(Tried(read_power(found[1]), found[2].lower(), found[3] is not None))
            left = left[found.end() :]
        return self._checked(tuple(log))

    @staticmethod
    def _checked(log: Log) -> Log:
        if not 1 <= len(log) <= MOST_LINES:
            raise BadFinding([one.lens for one in log], f"a log has 1 to {MOST_LINES} lines")
        bracket(log)
        return log

    def write(self, value: Log) -> str:
        """Write the lines with commas between, so that a log can stand in a group, whose parts have semicolons."""
        return ", ".join(line_words(one) for one in value)

    def from_json(self, given: object) -> Log:
        """Take it out of [{"lens": D, "movement": "with"|"against"|"neutral", "unsteady": bool}, …]."""
        if not isinstance(given, Sequence) or isinstance(given, str):
            raise BadFinding(given, 'give a list of {"lens", "movement"}')
        return self._checked(tuple(self._from_object(one) for one in given[: MOST_LINES + 1]))

    @staticmethod
    def _from_object(given: object) -> Tried:
        if (
            not isinstance(given, Mapping)
            or not {"lens", "movement"} <= set(given) <= {"lens", "movement", "unsteady"}
            or given["movement"] not in MOVEMENTS
            or not isinstance(given.get("unsteady", False), bool)
        ):
            raise BadFinding(given, 'a line is {"lens": D, "movement": "with", "against" or "neutral"}')
        return Tried(_LENS.from_json(given["lens"]), given["movement"], given.get("unsteady", False))

    def to_json(self, value: Log) -> list[dict[str, Any]]:
        """Give a list of objects; "unsteady" stands only where it is true."""
        return [
            {"lens": _LENS.to_json(one.lens), "movement": one.movement} | ({"unsteady": True} if one.unsteady else {})
            for one in value
        ]

    def same(self, given: Log, truth: Log) -> bool:
        """Compare line by line."""
        return given == truth

    def close(self, given: Log, truth: Log) -> bool:
        """Compare line by line: no log is nearly another."""
        return given == truth


def line_words(one: Tried) -> str:
    """Write one line of a log: "+1.00 with", and after a shrinking pupil "+1.00 against (pupil shrank)"."""
    return f"{write_power(one.lens)} {one.movement}" + (f" ({UNSTEADY})" if one.unsteady else "")
