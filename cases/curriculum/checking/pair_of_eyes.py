"""The right and the left eye of one patient, as the checks that compare them give, draw and describe them."""

from __future__ import annotations

from cases.curriculum.steps import DISTANCE, FIRST_LENS, SECOND_LENS, VERGENCE, as_written
from cases.figures.both_eyes import two_eyes as draw_two_eyes
from cases.optics.lens import SphCyl
from cases.optics.vergence import working_vergence
from cases.procedure.fields import Field
from cases.procedure.figure import Figure
from cases.procedure.keys import given
from cases.procedure.kinds import Lens

RIGHT = Field("right", "Net prescription of the right eye", Lens())
LEFT = Field("left", "Net prescription of the left eye", Lens())

PAIR_OF_EYES = given(FIRST_LENS, SECOND_LENS).by(given(RIGHT, LEFT)(lambda right, left: (right, left)))
"""The right eye's lens first and the left eye's second, for the steps that compare two lenses."""
PAIR_AND_VERGENCE = given(FIRST_LENS, SECOND_LENS, VERGENCE).by(
    given(RIGHT, LEFT, DISTANCE)(lambda right, left, cm: (right, left, working_vergence(cm)))
)
"""The same with what the working distance is worth."""


@given(RIGHT, LEFT).drawing
def eyes_figure(uid: str, right: SphCyl, left: SphCyl) -> Figure:
    """Draw both eyes as the examiner faces them."""
    return draw_two_eyes(right, left, uid=uid)


def eyes_words(right: SphCyl, left: SphCyl) -> tuple[str, str]:
    """Say both eyes' prescriptions, a line each."""
    return f"Right eye, net: {as_written(right)}.", f"Left eye, net: {as_written(left)}."
