"""Family E, fixation: what looking near does to the finding, and which target keeps accommodation and axis still."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.errors import OutOfRange
from cases.families.sighting import FAMILY
from cases.fields import Field, Group
from cases.figures_room import looking_at, three_targets
from cases.kinds import Distance, Lens, Power, Size
from cases.lens import SphCyl
from cases.notation import write_distance
from cases.steps import DISTANCE, DROPS, DROPS_CAUTION, as_written, pick_distance, pick_lens, size
from cases.sums import adding_up
from cases.working import Known, Skill, Slip, SlipName, Step

SHIFT_FOR_ACCOMMODATION = Skill("shift-for-accommodation", "carrying accommodation into both meridians")
FIXATION_TASK = Skill("fixation-task", "knowing what fixation must do in this eye")
MIRROR_DOUBLES = Skill("mirror-doubles", "placing an image behind the mirror")
CHOOSE_TARGET = Skill("choose-target", "choosing what the patient looks at")

FIXATION_LEFT_OUT = SlipName(
    "fixation-left-out",
    "took the result as if the patient had looked far",
    "Taking the working distance off allows for where you sit. Where the patient looks is a second matter: the eye "
    "accommodates for it.",
    "a published mock examination station asks what near fixation does; clinical pearl on accommodation spasm",
)
ACCOMMODATION_ADDED = SlipName(
    "accommodation-adds-plus",
    "let accommodation add plus",
    "Accommodation makes the eye stronger, as if more short-sighted, so the result goes towards minus.",
    "a published mock examination station asks for this sign",
)
ACCOMMODATION_AS_CYLINDER = SlipName(
    "accommodation-in-one-meridian",
    "let accommodation act in one meridian only",
    "It shifts both meridians alike. If the cylinder changed, look again at the fixation.",
)
LAG_LEFT_OUT = SlipName(
    "lag-left-out",
    "let the eye answer the whole demand",
    "With a lag the eye accommodates less than the target asks for.",
)
MIRROR_NOT_DOUBLED = SlipName(
    "mirror-not-doubled",
    "took the image to lie at the mirror",
    "An image lies as far behind the mirror as the thing stands before it: one's own eyes are at twice its distance.",
    "plane mirror, elementary optics",
)
LIGHT_WITHOUT_DROPS = SlipName(
    "light-without-cycloplegia",
    "let an eye that can accommodate look at your light",
    "It would accommodate for your light and come out too minus. Give it the farthest target that there is.",
)
FAR_TARGET_UNDER_DROPS = SlipName(
    "far-target-under-cycloplegia",
    "kept the far target though accommodation is out",
    "With accommodation out, distance no longer matters and the axis does: looking at your light puts the eye in line.",
)


def fixation_demand(name: str) -> Step:
    """Step: the distance in cm under `name` to the `demand` in D that a target there makes."""

    def says(known: Known) -> str:
        return (
            f"A target {write_distance(known[name])} away asks for 100 ÷ {known[name]:g} = {size(known['demand'])} D."
        )

    return Step(
        skills.DISTANCE_IN_DIOPTRES,
        run=lambda known: {"demand": 100 / known[name]},
        says=says,
        slips=(
            Slip(
                skills.METRES_NOT_INVERTED,
                run=lambda known: {"demand": known[name] / 100},
                says=lambda known: f"{write_distance(known[name])} taken as {size(known['demand'])} D.",
                live=lambda known: abs(known[name] - 100) > 2,
            ),
        ),
    )


# --- the patient looked near -------------------------------------------------------------------------------------


def _draw_near(chance: Chance, settings: Settings) -> dict[str, Any]:
    lag = 0.0 if settings.level == "novice" else chance.among((0.0, 0.25, 0.5, 0.75))
    near = chance.happens(0.6)
    return {
        "rx": pick_lens(chance, settings, cylinder=(0.5, 3)).in_form(settings.form),
        "fixation_cm": pick_distance(chance, settings) if near else chance.among((100.0, 125.0, 150.0, 200.0, 250.0)),
        "lag": lag,
    }


def _response_words(known: Known) -> str:
    demand, lag, response = known["demand"], known["lag"], known["response"]
    if not lag:
        return f"The eye answers all of it: {size(response)} D."
    if lag > demand:
        return f"A lag of {size(lag)} D is more than the target asks for: the eye answers none of it."
    digits = adding_up(response, demand, -lag)
    return f"The eye answers {digits.size(demand)} − {digits.size(lag)} = {digits.result_size(response)} D of it."


def _shifted(known: Known, sphere: float, cylinder: float) -> dict[str, Any]:
    """Add so many times the response to sphere and cylinder."""
    rx, by = known["rx"], known["response"]
    return {"written": SphCyl(rx.sphere + sphere * by, rx.cylinder + cylinder * by, rx.axis)}


def _written(known: Known) -> str:
    return as_written(known["written"])


fixation_near = CaseType(
    id="fixation-near",
    title="The patient looked near",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group(
        (
            Field("rx", "True net prescription of the eye", Lens()),
            Field("fixation_cm", "How far away the patient looked", Distance()),
            Field("lag", "By how much the eye answers less than asked", Size(high=3.0), default=0.0),
        )
    ),
    asks=(Field("prescription", "Net prescription that will be written", Lens()),),
    draw=_draw_near,
    begin=lambda _: {},
    steps=(
        fixation_demand("fixation_cm"),
        Step(
            skills.ACCOMMODATIVE_RESPONSE,
            run=lambda known: {"response": max(known["demand"] - known["lag"], 0.0)},
            says=_response_words,
            slips=(
                Slip(
                    skills.LAG_ADDED,
                    run=lambda known: {"response": known["demand"] + known["lag"]},
                    says=lambda known: f"The lag added: {size(known['response'])} D.",
                    live=lambda known: known["lag"] > 0,
                ),
                Slip(
                    LAG_LEFT_OUT,
                    run=lambda known: {"response": known["demand"]},
                    says=lambda known: f"All of it answered: {size(known['response'])} D.",
                    live=lambda known: known["lag"] > 0,
                ),
            ),
        ),
        Step(
            SHIFT_FOR_ACCOMMODATION,
            run=lambda known: _shifted(known, -1, 0),
            says=lambda known: (
                f"Both meridians come out {size(known['response'])} D more minus, so the sphere alone changes: "
                f"{_written(known)}."
            ),
            slips=(
                Slip(
                    ACCOMMODATION_ADDED,
                    run=lambda known: _shifted(known, 1, 0),
                    says=lambda known: f"{size(known['response'])} added: {_written(known)}.",
                ),
                Slip(
                    ACCOMMODATION_AS_CYLINDER,
                    run=lambda known: _shifted(known, 0, -1),
                    says=lambda known: f"{size(known['response'])} taken off one meridian: {_written(known)}.",
                ),
                Slip(
                    FIXATION_LEFT_OUT,
                    run=lambda known: _shifted(known, 0, 0),
                    says=lambda known: f"Left as it is: {_written(known)}.",
                ),
            ),
        ),
    ),
    answer=lambda known: {"prescription": known["written"]},
    found=lambda known: (
        f"The eye's true net prescription is {as_written(known['rx'])}.",
        f"While you sweep, the patient looks at something {write_distance(known['fixation_cm'])} away with the other "
        "eye, which wears its full correction for far.",
        f"Both eyes accommodate alike for it, with a lag of {size(known['lag'])} D."
        if known["lag"]
        else "Both eyes accommodate alike for it, by just what it asks.",
        "You neutralise, and take your working distance off as you should.",
    ),
    question=lambda _: "Which net prescription do you write down?",
    figure=lambda known, uid: looking_at(fixation_cm=known["fixation_cm"], uid=uid),
    form=lambda known: "plus" if known["rx"].cylinder > 0 else "minus",
    needs=("net-sphere",),
    sources=("a published mock examination station, part b(i); definition of vergence in air, ISO 13666",),
)

# --- what to look at ---------------------------------------------------------------------------------------------

TARGETS = Choice(
    (
        Option("own-eyes", "the patient's own eyes in the mirror"),
        Option("switch", "the switch at the end of the room"),
        Option("light", "your light"),
    )
)


def _draw_target(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        end = chance.stepped(300, 600, 50)
        room = {
            "drops": "working" if chance.happens(0.4) else "none",
            "mirror_cm": chance.stepped(150, min(end, 350), 50),
            "switch_cm": end,
            "distance_cm": pick_distance(chance, settings),
        }
        # Nor may they be where the image is taken to lie at the mirror: that slip would lead to either.
        if not _equally_far(room) and room["mirror_cm"] != room["switch_cm"]:
            return room


def _equally_far(known: Known) -> bool:
    """Say whether own eyes in the mirror and the switch are as far as each other, to the centimetre."""
    return bool(abs(2 * known["mirror_cm"] - known["switch_cm"]) < 1)


def _begin_target(findings: Known) -> dict[str, Any]:
    if findings["drops"] == "none" and _equally_far(findings):
        raise OutOfRange(
            "mirror",
            write_distance(findings["mirror_cm"]),
            f"in it the patient's own eyes are {write_distance(2 * findings['mirror_cm'])} away, as far as the switch, "
            "so that either target is right; move one of them",
        )
    return {}


def _own_eyes_change_it(known: Known) -> bool:
    return bool(2 * known["mirror_cm"] > known["switch_cm"])


def _farther(known: Known) -> dict[str, Any]:
    if known["image_cm"] >= known["switch_cm"]:
        return {"target": "own-eyes", "target_cm": known["image_cm"]}
    return {"target": "switch", "target_cm": known["switch_cm"]}


def _light(known: Known) -> dict[str, Any]:
    return {"target": "light", "target_cm": known["distance_cm"]}


def _chosen(known: Known) -> dict[str, Any]:
    return _light(known) if known["task"] == "axis" else _farther(known)


def _chosen_words(known: Known) -> str:
    words = f"{TARGETS.write(known['target'])}, {write_distance(known['target_cm'])} away".capitalize()
    if known["task"] == "axis":
        return f"{words}: that puts the eye's axis on your sight hole."
    return f"{words}: the farther of the two far ones."


fixation_target = CaseType(
    id="fixation-target",
    title="What the patient looks at",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            Field("drops", "Cycloplegic drops", DROPS, default="none"),
            Field("mirror_cm", "Eye to the mirror", Distance(low=30.0)),
            Field("switch_cm", "Eye to the switch at the end of the room", Distance(low=30.0)),
            DISTANCE,
        )
    ),
    asks=(
        Field("target", "What should the patient look at?", TARGETS),
        Field("demand", "What that target asks of an eye that can accommodate", Power(exact=0.03, tolerance=0.06)),
    ),
    draw=_draw_target,
    begin=_begin_target,
    steps=(
        Step(
            FIXATION_TASK,
            run=lambda known: {"task": "axis" if known["drops"] == "working" else "relax"},
            says=lambda known: (
                "Accommodation is out, so fixation has one task left: to bring the visual axis onto your sight hole."
                if known["task"] == "axis"
                else "This eye can accommodate, so the target must ask for as little as can be."
            ),
            slips=(
                Slip(
                    LIGHT_WITHOUT_DROPS,
                    run=lambda _: {"task": "axis"},
                    says=lambda _: "Only the axis thought of.",
                    live=lambda known: known["drops"] == "none",
                ),
                Slip(
                    FAR_TARGET_UNDER_DROPS,
                    run=lambda _: {"task": "relax"},
                    says=lambda _: "Taken as an eye that can accommodate.",
                    live=lambda known: known["drops"] == "working",
                ),
            ),
        ),
        Step(
            MIRROR_DOUBLES,
            run=lambda known: {"image_cm": 2 * known["mirror_cm"]},
            says=lambda known: (
                f"The patient's own eyes are seen as far behind the mirror as they are before it: "
                f"{write_distance(known['image_cm'])} away, and level with the eye."
            ),
            slips=(
                Slip(
                    MIRROR_NOT_DOUBLED,
                    run=lambda known: {"image_cm": known["mirror_cm"]},
                    says=lambda known: f"The image taken to lie at the mirror: {write_distance(known['image_cm'])}.",
                    live=_own_eyes_change_it,
                ),
            ),
            needed=lambda known: known["task"] == "relax",
        ),
        Step(CHOOSE_TARGET, run=_chosen, says=_chosen_words),
        fixation_demand("target_cm"),
    ),
    answer=lambda known: {"target": known["target"], "demand": known["demand"]},
    found=lambda known: (
        f"Cycloplegic drops: {DROPS.write(known['drops'])}. {DROPS_CAUTION}"
        if known["drops"] == "working"
        else f"Cycloplegic drops: {DROPS.write(known['drops'])}.",
        f"A mirror hangs {write_distance(known['mirror_cm'])} from the patient, straight ahead. At the end of the "
        f"room, {write_distance(known['switch_cm'])} away, is a switch.",
        f"Your sight hole and its light are {write_distance(known['distance_cm'])} from the pupil.",
    ),
    question=lambda _: (
        "Which of these should the patient look at: own eyes in the mirror, the switch, or your light? And how many "
        "dioptres, to 0.01, would that target ask of an eye that can accommodate?"
    ),
    figure=lambda known, uid: three_targets(
        mirror_cm=known["mirror_cm"], switch_cm=known["switch_cm"], light_cm=known["distance_cm"], uid=uid
    ),
    needs=("fixation-near",),
    sources=(
        "Choice of target: common practice, no published source",
        "Demand of 0.17 D at 6 m and 0.25 D at 4 m: definition of vergence in air, ISO 13666",
    ),
)

TYPES = (fixation_near, fixation_target)
