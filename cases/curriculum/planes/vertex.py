"""Family G, change of plane: the power that acts the same when a lens is moved along the line of sight."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases.curriculum import skills
from cases.curriculum.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, find_cylinder
from cases.curriculum.drawn_eyes import STRONG, STRONG_AND_TORIC, Sought, as_recorded, first_fitting
from cases.curriculum.planes import FAMILY
from cases.curriculum.shared_keys import AXIS, CYLINDER, MERIDIANS, POWERS, SPHERE
from cases.curriculum.steps import FORM, FORM_WORDS, METRES, NET, RX, as_written, degrees, listed, pick_axis, signed
from cases.figures.lens_planes import vertex
from cases.notation.prescription import rounded_power
from cases.notation.sums import about
from cases.optics.axes import across
from cases.optics.lens import SphCyl, moved_power
from cases.patients.patient import SIDES, Eye, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import ALWAYS, Drawing, Key, Rule, Slip, Step, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

MOVED = Field("toward_eye_mm", "How far it is moved towards the eye; minus: away from it", quantities.MOVE)

MILLIMETRES_TO_METRES = Skill("millimetres-to-metres", "turning millimetres into metres")
MOVE_POWER = Skill("move-power", "finding the power that acts the same in another plane")

MILLIMETRES_AS_METRES = SlipName(
    "millimetres-as-metres",
    "put the millimetres in as if they were metres",
    "The distance goes in as metres: 12 mm is 0.012.",
)
MOVED_WRONG_WAY = SlipName(
    "moved-wrong-way",
    "let the power change the wrong way",
    "Nearer the eye a plus lens must grow and a minus lens must shrink; farther off it is the other way round.",
)
PLUS_LIKE_MINUS = SlipName(
    "plus-moved-like-minus",
    "changed a plus lens as if it were a minus lens",
    "A minus lens needs less power nearer the eye, a plus lens needs more.",
)
MOVE_IGNORED = SlipName(
    "move-ignored",
    "left the power as it was",
    "From about ±4 D a move of 12 mm is worth well over half a step of power: work it out.",
    ("common-practice",),
)
SPHERE_ALONE_MOVED = SlipName(
    "sphere-alone-moved",
    "changed the sphere and left the cylinder",
    "Each meridian changes by its own amount, so the cylinder changes too: move both powers, then take the difference.",
)

WRONG_WAY_OR_LIKE_MINUS: Pair = (
    SlipRef(MOVE_POWER.id, MOVED_WRONG_WAY.id),
    SlipRef(MOVE_POWER.id, PLUS_LIKE_MINUS.id),
)
"""For a plus lens both give the same power; with a minus lens only one of them goes wrong."""


# --- steps -------------------------------------------------------------------------------------------------------


def in_metres(length: Key[float], seen: Rule[bool] = ALWAYS) -> Step:
    """Step: a length in millimetres to `metres`; `seen` says whether a slip in it is large enough to matter."""

    def run(divisor: float) -> Rule[float]:
        return given(length)(lambda mm: mm / divisor)

    def words(mm: float) -> str:
        return f"{quantities.MOVE.write(abs(mm))}{' away from the eye' if mm < 0 else ''}"

    @given(length, METRES)
    def says(mm: float, metres: float) -> str:
        return f"{words(mm)} {'counts as' if mm < 0 else 'is'} {_metres(metres)} m."

    @given(length, METRES)
    def taken(mm: float, metres: float) -> str:
        return f"{words(mm)} taken as {_metres(metres)} m."

    return METRES.step(
        MILLIMETRES_TO_METRES,
        run=run(1000),
        says=says,
        slips=(
            Slip(MILLIMETRES_AS_METRES, run=run(1), says=taken, live=seen),
            Slip(skills.MILLIMETRES_AS_CENTIMETRES, run=run(100), says=taken, live=seen),
        ),
    )


def _metres(metres: float) -> str:
    return f"{metres:g}".replace("-", "−")


def _each(change: Callable[[float, float], float]) -> Rule[tuple[float, ...]]:
    return given(METRES, POWERS)(lambda metres, powers: tuple(change(power, metres) for power in powers))


def _moved(power: float, metres: float) -> float:
    return moved_power(power, toward_eye_mm=1000 * metres)


def _back(power: float, metres: float) -> float:
    return moved_power(power, toward_eye_mm=-1000 * metres)


def _like_minus(power: float, metres: float) -> float:
    return -_moved(-abs(power), metres) if power > 0 else _moved(power, metres)


def _nearly(power: float, metres: float, net: float) -> str:
    shown = float(rounded_power(power))
    left = 1 - metres * shown
    return about(net, shown / left if abs(left) > 1e-6 else math.inf)


@given(METRES, POWERS, NET)
def _moved_words(metres: float, powers: tuple[float, ...], nets: tuple[float, ...]) -> str:
    written = f"({_metres(metres)})" if metres < 0 else _metres(metres)
    sums = [
        f"{signed(power)} ÷ (1 − {written} × ({signed(power)})) = {_nearly(power, metres, net)}{signed(net)}"
        for power, net in zip(powers, nets, strict=True)
    ]
    return f"The power over 1 less metres times power: {', and '.join(sums)}."


def move_step(*more: Slip[tuple[float, ...]], seen: Rule[bool] = ALWAYS) -> Step:
    """Step: `powers` in D and `metres` towards the eye to the powers `net` that act alike there.

    Source: definition of effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory).
    """
    return NET.step(
        MOVE_POWER,
        run=_each(_moved),
        says=_moved_words,
        slips=(
            Slip(
                MOVED_WRONG_WAY,
                run=_each(_back),
                says=given(NET)(lambda net: f"Divided by 1 plus metres times power: {listed(net)}."),
                live=seen,
            ),
            Slip(
                PLUS_LIKE_MINUS,
                run=_each(_like_minus),
                says=given(NET)(lambda net: f"The size changed as a minus lens's would: {listed(net)}."),
                live=given(seen, POWERS)(lambda seen, powers: seen and any(power > 0 for power in powers)),
            ),
            Slip(
                MOVE_IGNORED,
                run=given(POWERS)(lambda powers: powers),
                says=given(NET)(lambda net: f"The move left out: {listed(net)}."),
                live=seen,
            ),
            *more,
        ),
    )


def _move_words(toward_eye_mm: float) -> str:
    way = "nearer the eye" if toward_eye_mm > 0 else "farther from the eye"
    return f"It is moved {quantities.MOVE.write(abs(toward_eye_mm))} {way}."


def _figure(lens: Rule[SphCyl]) -> Drawing:
    """Draw the move, where there is one."""

    @given(MOVED, lens).drawing
    def draw(uid: str, toward_eye_mm: float, lens: SphCyl) -> Figure | None:
        if not toward_eye_mm:
            return None
        return vertex(lens, toward_eye_mm=toward_eye_mm, uid=uid)

    return draw


def pick_move(chance: Chance, settings: Settings, vertex_mm: float) -> float:
    """Draw a move in mm: for a novice from this patient's trial frame to the cornea, else either way.

    For an expert it may be any part of the way, as from one frame to another.
    """
    if settings.level == "novice":
        return vertex_mm
    way = -1 if chance.happens(0.3) else 1
    return way * (vertex_mm if settings.level == "competent" else float(chance.whole(4, 16)))


def _vertex_mm(eye: Eye) -> float:
    return float(min(max(round(eye.vertex_mm), 10), 16))


# --- a sphere ----------------------------------------------------------------------------------------------------


def _draw_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    step = 0.25 if settings.level == "expert" else 0.5
    most = 20 if settings.level == "expert" else 14
    side = chance.among(SIDES)

    def fits(patient: Patient) -> tuple[float, float] | None:
        eye = patient.eye(side)
        power = step * round(eye.M / step) + 0.0
        return (power, _vertex_mm(eye)) if 4 <= abs(power) <= most else None

    power, vertex_mm = first_fitting(chance, settings, fits, STRONG) or (
        chance.among((-1, 1)) * chance.stepped(4, most, step),
        12.0,
    )
    return given(POWER, MOVED).to(power, pick_move(chance, settings, vertex_mm))


POWER = Field("power", "Power of the lens", quantities.POWER)
POWER_ASKED = Field("power", "Power in the new plane", quantities.POWER.having(exact=0.03, tolerance=0.06))
vertex_sphere = CaseType(
    id="vertex-sphere",
    title="A sphere moved along the line of sight",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group((POWER, MOVED)),
    asks=(POWER_ASKED,),
    draw=_draw_sphere,
    begin=POWERS.by(given(POWER)(lambda power: (power,))),
    steps=(in_metres(MOVED), move_step()),
    answer=POWER_ASKED.by(given(NET)(lambda net: net[0])),
    found=given(POWER, MOVED)(
        lambda power, toward_eye_mm: (f"A lens of {signed(power)} D.", _move_words(toward_eye_mm))
    ),
    question=asking("Which power acts the same in the new plane, to 0.01 D?"),
    figure=_figure(given(POWER)(lambda power: SphCyl(power))),
    twins=(WRONG_WAY_OR_LIKE_MINUS,),
    probes=(Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),),
    needs=("net-sphere",),
    sources=("computed",),
)

# --- a sphere and cylinder ---------------------------------------------------------------------------------------


def _draw_toric(chance: Chance, settings: Settings) -> dict[str, Any]:
    sides = chance.shuffled(SIDES)

    def fits(patient: Patient) -> tuple[SphCyl, float] | None:
        for eye in map(patient.eye, sides):
            lens = as_recorded(eye.lens, settings)
            weakest = min(abs(lens.sphere), abs(lens.sphere + lens.cylinder))
            if weakest >= 4 and lens.strongest <= 18 and 1 <= -lens.cylinder <= 4:
                return lens, _vertex_mm(eye)
        return None

    size, cylinder = chance.stepped(5, 14, 0.5), chance.stepped(1.5, 4)
    minus = chance.happens(0.5)
    lens, vertex_mm = first_fitting(chance, settings, fits, Sought(strata=STRONG_AND_TORIC)) or (
        SphCyl(-size if minus else size + cylinder, -cylinder, pick_axis(chance, settings)),
        12.0,
    )
    form = settings.form if chance.happens(0.75) else ("plus" if settings.form == "minus" else "minus")
    return given(RX, MOVED, FORM).to(lens.in_form(form), pick_move(chance, settings, vertex_mm), settings.form)


def _both_powers(across_power: Callable[[SphCyl], float]) -> Rule[tuple[tuple[float, ...], tuple[float, ...]]]:
    return given(RX)(lambda rx: ((rx.sphere, across_power(rx)), (rx.axis, across(rx.axis))))


@given(POWERS, METRES)
def _sphere_alone(powers: tuple[float, ...], metres: float) -> tuple[float, ...]:
    first, second = powers
    moved = _moved(first, metres)
    return (moved, moved + second - first)


POWERS_OF_BOTH = given(POWERS, MERIDIANS).step(
    skills.POWER_ACROSS_AXIS,
    run=_both_powers(lambda rx: rx.sphere + rx.cylinder),
    says=given(POWERS, MERIDIANS)(
        lambda powers, meridians: (
            f"The two principal powers are {signed(powers[0])} along {degrees(meridians[0])} and "
            f"{signed(powers[1])} along {degrees(meridians[1])}."
        )
    ),
    slips=(
        Slip(
            skills.CYLINDER_ALONE,
            run=_both_powers(lambda rx: rx.cylinder),
            says=given(POWERS)(lambda powers: f"The cylinder alone across the axis: {signed(powers[1])}."),
            live=given(RX)(lambda rx: rx.sphere != 0),
        ),
        Slip(
            skills.CYLINDER_SUBTRACTED,
            run=_both_powers(lambda rx: rx.sphere - rx.cylinder),
            says=given(POWERS)(lambda powers: f"The cylinder taken away across the axis: {signed(powers[1])}."),
            live=given(RX)(lambda rx: rx.cylinder != 0),
        ),
    ),
)

_FIND_CYLINDER = find_cylinder()
_FIND_CYLINDER = replace(
    _FIND_CYLINDER, slips=tuple(slip for slip in _FIND_CYLINDER.slips if slip.name != skills.SIZES_SUBTRACTED)
)
"""A lens strong enough for its plane to matter has no plus and minus meridian together."""

PRESCRIPTION = Field("prescription", "Lens in the new plane", Lens())
vertex_toric = CaseType(
    id="vertex-toric",
    title="A sphere and cylinder moved along the line of sight",
    family=FAMILY,
    level="expert",
    seconds=50,
    findings=Group((RX, MOVED, FORM)),
    asks=(PRESCRIPTION,),
    draw=_draw_toric,
    steps=(
        POWERS_OF_BOTH,
        in_metres(MOVED),
        move_step(
            Slip(
                SPHERE_ALONE_MOVED,
                run=_sphere_alone,
                says=given(NET)(lambda net: f"The sphere changed and the cylinder left: {listed(net)}."),
                live=given(POWERS)(lambda powers: powers[0] != powers[1]),
            )
        ),
        choose_sphere(FIRST_TAKEN),
        _FIND_CYLINDER,
        PLACE_AXIS,
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(RX, MOVED)(lambda rx, toward_eye_mm: (f"A lens of {as_written(rx)}.", _move_words(toward_eye_mm))),
    question=given(FORM)(lambda form: f"Which lens acts the same in the new plane, to 0.01 D, in {FORM_WORDS[form]}?"),
    figure=_figure(given(RX)(lambda rx: rx)),
    needs=("vertex-sphere", "rx-to-cross", "cross-to-rx"),
    twins=(WRONG_WAY_OR_LIKE_MINUS,),
    probes=(Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),),
    sources=("computed",),
)

TYPES = (vertex_sphere, vertex_toric)
