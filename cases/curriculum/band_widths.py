"""Leaning in: the bands of two streaks at right angles compared by width, and which meridian still needs plus."""

from __future__ import annotations

from cases.procedure import quantities
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field
from cases.procedure.keys import Slip, given

READ_WIDTHS = Skill("read-widths", "reading the two widths on leaning in")

WIDER_WANTS_PLUS = SlipName(
    "wider-wants-plus",
    "took the wider band for the meridian that still needs plus",
    "Leaning in adds the same with movement to both. The narrower band is farther from neutral, so that meridian still "
    "needs plus.",
    ("reflex-optics", "streak-guide"),
)

WIDTHS = Choice(
    (
        Option("equal", "equally wide", "the two bands have the same width"),
        Option("first-narrower", "narrower in the first view", "the band of the first view is the narrower one"),
        Option("second-narrower", "narrower in the second view", "the band of the second view is the narrower one"),
    )
)
VIEWS = Choice(
    (
        Option("first", "the first view", "the first view has the narrower band, so it is farther from neutral"),
        Option("second", "the second view", "the second view has the narrower band, so it is farther from neutral"),
        Option("neither", "neither", "the two bands are equally wide"),
    )
)
_OTHER_VIEW = {"first": "second", "second": "first", "neither": "neither"}

FIRST_STREAK = Field("first_streak", "Streak of the first view", quantities.MERIDIAN)
WIDTHS_FOUND = Field("widths", "The band of light on leaning in", WIDTHS)
VIEW = Field("view", "Which view still needs plus?", VIEWS)


def _narrower(widths: str) -> str:
    return {"equal": "neither", "first-narrower": "first", "second-narrower": "second"}[widths]


NARROWER_BAND = VIEW.step(
    READ_WIDTHS,
    run=given(WIDTHS_FOUND)(lambda widths: _narrower(widths)),
    says=given(VIEW)(
        lambda view: (
            "Both bands are equally wide: neither meridian needs more than the other."
            if view == "neither"
            else f"The narrower band is farther from neutral: {VIEWS.write(view)} still needs plus."
        )
    ),
    slips=(
        Slip(
            WIDER_WANTS_PLUS,
            run=given(WIDTHS_FOUND)(lambda widths: _OTHER_VIEW[_narrower(widths)]),
            says=given(VIEW)(lambda view: f"The wider band taken: {VIEWS.write(view)}."),
            live=given(WIDTHS_FOUND)(lambda widths: widths != "equal"),
        ),
    ),
)
"""From `widths`, how the two bands compare, to the `view` that still needs plus: first, second or neither."""
