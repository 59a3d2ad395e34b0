"""Family A, working distance: dioptres and centimetres, gross to net, the working lens, drifting, the far point."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Family, Probe, Settings
from cases.chance import Chance
from cases.fields import Field, Group, Several
from cases.figures import Figure
from cases.figures_distance import distance_ruler
from cases.figures_distance import far_point as draw_far_point
from cases.figures_lenses import trial_frame
from cases.kinds import BadFinding, Distance, Power
from cases.lens import SphCyl
from cases.notation import write_distance
from cases.steps import (
    ADDED,
    COMMON_DISTANCES,
    LEFT_IN,
    distance_in_dioptres,
    listed,
    pick_distance,
    sign_blind,
    signed,
    taken_off,
)
from cases.vergence import vergence, working_vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

FAMILY = Family("distance", "Working distance", 1)

DISTANCE = Field("distance_cm", "Working distance, pupil to sight hole", Distance())

CENTIMETRES_TO_METRES = Skill("centimetres-to-metres", "turning centimetres into metres")
INVERT_METRES = Skill("invert-metres", "turning metres into dioptres")
ADD_LENSES = Skill("add-lenses", "adding up every lens in the frame")
COMPARE_DISTANCES = Skill("compare-distances", "comparing two distances in dioptres")
CORRECT_FOR_DRIFT = Skill("correct-for-drift", "correcting what was written for the true distance")
FAR_POINT_SIGN = Skill("far-point-sign", "giving a far point its sign")
NO_DISTANCE_DUE = Skill("no-distance-due", "knowing when no distance comes off")

TENFOLD_TOO_SMALL = SlipName(
    "tenfold-too-small", "ended ten times too small", "A factor of ten went astray: turn centimetres into metres first."
)
TENFOLD_TOO_LARGE = SlipName(
    "tenfold-too-large", "ended ten times too large", "A factor of ten went astray: 100 centimetres are one metre."
)
MISMATCH_MISSED = SlipName(
    "working-lens-for-distance",
    "took off the working lens though the distance was another",
    "The lens in the cell did not match where you sat. Take off what the distance really was.",
    "a teaching page on the working distance warns of the mismatch",
)
DRIFT_REVERSED = SlipName(
    "drift-sign-reversed",
    "took the drift the other way round",
    "Closer than assumed means more vergence than was taken off, so what was written is too plus: the error is plus.",
    "a published mock examination station asks for this sign",
)
DRIFT_BY_CENTIMETRES = SlipName(
    "drift-by-centimetres",
    "turned the centimetres straight into dioptres",
    "The change in dioptres is not in proportion to the centimetres: work out both distances and subtract.",
)
CORRECTED_WRONG_WAY = SlipName(
    "corrected-wrong-way",
    "added the error instead of taking it off",
    "The error is what was written less what is true, so take it off what was written.",
    "a published mock examination station asks for this sign",
)
NOT_CORRECTED = SlipName(
    "drift-not-corrected",
    "left the written result as it was",
    "The error was found but the result still holds it.",
)
FAR_POINT_PLUS = SlipName(
    "far-point-plus",
    "gave a far point in front of the eye a plus sign",
    "A far point in front of the eye is a myope's: the lens that corrects it is minus.",
)
FAR_POINT_LESS_DISTANCE = SlipName(
    "distance-off-far-point",
    "took a working distance off though no lens was used",
    "No lens was in place, so the neutral distance is the answer. Nothing further comes off.",
)


def _ruler(known: Known, uid: str) -> Figure:
    return distance_ruler(actual_cm=known["distance_cm"], uid=uid)


# --- distance to dioptres ----------------------------------------------------------------------------------------

distance_vergence = CaseType(
    id="distance-vergence",
    title="Working distance in dioptres",
    family=FAMILY,
    level="novice",
    seconds=5,
    findings=Group((DISTANCE,)),
    asks=(Field("power", "Dioptres", Power()),),
    draw=lambda chance, settings: {
        "distance_cm": float(chance.among(COMMON_DISTANCES if settings.level == "novice" else (*range(25, 100), 100)))
    },
    begin=lambda _: {},
    steps=(
        Step(
            CENTIMETRES_TO_METRES,
            run=lambda known: {"metres": known["distance_cm"] / 100},
            says=lambda known: f"{write_distance(known['distance_cm'])} is {known['metres']:g} m.",
            slips=(
                Slip(
                    TENFOLD_TOO_SMALL,
                    run=lambda known: {"metres": known["distance_cm"] / 10},
                    says=lambda known: f"{write_distance(known['distance_cm'])} taken as {known['metres']:g} m.",
                ),
                Slip(
                    TENFOLD_TOO_LARGE,
                    run=lambda known: {"metres": known["distance_cm"] / 1000},
                    says=lambda known: f"{write_distance(known['distance_cm'])} taken as {known['metres']:g} m.",
                ),
            ),
        ),
        Step(
            INVERT_METRES,
            run=lambda known: {"vergence": 1 / known["metres"]},
            says=lambda known: f"One over {known['metres']:g} m is {known['vergence']:.2f} D.",
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=lambda known: {"vergence": known["metres"]},
                    says=lambda known: f"{known['metres']:g} m taken as {known['vergence']:.2f} D.",
                    live=lambda known: abs(known["distance_cm"] - 100) > 2,
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["vergence"]},
    found=lambda known: (f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",),
    question=lambda _: "How many dioptres is that distance?",
    figure=_ruler,
    sources=("Definition of vergence in air, ISO 13666",),
)

# --- one meridian, gross to net ----------------------------------------------------------------------------------


def _draw_net_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    return {"gross": chance.stepped(-8, 8), "distance_cm": pick_distance(chance, settings)}


ADDED_OR_SIGN_BLIND = (
    SlipRef(skills.TAKE_OFF_DISTANCE.id, skills.DISTANCE_ADDED.id),
    SlipRef(skills.TAKE_OFF_DISTANCE.id, skills.SIGN_BLIND.id),
)
"""With one minus finding, taking the distance off its size is the same sum as adding it; a plus finding parts them."""

net_sphere = CaseType(
    id="net-sphere",
    title="Gross to net, one sphere",
    family=FAMILY,
    level="novice",
    seconds=6,
    findings=Group((Field("gross", "Sphere that neutralised, the only lens in place", Power()), DISTANCE)),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_net_sphere,
    begin=lambda findings: {"gross": (findings["gross"],)},
    steps=(
        distance_in_dioptres(),
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=lambda known: {"net": tuple(g - known["vergence"] for g in known["gross"])},
            says=taken_off,
            slips=(LEFT_IN, ADDED, sign_blind(live=lambda known: known["gross"][0] < 0)),
        ),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        f"Every meridian is neutral with {signed(known['gross'])} D, the only lens in place.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda _: "What is the net sphere?",
    figure=lambda known, uid: trial_frame((SphCyl(known["gross"]),), uid=uid, distance_cm=known["distance_cm"]),
    needs=("distance-vergence",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("Arch Ophthalmol 1935;14:458 (subtracting the reciprocal of the distance)",),
)

# --- a working lens in the cell ----------------------------------------------------------------------------------

WORKING_LENSES = (1.25, 1.5, 2.0, 2.5)


def _draw_working_lens(chance: Chance, settings: Settings) -> dict[str, Any]:
    working = chance.among(WORKING_LENSES)
    distance = 100 / working if working != 1.5 else 67.0
    if settings.fixed_distance:
        distance = settings.distance_cm
    elif chance.happens(0.35):
        distance = pick_distance(chance, settings)
    others = [chance.stepped(-6, 6) for _ in range(1 if settings.level == "novice" else chance.whole(1, 3))]
    return {
        "lenses": tuple(chance.shuffled([working, *others])),
        "working_lens": working,
        "distance_cm": distance,
    }


def _frame_with_working_lens(known: Known, uid: str) -> Figure:
    place = known["lenses"].index(known["working_lens"])
    lenses = tuple(SphCyl(power) for power in known["lenses"])
    return trial_frame(lenses, uid=uid, notes={place: "working lens"}, distance_cm=known["distance_cm"])


def _begin_working_lens(findings: Known) -> dict[str, Any]:
    if findings["working_lens"] not in findings["lenses"]:
        raise BadFinding(findings["working_lens"], "the working lens must be one of the lenses in the frame")
    return {}


working_lens = CaseType(
    id="working-lens",
    title="A working lens in the frame",
    family=FAMILY,
    level="novice",
    seconds=10,
    findings=Group(
        (
            Field("lenses", "Every sphere in the frame, the working lens among them", Several(Power())),
            Field("working_lens", "Which of them is the working lens", Power()),
            DISTANCE,
        )
    ),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_working_lens,
    begin=_begin_working_lens,
    steps=(
        Step(
            ADD_LENSES,
            run=lambda known: {"gross": (sum(known["lenses"]),)},
            says=lambda known: (
                f"All lenses together: {' '.join(signed(p) for p in known['lenses'])} = {signed(known['gross'][0])}."
            ),
            slips=(
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=lambda known: {"gross": (sum(known["lenses"]) - known["working_lens"],)},
                    says=lambda known: f"The lenses without the working lens: {signed(known['gross'][0])}.",
                ),
            ),
        ),
        distance_in_dioptres(),
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=lambda known: {"net": tuple(g - known["vergence"] for g in known["gross"])},
            says=taken_off,
            slips=(
                LEFT_IN,
                ADDED,
                Slip(
                    MISMATCH_MISSED,
                    run=lambda known: {"net": tuple(g - known["working_lens"] for g in known["gross"])},
                    says=lambda known: (
                        f"The working lens {signed(known['working_lens'])} taken off: {listed(known['net'])}."
                    ),
                    live=lambda known: abs(known["working_lens"] - working_vergence(known["distance_cm"])) > 0.02,
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        f"Every meridian is neutral with these in the frame: {'; '.join(signed(p) for p in known['lenses'])}.",
        f"The {signed(known['working_lens'])} is the working lens.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda _: "What is the net sphere?",
    figure=_frame_with_working_lens,
    needs=("net-sphere",),
    sources=("a teaching page on working distance that counts the working lens inside the gross",),
)

# --- nearer or farther than was thought --------------------------------------------------------------------------


def _draw_drift(chance: Chance, settings: Settings) -> dict[str, Any]:
    assumed = settings.distance_cm if settings.fixed_distance else chance.among(COMMON_DISTANCES)
    return {
        "written": chance.stepped(-6, 6),
        "assumed_cm": assumed,
        "actual_cm": assumed + chance.among((-1, 1)) * chance.whole(3, 15),
    }


def _drift_by_centimetres(known: Known) -> dict[str, Any]:
    return {"error": (known["assumed_cm"] - known["actual_cm"]) / 100}


distance_drift = CaseType(
    id="distance-drift",
    title="Nearer or farther than assumed",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            Field("written", "Net sphere as written down", Power()),
            Field("assumed_cm", "Distance that was allowed for", Distance()),
            Field("actual_cm", "Distance that it really was", Distance()),
        )
    ),
    asks=(
        Field("error", "Error in what was written", Power(exact=0.03, tolerance=0.06)),
        Field("corrected", "Net sphere put right", Power()),
    ),
    draw=_draw_drift,
    begin=lambda _: {},
    steps=(
        Step(
            COMPARE_DISTANCES,
            run=lambda known: {"error": vergence(known["actual_cm"]) - vergence(known["assumed_cm"])},
            says=lambda known: (
                f"{write_distance(known['actual_cm'])} is {vergence(known['actual_cm']):.2f} D and "
                f"{write_distance(known['assumed_cm'])} is {vergence(known['assumed_cm']):.2f} D: "
                f"{signed(known['error'])} more was due than came off."
            ),
            slips=(
                Slip(
                    DRIFT_REVERSED,
                    run=lambda known: {"error": vergence(known["assumed_cm"]) - vergence(known["actual_cm"])},
                    says=lambda known: f"Assumed less actual: {signed(known['error'])}.",
                ),
                Slip(
                    DRIFT_BY_CENTIMETRES,
                    run=_drift_by_centimetres,
                    says=lambda known: (
                        f"{abs(known['assumed_cm'] - known['actual_cm']):g} cm taken as {signed(known['error'])} D."
                    ),
                ),
                Slip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=lambda known: {"error": vergence(known["actual_cm"]) - 1.5},
                    says=lambda known: f"1.50 taken as what came off: error {signed(known['error'])}.",
                    live=lambda known: abs(vergence(known["assumed_cm"]) - 1.5) > 0.02,
                ),
            ),
        ),
        Step(
            CORRECT_FOR_DRIFT,
            run=lambda known: {"corrected": known["written"] - known["error"]},
            says=lambda known: (
                f"Take the error off: {signed(known['written'])} − ({signed(known['error'])}) "
                f"= {signed(known['corrected'])}."
            ),
            slips=(
                Slip(
                    CORRECTED_WRONG_WAY,
                    run=lambda known: {"corrected": known["written"] + known["error"]},
                    says=lambda known: f"The error added: {signed(known['corrected'])}.",
                ),
                Slip(
                    NOT_CORRECTED,
                    run=lambda known: {"corrected": known["written"]},
                    says=lambda known: f"Left at {signed(known['corrected'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"error": known["error"], "corrected": known["corrected"]},
    found=lambda known: (
        f"{write_distance(known['assumed_cm'])} was allowed for, and {signed(known['written'])} D written as the net.",
        f"The sight hole was really {write_distance(known['actual_cm'])} from the pupil.",
    ),
    question=lambda _: (
        "What error does the written net hold (plus: too plus), and what should it say? "
        "Use the exact dioptres, to 0.01."
    ),
    figure=lambda known, uid: distance_ruler(actual_cm=known["actual_cm"], assumed_cm=known["assumed_cm"], uid=uid),
    needs=("net-sphere",),
    sources=("Definition of vergence in air, ISO 13666; sign rule from memory, follows from net = gross − 1/d",),
)

# --- neutral with no lens at all ---------------------------------------------------------------------------------

far_point = CaseType(
    id="far-point",
    title="Neutral with no lens in place",
    family=FAMILY,
    level="competent",
    seconds=10,
    findings=Group((Field("neutral_cm", "Distance at which it is neutral with no lens", Distance()),)),
    asks=(Field("power", "Power in that meridian", Power()),),
    draw=lambda chance, settings: {
        "neutral_cm": float(chance.among((10, 20, 25, 40, 50) if settings.level == "novice" else range(10, 70, 5)))
    },
    begin=lambda findings: {"distance_cm": findings["neutral_cm"]},
    steps=(
        Step(
            INVERT_METRES,
            run=lambda known: {"vergence": vergence(known["neutral_cm"])},
            says=lambda known: (
                f"{write_distance(known['neutral_cm'])} is 100 ÷ {known['neutral_cm']:g} = {known['vergence']:.2f} D."
            ),
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=lambda known: {"vergence": known["neutral_cm"] / 100},
                    says=lambda known: f"{write_distance(known['neutral_cm'])} taken as {known['vergence']:.2f} D.",
                ),
            ),
        ),
        Step(
            FAR_POINT_SIGN,
            run=lambda known: {"eye": -known["vergence"]},
            says=lambda known: f"The far point is in front of the eye, so a myope: {signed(known['eye'])}.",
            slips=(
                Slip(
                    FAR_POINT_PLUS,
                    run=lambda known: {"eye": known["vergence"]},
                    says=lambda known: f"Taken as plus: {signed(known['eye'])}.",
                ),
            ),
        ),
        Step(
            NO_DISTANCE_DUE,
            run=lambda known: {"net": known["eye"]},
            says=lambda known: f"No lens was in place, so nothing comes off: {signed(known['net'])}.",
            slips=(
                Slip(
                    FAR_POINT_LESS_DISTANCE,
                    run=lambda known: {"net": known["eye"] - 1.5},
                    says=lambda known: f"The usual 1.50 taken off: {signed(known['net'])}.",
                ),
                Slip(
                    skills.DISTANCE_TAKEN_TWICE,
                    run=lambda known: {"net": known["eye"] - vergence(known["neutral_cm"])},
                    says=lambda known: f"The neutral distance taken off again: {signed(known['net'])}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["net"]},
    found=lambda known: (
        f"With no lens in place the reflex is neutral when the sight hole is {write_distance(known['neutral_cm'])} "
        "from the pupil.",
    ),
    question=lambda _: "What power corrects this meridian?",
    figure=lambda known, uid: draw_far_point(neutral_cm=known["neutral_cm"], uid=uid),
    needs=("distance-vergence",),
    sources=("Duane’s Clinical Ophthalmology ch. 37 (two methods)",),
)

TYPES = (distance_vergence, net_sphere, working_lens, distance_drift, far_point)
