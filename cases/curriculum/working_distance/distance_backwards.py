"""Family A, distances worked backwards or in other units: where to sit for a lens, and a distance in inches."""

from __future__ import annotations

from typing import Any

from cases.curriculum.steps import METRES, VERGENCE, signed, size
from cases.curriculum.working_distance import FAMILY
from cases.curriculum.working_distance.gross_to_net import (
    ALSO,
    AT_NEUTRAL,
    TENFOLD_TOO_LARGE,
    TENFOLD_TOO_SMALL,
    also_words,
    draw_also,
    invert_metres,
)
from cases.figures.lenses import trial_frame
from cases.notation.prescription import NotationError, read_distance_cm, read_quantity, write_distance
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import NO_FIGURE, Key, Rule, Slip, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

INVERT_DIOPTRES = Skill("invert-dioptres", "turning dioptres into metres")
METRES_TO_CENTIMETRES = Skill("metres-to-centimetres", "turning metres into centimetres")
INCHES_TO_METRES = Skill("inches-to-metres", "turning inches into metres")

DIOPTRES_NOT_INVERTED = SlipName(
    "dioptres-not-inverted",
    "used the dioptres as if they were metres",
    "Those are the dioptres themselves. The distance in metres is one over them.",
)
DISTANCE_IN_PROPORTION = SlipName(
    "distance-in-proportion",
    "let the distance grow with the dioptres",
    "It is the other way round: twice the dioptres is half the distance.",
)
INCHES_AS_CENTIMETRES = SlipName(
    "inches-as-centimetres",
    "took the inches for centimetres",
    "An inch is 2.54 cm, so about 39.4 inches make a metre, not 100.",
)

ANY_DISTANCE = quantities.DISTANCE.having(low=1, high=2000)
"""Wide enough to read an answer that a factor of ten has spoilt."""


# --- dioptres to distance ----------------------------------------------------------------------------------------


CENTIMETRES = Key[float]("centimetres", unit="cm")


def _centimetres(factor: float) -> Rule[float]:
    return given(METRES)(lambda metres: metres * factor)


@given(METRES, CENTIMETRES)
def _centimetres_taken(metres: float, centimetres: float) -> str:
    return f"{metres:.3g} m taken as {centimetres:.4g} cm."


POWER = Field("power", "What the working distance is worth", quantities.POWER.having(low=0.25, high=8))
TELLING = Choice(
    (
        Option("frame", "a working lens in the frame"),
        Option("came-off", "what came off between neutral and the net"),
        Option("bare", "an eye that is neutral with no lens in place"),
    )
)
TOLD = Field("told", "How the dioptres are given", TELLING, default="frame")
GROSS = Field("gross", "Sphere in place at neutral", quantities.POWER, default=0.0)
DISTANCE = Field("distance", "Distance, pupil to sight hole", ANY_DISTANCE)


def _draw_backwards(chance: Chance, settings: Settings) -> dict[str, Any]:
    power = (
        chance.among((1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0))
        if settings.level == "novice"
        else chance.stepped(1, 4, 0.25 if settings.level == "competent" else 0.125)
    )
    told = chance.among(("frame", "came-off", "came-off", "bare"))
    return given(POWER, TOLD, GROSS).to(power, told, chance.stepped(-7, 9) if told == "came-off" else 0.0)


@given(POWER, TOLD, GROSS)
def _told_words(power: float, told: str, gross: float) -> tuple[str, ...]:
    if told == "came-off":
        return (
            f"In place at neutral: {signed(gross)} DS. Written as the net: {signed(gross - power)} DS.",
            f"So {size(power)} D came off for the working distance.",
        )
    if told == "bare":
        return (f"An eye that needs {signed(-power)} DS is neutral with no lens in place.",)
    return (f"A working lens of {signed(power)} D is in the frame.",)


@given(POWER, TOLD, GROSS).drawing
def _frame(uid: str, power: float, told: str, gross: float) -> Figure | None:
    if told == "bare":
        return None
    lens, note = (power, "working lens") if told == "frame" else (gross, "at neutral")
    return trial_frame((SphCyl(lens),), uid=uid, notes={0: note})


vergence_distance = CaseType(
    id="vergence-distance",
    title="From dioptres to the working distance",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group((POWER, TOLD, GROSS)),
    asks=(DISTANCE,),
    draw=_draw_backwards,
    steps=(
        METRES.step(
            INVERT_DIOPTRES,
            run=given(POWER)(lambda power: 1 / power),
            says=given(POWER, METRES)(lambda power, metres: f"One over {power:g} D is {metres:.3g} m."),
            slips=(
                Slip(
                    DIOPTRES_NOT_INVERTED,
                    run=given(POWER)(lambda power: power),
                    says=given(POWER, METRES)(lambda power, metres: f"{power:g} D taken as {metres:g} m."),
                    live=given(POWER)(lambda power: abs(power - 1) > 0.02),
                ),
                Slip(
                    DISTANCE_IN_PROPORTION,
                    run=given(POWER)(lambda power: power / 2.25),
                    says=given(POWER, METRES)(
                        lambda power, metres: f"From 1.50 D at 67 cm, in proportion: {power:g} D at {metres:.3g} m."
                    ),
                    live=given(POWER)(lambda power: abs(power - 1.5) > 0.02),
                ),
            ),
        ),
        CENTIMETRES.step(
            METRES_TO_CENTIMETRES,
            run=_centimetres(100),
            says=given(CENTIMETRES)(lambda centimetres: f"That is {write_distance(centimetres)}."),
            slips=(
                Slip(TENFOLD_TOO_SMALL, run=_centimetres(10), says=_centimetres_taken),
                Slip(TENFOLD_TOO_LARGE, run=_centimetres(1000), says=_centimetres_taken),
            ),
        ),
    ),
    answer=DISTANCE.by(given(CENTIMETRES)(lambda centimetres: centimetres)),
    found=_told_words,
    question=asking("From what working distance, to a centimetre, is that exactly right?"),
    figure=_frame,
    needs=("distance-vergence",),
    sources=("computed",),
)

# --- a distance in inches ----------------------------------------------------------------------------------------

CM_PER_INCH = 2.54


def _read_inches(text: str) -> float:
    """Read a bare number as inches, or a length that names its unit."""
    try:
        return read_quantity(text)
    except NotationError:
        return read_distance_cm(text) / CM_PER_INCH


IN_INCHES = quantities.Quantity(
    id="inches", unit=" in", hint="inches, such as 26", reads=_read_inches,
    low=4.0, high=400.0, step=0.5, exact=0.1, tolerance=0.25,
)  # fmt: skip
INCHES = Field("inches", "Working distance, pupil to sight hole", IN_INCHES)
POWER_ASKED = Field("power", "Dioptres", quantities.POWER)
inches_vergence = CaseType(
    id="inches-vergence",
    title="A working distance in inches",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group((INCHES, ALSO, AT_NEUTRAL)),
    asks=(POWER_ASKED,),
    draw=lambda chance, settings: {
        **INCHES.to(chance.stepped(8, 60, 1 if settings.level == "novice" else 0.5)),
        **draw_also(chance),
    },
    steps=(
        METRES.step(
            INCHES_TO_METRES,
            run=given(INCHES)(lambda inches: inches * CM_PER_INCH / 100),
            says=given(INCHES, METRES)(
                lambda inches, metres: f"Inches to metres: {inches:g} × 2.54 cm is {metres:.3g} m."
            ),
            slips=(
                Slip(
                    INCHES_AS_CENTIMETRES,
                    run=given(INCHES)(lambda inches: inches / 100),
                    says=given(INCHES, METRES)(lambda inches, metres: f"{inches:g} inches taken as {metres:.3g} m."),
                ),
            ),
        ),
        invert_metres(),
    ),
    answer=POWER_ASKED.by(given(VERGENCE)(lambda vergence: vergence)),
    found=given(INCHES, ALSO, AT_NEUTRAL)(
        lambda inches, also, gross: (f"Sight hole {inches:g} inches from the pupil.", *also_words(also, gross))
    ),
    question=asking("How many dioptres is that distance?"),
    figure=NO_FIGURE,
    needs=("distance-vergence",),
    sources=("computed",),
)

TYPES = (vergence_distance, inches_vergence)
