"""The movement of the reflex against the streak's: how it is chosen, turned round and foretold from what is wanted."""

from __future__ import annotations

from cases.optics.reflex import NEUTRAL_ZONE
from cases.procedure.choices import Choice, Option

MOVEMENTS = Choice((Option("with", "with"), Option("against", "against"), Option("neutral", "neutral")))

OPPOSITE = {"with": "against", "against": "with", "neutral": "neutral"}
"""The movement that whoever confuses with and against takes each for."""


def movement_for(power_left: float) -> str:
    """Return the movement, with a plane mirror, when so many D are still to be added in that meridian.

    Plus still wanted is "with", minus "against"; within the neutral zone of reflex.py it is "neutral".
    Source: derived in cases/optics/README.md.
    """
    if abs(power_left) <= NEUTRAL_ZONE:
        return "neutral"
    return "with" if power_left > 0 else "against"
