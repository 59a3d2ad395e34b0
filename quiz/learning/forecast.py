"""The forward look: what will have faded in the weeks to come, if nothing is practised. Pure, as model.py is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from quiz.learning.catalogue import Catalogue
from quiz.learning.model import chance, met_of
from quiz.learning.parameters import Numbers
from quiz.learning.state import DAY, LearnerState
from quiz.learning.words import SO_FAR, SOLID, slips_on, word


class Ahead(NamedTuple):
    """How one step or type that was met will stand, if it is left alone from now on."""

    kind: str
    """"step" or "type"."""
    id: str
    title: str
    words: tuple[str, ...]
    """The word on each day from today (0) to `days`: see `words.word`."""
    chances: tuple[float, ...]
    fades_in: int | None
    """Days until it fades: 0 when it is unsure or fading today, None when it lasts throughout."""
    doubtful_in: int | None = None
    """Of a step: UTC days until practice is due (`words.slips_on`), 0 for today; None where it is not within `days`."""


def forward_look(
    state: LearnerState, catalogue: Catalogue, now: float, days: int = 28, *, numbers: Numbers | None = None
) -> list[Ahead]:
    """Say how every step and type met so far will stand on each of the coming days; what fades first comes first."""
    rows = [
        _ahead(state, "step", step, catalogue.step_titles.get(step, step), (step,), now, days, numbers)
        for step in dict.fromkeys(step for one in catalogue.types for step in one.chain)
        if step in state.steps
    ]
    rows += [
        _ahead(state, "type", one.id, one.title or one.id, met_of(state, one.chain), now, days, numbers)
        for one in catalogue.types
        if one.id in state.types
    ]
    return sorted(rows, key=lambda row: (days + 1 if row.fades_in is None else row.fades_in, row.chances[-1]))


def _ahead(
    state: LearnerState,
    kind: str,
    id_: str,
    title: str,
    steps: Sequence[str],
    now: float,
    days: int,
    numbers: Numbers | None,
) -> Ahead:
    type_id = id_ if kind == "type" else None
    each = range(days + 1)
    said = tuple(word(state, steps, now, type_id=type_id, ahead_days=day, numbers=numbers) for day in each)
    chances = tuple(chance(state, steps, now + day * DAY, type_id=type_id, numbers=numbers) for day in each)
    fades = next((day for day, one in enumerate(said) if one not in (SOLID, SO_FAR)), None)
    at = slips_on(state, id_, now, within_days=days) if kind == "step" else None
    doubtful = None if at is None else int(at // DAY) - int(now // DAY)
    return Ahead(kind, id_, title, said, chances, fades, doubtful)
