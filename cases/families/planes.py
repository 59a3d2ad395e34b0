"""Family G, change of plane: the power that acts the same when a lens is moved along the line of sight."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.cross import FIRST_TAKEN, PLACE_AXIS, choose_sphere, find_cylinder
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_planes import vertex
from cases.kinds import Lens, Power
from cases.lens import SphCyl, across, moved_power
from cases.millimetres import Move
from cases.notation import rounded_power
from cases.steps import FORM, FORM_WORDS, RX, as_written, degrees, listed, pick_axis, signed
from cases.sums import about
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FAMILY = Family("planes", "Change of plane", 7)

MOVED = Field("toward_eye_mm", "How far it is moved towards the eye; minus: away from it", Move())

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
    "textbook rule for the vertex distance (from memory)",
)
SPHERE_ALONE_MOVED = SlipName(
    "sphere-alone-moved",
    "changed the sphere and kept the cylinder",
    "Each meridian changes by its own amount, so the cylinder changes too: move both powers, then take the difference.",
)

WRONG_WAY_OR_LIKE_MINUS: Pair = (
    SlipRef(MOVE_POWER.id, MOVED_WRONG_WAY.id),
    SlipRef(MOVE_POWER.id, PLUS_LIKE_MINUS.id),
)
"""For a plus lens both give the same power; with a minus lens only one of them goes wrong."""


# --- steps -------------------------------------------------------------------------------------------------------


def in_metres(name: str, seen: Callable[[Known], bool] = lambda _: True) -> Step:
    """Step: the millimetres called `name` to `metres`; `seen` says whether a slip in it is large enough to matter."""

    def run(divisor: float) -> Callable[[Known], dict[str, Any]]:
        return lambda known: {"metres": known[name] / divisor}

    def words(known: Known) -> str:
        away = " away from the eye" if known[name] < 0 else ""
        return f"{Move().write(abs(known[name]))}{away}"

    def says(known: Known) -> str:
        return f"{words(known)} {'counts as' if known[name] < 0 else 'is'} {_metres(known)} m."

    def taken(known: Known) -> str:
        return f"{words(known)} taken as {_metres(known)} m."

    return Step(
        MILLIMETRES_TO_METRES,
        run=run(1000),
        says=says,
        slips=(
            Slip(MILLIMETRES_AS_METRES, run=run(1), says=taken, live=seen),
            Slip(skills.MILLIMETRES_AS_CENTIMETRES, run=run(100), says=taken, live=seen),
        ),
    )


def _metres(known: Known) -> str:
    return f"{known['metres']:g}".replace("-", "−")


def _each(change: Callable[[float, float], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"net": tuple(change(power, known["metres"]) for power in known["powers"])}


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


def _moved_words(known: Known) -> str:
    metres = f"({_metres(known)})" if known["metres"] < 0 else _metres(known)
    sums = [
        f"{signed(power)} ÷ (1 − {metres} × ({signed(power)})) = {_nearly(power, known['metres'], net)}{signed(net)}"
        for power, net in zip(known["powers"], known["net"], strict=True)
    ]
    return f"The power over 1 less metres times power: {', and '.join(sums)}."


def move_step(*more: Slip, seen: Callable[[Known], bool] = lambda _: True) -> Step:
    """Step: `powers` in D and `metres` towards the eye to the powers `net` that act alike there.

    Source: definition of effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory).
    """
    return Step(
        MOVE_POWER,
        run=_each(_moved),
        says=_moved_words,
        slips=(
            Slip(
                MOVED_WRONG_WAY,
                run=_each(_back),
                says=lambda known: f"Divided by 1 plus metres times power: {listed(known['net'])}.",
                live=seen,
            ),
            Slip(
                PLUS_LIKE_MINUS,
                run=_each(_like_minus),
                says=lambda known: f"The size changed as a minus lens's would: {listed(known['net'])}.",
                live=lambda known: seen(known) and any(power > 0 for power in known["powers"]),
            ),
            Slip(
                MOVE_IGNORED,
                run=lambda known: {"net": known["powers"]},
                says=lambda known: f"The move left out: {listed(known['net'])}.",
                live=seen,
            ),
            *more,
        ),
    )


def _move_words(known: Known) -> str:
    way = "nearer the eye" if known["toward_eye_mm"] > 0 else "farther from the eye"
    return f"It is moved {Move().write(abs(known['toward_eye_mm']))} {way}."


def _figure(lens: Callable[[Known], SphCyl]) -> Callable[[Known, str], Figure | None]:
    """Draw the move, where there is one."""

    def draw(known: Known, uid: str) -> Figure | None:
        if not known["toward_eye_mm"]:
            return None
        return vertex(lens(known), toward_eye_mm=known["toward_eye_mm"], uid=uid)

    return draw


def pick_move(chance: Chance, settings: Settings) -> float:
    """Draw a move in mm: from the trial frame to the cornea for a novice, else either way."""
    if settings.level == "novice":
        return chance.among((12.0, 12.0, 13.0, 14.0))
    way = -1 if chance.happens(0.3) else 1
    return way * float(chance.among((12, 12, 13, 14, 15)) if settings.level == "competent" else chance.whole(4, 16))


# --- a sphere ----------------------------------------------------------------------------------------------------


def _draw_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    step = 1.0 if settings.level == "novice" else 0.5 if settings.level == "competent" else 0.25
    return {
        "power": chance.among((-1, 1)) * chance.stepped(4, 20 if settings.level == "expert" else 14, step),
        "toward_eye_mm": pick_move(chance, settings),
    }


vertex_sphere = CaseType(
    id="vertex-sphere",
    title="A sphere moved along the line of sight",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group((Field("power", "Power of the lens", Power()), MOVED)),
    asks=(Field("power", "Power in the new plane", Power(exact=0.03, tolerance=0.06)),),
    draw=_draw_sphere,
    begin=lambda findings: {"powers": (findings["power"],)},
    steps=(in_metres("toward_eye_mm"), move_step()),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (f"A lens of {signed(known['power'])} D.", _move_words(known)),
    question=lambda _: "Which power acts the same in the new plane, to 0.01 D?",
    figure=_figure(lambda known: SphCyl(known["power"])),
    form=lambda _: None,
    twins=(WRONG_WAY_OR_LIKE_MINUS,),
    probes=(Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),),
    needs=("net-sphere",),
    sources=("definition of effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory)",),
)

# --- a sphere and cylinder ---------------------------------------------------------------------------------------


def _draw_toric(chance: Chance, settings: Settings) -> dict[str, Any]:
    size, cylinder = chance.stepped(5, 14, 0.5), chance.stepped(1.5, 4)
    minus = chance.happens(0.5)
    lens = SphCyl(-size if minus else size + cylinder, -cylinder, pick_axis(chance, settings))
    form = settings.form if chance.happens(0.75) else ("plus" if settings.form == "minus" else "minus")
    return {"rx": lens.in_form(form), "toward_eye_mm": pick_move(chance, settings), "form": settings.form}


def _both_powers(across_power: Callable[[SphCyl], float]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {
        "powers": (known["rx"].sphere, across_power(known["rx"])),
        "meridians": (known["rx"].axis, across(known["rx"].axis)),
    }


def _sphere_alone(known: Known) -> dict[str, Any]:
    first, second = known["powers"]
    moved = _moved(first, known["metres"])
    return {"net": (moved, moved + second - first)}


POWERS_OF_BOTH = Step(
    skills.POWER_ACROSS_AXIS,
    run=_both_powers(lambda rx: rx.sphere + rx.cylinder),
    says=lambda known: (
        f"The two principal powers are {signed(known['powers'][0])} along {degrees(known['meridians'][0])} and "
        f"{signed(known['powers'][1])} along {degrees(known['meridians'][1])}."
    ),
    slips=(
        Slip(
            skills.CYLINDER_ALONE,
            run=_both_powers(lambda rx: rx.cylinder),
            says=lambda known: f"The cylinder alone across the axis: {signed(known['powers'][1])}.",
            live=lambda known: known["rx"].sphere != 0,
        ),
        Slip(
            skills.CYLINDER_SUBTRACTED,
            run=_both_powers(lambda rx: rx.sphere - rx.cylinder),
            says=lambda known: f"The cylinder taken away across the axis: {signed(known['powers'][1])}.",
            live=lambda known: known["rx"].cylinder != 0,
        ),
    ),
)

_FIND_CYLINDER = find_cylinder()
_FIND_CYLINDER = replace(
    _FIND_CYLINDER, slips=tuple(slip for slip in _FIND_CYLINDER.slips if slip.name != skills.SIZES_SUBTRACTED)
)
"""A lens strong enough for its plane to matter has no plus and minus meridian together."""

vertex_toric = CaseType(
    id="vertex-toric",
    title="A sphere and cylinder moved along the line of sight",
    family=FAMILY,
    level="expert",
    seconds=50,
    findings=Group((RX, MOVED, FORM)),
    asks=(Field("prescription", "Lens in the new plane", Lens()),),
    draw=_draw_toric,
    begin=lambda _: {},
    steps=(
        POWERS_OF_BOTH,
        in_metres("toward_eye_mm"),
        move_step(
            Slip(
                SPHERE_ALONE_MOVED,
                run=_sphere_alone,
                says=lambda known: f"The sphere moved and the cylinder kept: {listed(known['net'])}.",
                live=lambda known: known["powers"][0] != known["powers"][1],
            )
        ),
        choose_sphere(FIRST_TAKEN),
        _FIND_CYLINDER,
        PLACE_AXIS,
    ),
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (f"A lens of {as_written(known['rx'])}.", _move_words(known)),
    question=lambda known: f"Which lens acts the same in the new plane, to 0.01 D, in {FORM_WORDS[known['form']]}?",
    figure=_figure(lambda known: known["rx"]),
    needs=("vertex-sphere", "rx-to-cross", "cross-to-rx"),
    twins=(WRONG_WAY_OR_LIKE_MINUS,),
    probes=(Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),),
    sources=("definition of effective power, e.g. Bennett & Rabbetts, Clinical Visual Optics (from memory)",),
)

TYPES = (vertex_sphere, vertex_toric)
