"""Undo one act: the same patient again, with one thing done otherwise and all else as it was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from cases.patients.examination.acts import Act, Examined, read_acts
from cases.patients.examination.ledger import Ledger, ledger
from cases.patients.patient import Patient, Side


def without(acts: Sequence[Act], place: int) -> tuple[Act, ...]:
    """Return the acts without the one at this place, counted from zero."""
    return tuple(one for at, one in enumerate(acts) if at != place)


def otherwise(acts: Sequence[Act], place: int, act: Act) -> tuple[Act, ...]:
    """Return the acts with another in place of one, at the same minute."""
    return tuple(replace(act, minute=one.minute) if at == place else one for at, one in enumerate(acts))


def replayed(patient: Patient, before: Examined, acts: Sequence[Act], side: Side) -> Ledger:
    """Return the ledger of an eye had these been the acts: the same patient, the same hand at the end points.

    Raises
    ------
    NotMeasured
        When nothing was measured or written in one of the two runs.
    BadAct
        When the acts do not follow one another.
    """
    return ledger(patient, read_acts(acts), side, as_in=ledger(patient, before, side))
