"""Family E, fixation: what looking near does to the finding, and which target keeps accommodation and axis still."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.drawn_eyes import patient_lens
from cases.curriculum.shared_keys import DEMAND
from cases.curriculum.sighting import FAMILY
from cases.curriculum.steps import (
    DISTANCE,
    DROPS,
    DROPS_CAUTION,
    as_written,
    fixation_demand,
    pick_distance,
    size,
)
from cases.errors import OutOfRange
from cases.figures.room import looking_at, three_targets
from cases.notation.prescription import write_distance
from cases.notation.sums import adding_up
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SHIFT_FOR_ACCOMMODATION = Skill("shift-for-accommodation", "carrying accommodation into both meridians")
FIXATION_TASK = Skill("fixation-task", "knowing what fixation must do in this eye")
MIRROR_DOUBLES = Skill("mirror-doubles", "placing an image behind the mirror")
CHOOSE_TARGET = Skill("choose-target", "choosing what the patient looks at")

FIXATION_LEFT_OUT = SlipName(
    "fixation-left-out",
    "took the result as if the patient had looked far",
    "Taking the working distance off allows for where you sit. Where the patient looks is a second matter: the eye "
    "accommodates for it.",
    ("mock-station", "student-pearl"),
)
ACCOMMODATION_ADDED = SlipName(
    "accommodation-adds-plus",
    "let accommodation add plus",
    "Accommodation makes the eye stronger, as if more short-sighted, so the result goes towards minus.",
    ("mock-station",),
)
ACCOMMODATION_AS_CYLINDER = SlipName(
    "accommodation-in-one-meridian",
    "let accommodation act in one meridian only",
    "It shifts both meridians equally. If the cylinder changed, look again at the fixation.",
)
LAG_LEFT_OUT = SlipName(
    "lag-left-out",
    "let the eye answer the whole demand",
    "With a lag the eye accommodates less than the target asks for.",
)
MIRROR_NOT_DOUBLED = SlipName(
    "mirror-not-doubled",
    "took the image to lie at the mirror",
    "An image is as far behind the mirror as the object is in front of it: your own eyes are seen at twice the "
    "mirror's distance.",
    ("computed",),
)
LIGHT_WITHOUT_DROPS = SlipName(
    "light-without-cycloplegia",
    "let an eye that can accommodate look at your light",
    "It would accommodate for your light and come out too minus. Give it the farthest target available.",
)
FAR_TARGET_UNDER_DROPS = SlipName(
    "far-target-under-cycloplegia",
    "kept the far target though accommodation is relaxed by drops",
    "With accommodation relaxed, distance no longer matters and the axis does: looking at your light puts the eye in "
    "line.",
)


# --- the patient looked near -------------------------------------------------------------------------------------

RX = Field("rx", "True net prescription of the eye", Lens())
FIXATION = Field("fixation_cm", "How far away the patient looked", quantities.DISTANCE)
LAG = Field("lag", "By how much the eye answers less than asked", quantities.SIZE.having(high=3.0), default=0.0)
PRESCRIPTION = Field("prescription", "Net prescription that will be written", Lens())
RESPONSE = Key[float]("response", unit="D")
WRITTEN = Key[SphCyl]("written")


def _draw_near(chance: Chance, settings: Settings) -> dict[str, Any]:
    lag = 0.0 if settings.level == "novice" else chance.among((0.0, 0.25, 0.5, 0.75))
    near = chance.happens(0.6)
    return given(RX, FIXATION, LAG).to(
        patient_lens(chance, settings, cylinder=(0.5, 3)).in_form(settings.form),
        pick_distance(chance, settings) if near else chance.among((100.0, 125.0, 150.0, 200.0, 250.0)),
        lag,
    )


@given(DEMAND, LAG, RESPONSE)
def _response_words(demand: float, lag: float, response: float) -> str:
    if not lag:
        return f"The eye answers all of it: {size(response)} D."
    if lag > demand:
        return f"A lag of {size(lag)} D is more than the target asks for: the eye answers none of it."
    digits = adding_up(response, demand, -lag)
    return f"The eye answers {digits.size(demand)} − {digits.size(lag)} = {digits.result_size(response)} D of it."


def _shifted(sphere: float, cylinder: float) -> Rule[SphCyl]:
    """Add this many times the response to sphere and cylinder."""
    return given(RX, RESPONSE)(lambda rx, by: SphCyl(rx.sphere + sphere * by, rx.cylinder + cylinder * by, rx.axis))


fixation_near = CaseType(
    id="fixation-near",
    title="The patient looked near",
    family=FAMILY,
    level="competent",
    seconds=15,
    findings=Group((RX, FIXATION, LAG)),
    asks=(PRESCRIPTION,),
    draw=_draw_near,
    steps=(
        fixation_demand(FIXATION),
        RESPONSE.step(
            skills.ACCOMMODATIVE_RESPONSE,
            run=given(DEMAND, LAG)(lambda demand, lag: max(demand - lag, 0.0)),
            says=_response_words,
            slips=(
                Slip(
                    skills.LAG_ADDED,
                    run=given(DEMAND, LAG)(lambda demand, lag: demand + lag),
                    says=given(RESPONSE)(lambda response: f"The lag added: {size(response)} D."),
                    live=given(LAG)(lambda lag: lag > 0),
                ),
                Slip(
                    LAG_LEFT_OUT,
                    run=given(DEMAND)(lambda demand: demand),
                    says=given(RESPONSE)(lambda response: f"All of it answered: {size(response)} D."),
                    live=given(LAG)(lambda lag: lag > 0),
                ),
            ),
        ),
        WRITTEN.step(
            SHIFT_FOR_ACCOMMODATION,
            run=_shifted(-1, 0),
            says=given(RESPONSE, WRITTEN)(
                lambda response, written: (
                    f"Both meridians come out {size(response)} D more minus, so the sphere alone changes: "
                    f"{as_written(written)}."
                )
            ),
            slips=(
                Slip(
                    ACCOMMODATION_ADDED,
                    run=_shifted(1, 0),
                    says=given(RESPONSE, WRITTEN)(
                        lambda response, written: f"{size(response)} added: {as_written(written)}."
                    ),
                ),
                Slip(
                    ACCOMMODATION_AS_CYLINDER,
                    run=_shifted(0, -1),
                    says=given(RESPONSE, WRITTEN)(
                        lambda response, written: f"{size(response)} taken off one meridian: {as_written(written)}."
                    ),
                ),
                Slip(
                    FIXATION_LEFT_OUT,
                    run=_shifted(0, 0),
                    says=given(WRITTEN)(lambda written: f"Left as it is: {as_written(written)}."),
                ),
            ),
        ),
    ),
    answer=PRESCRIPTION.by(given(WRITTEN)(lambda written: written)),
    found=given(RX, FIXATION, LAG)(
        lambda rx, fixation_cm, lag: (
            f"The eye's true net prescription is {as_written(rx)}.",
            f"While you sweep, the patient looks at something {write_distance(fixation_cm)} away with the other "
            "eye, which wears its full correction for far.",
            f"Both eyes accommodate equally for it, with a lag of {size(lag)} D."
            if lag
            else "Both eyes accommodate equally for it, by just what it asks.",
            "You neutralise, and take your working distance off as you should.",
        )
    ),
    question=asking("Which net prescription do you write down?"),
    figure=given(FIXATION).drawing(lambda uid, fixation_cm: looking_at(fixation_cm=fixation_cm, uid=uid)),
    form=given(RX)(lambda rx: "plus" if rx.cylinder > 0 else "minus"),
    needs=("net-sphere",),
    sources=("mock-station", "computed"),
)

# --- what to look at ---------------------------------------------------------------------------------------------

TARGETS = Choice(
    (
        Option(
            "own-eyes",
            "the patient's own eyes in the mirror",
            "the eye can accommodate and the mirror image is the farther target, at twice the mirror's distance",
        ),
        Option(
            "switch",
            "the switch at the end of the room",
            "the eye can accommodate and the switch is the farther target",
        ),
        Option(
            "light",
            "your light",
            "accommodation is relaxed, so that the target has only to bring the eye's axis onto your sight hole",
        ),
    )
)


DROPS_GIVEN = Field("drops", "Cycloplegic drops", DROPS, default="none")
MIRROR = Field("mirror_cm", "Eye to the mirror", quantities.DISTANCE.having(low=30.0))
SWITCH = Field("switch_cm", "Eye to the switch at the end of the room", quantities.DISTANCE.having(low=30.0))
TARGET = Field("target", "What should the patient look at?", TARGETS)
WOULD_ASK = Field(
    "demand",
    "What that target asks of an eye that can accommodate",
    quantities.POWER.having(exact=0.03, tolerance=0.06),
)
TASK = Key[str]("task")
IMAGE_CM = Key[float]("image_cm", unit="cm")
TARGET_CM = Key[float]("target_cm", unit="cm")


def _draw_target(chance: Chance, settings: Settings) -> dict[str, Any]:
    while True:
        end = chance.stepped(150, 600, 25)
        drops, mirror = "working" if chance.happens(0.4) else "none", chance.stepped(75, min(end, 350), 25)
        distance = pick_distance(chance, settings)
        # Nor may they be where the image is taken to lie at the mirror: that slip would lead to either.
        if abs(50 / mirror - 100 / end) >= TARGETS_APART and mirror != end:
            return given(DROPS_GIVEN, MIRROR, SWITCH, DISTANCE).to(drops, mirror, end, distance)


TARGETS_APART = 0.12
"""In D: two far targets that ask for more nearly the same are equally good, and are not drawn."""


def _equally_far(mirror_cm: float, switch_cm: float) -> bool:
    """Say whether own eyes in the mirror and the switch are as far as each other, to the centimetre."""
    return abs(2 * mirror_cm - switch_cm) < 1


@given(DROPS_GIVEN, MIRROR, SWITCH)
def _one_is_farther(drops: str, mirror_cm: float, switch_cm: float) -> None:
    if drops == "none" and _equally_far(mirror_cm, switch_cm):
        raise OutOfRange(
            "mirror",
            write_distance(mirror_cm),
            f"in it the patient's own eyes are {write_distance(2 * mirror_cm)} away, as far as the switch, so that "
            "either target is right; move one of them",
        )


@given(MIRROR, SWITCH)
def _own_eyes_change_it(mirror_cm: float, switch_cm: float) -> bool:
    return 2 * mirror_cm > switch_cm


@given(TASK, IMAGE_CM, SWITCH, DISTANCE)
def _chosen(task: str, image_cm: float, switch_cm: float, distance_cm: float) -> tuple[str, float]:
    if task == "axis":
        return "light", distance_cm
    return ("own-eyes", image_cm) if image_cm >= switch_cm else ("switch", switch_cm)


@given(TARGET, TARGET_CM, TASK)
def _chosen_words(target: str, target_cm: float, task: str) -> str:
    words = f"{TARGETS.write(target)}, {write_distance(target_cm)} away".capitalize()
    if task == "axis":
        return f"{words}: that puts the eye's axis on your sight hole."
    return f"{words}: the farther of the two far ones."


fixation_target = CaseType(
    id="fixation-target",
    title="What the patient looks at",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((DROPS_GIVEN, MIRROR, SWITCH, DISTANCE)),
    asks=(TARGET, WOULD_ASK),
    draw=_draw_target,
    holds=_one_is_farther,
    # An image at the mirror, until the step that doubles it: under drops that step is passed over.
    begin=IMAGE_CM.by(given(MIRROR)(lambda mirror_cm: mirror_cm)),
    steps=(
        TASK.step(
            FIXATION_TASK,
            run=given(DROPS_GIVEN)(lambda drops: "axis" if drops == "working" else "relax"),
            says=given(TASK)(
                lambda task: (
                    "Accommodation is relaxed by drops, so fixation has one task left: to bring the visual axis "
                    "onto your sight hole."
                    if task == "axis"
                    else "This eye can accommodate, so the target must ask for as little as can be."
                )
            ),
            slips=(
                Slip(
                    LIGHT_WITHOUT_DROPS,
                    run=given()(lambda: "axis"),
                    says=given()(lambda: "Only the axis thought of."),
                    live=given(DROPS_GIVEN)(lambda drops: drops == "none"),
                ),
                Slip(
                    FAR_TARGET_UNDER_DROPS,
                    run=given()(lambda: "relax"),
                    says=given()(lambda: "Taken as an eye that can accommodate."),
                    live=given(DROPS_GIVEN)(lambda drops: drops == "working"),
                ),
            ),
        ),
        IMAGE_CM.step(
            MIRROR_DOUBLES,
            run=given(IMAGE_CM)(lambda image_cm: 2 * image_cm),
            says=given(IMAGE_CM)(
                lambda image_cm: (
                    f"The patient's own eyes are seen as far behind the mirror as they are before it: "
                    f"{write_distance(image_cm)} away, and level with the eye."
                )
            ),
            slips=(
                Slip(
                    MIRROR_NOT_DOUBLED,
                    run=given(IMAGE_CM)(lambda image_cm: image_cm),
                    says=given(IMAGE_CM)(
                        lambda image_cm: f"The image taken to lie at the mirror: {write_distance(image_cm)}."
                    ),
                    live=_own_eyes_change_it,
                ),
            ),
            needed=given(TASK)(lambda task: task == "relax"),
        ),
        given(TARGET, TARGET_CM).step(CHOOSE_TARGET, run=_chosen, says=_chosen_words),
        fixation_demand(TARGET_CM),
    ),
    answer=given(TARGET, WOULD_ASK).by(given(TARGET, DEMAND)(lambda target, demand: (target, demand))),
    found=given(DROPS_GIVEN, MIRROR, SWITCH, DISTANCE)(
        lambda drops, mirror_cm, switch_cm, distance_cm: (
            f"Cycloplegic drops: {DROPS.write(drops)}. {DROPS_CAUTION}"
            if drops == "working"
            else f"Cycloplegic drops: {DROPS.write(drops)}.",
            f"A mirror hangs {write_distance(mirror_cm)} from the patient, straight ahead. At the end of the "
            f"room, {write_distance(switch_cm)} away, is a switch.",
            f"Your sight hole and its light are {write_distance(distance_cm)} from the pupil.",
        )
    ),
    question=asking(
        "Which of these should the patient look at: own eyes in the mirror, the switch, or your light? And how many "
        "dioptres, to 0.01, would that target ask of an eye that can accommodate? This clinic has an eye look at the "
        "light where drops have relaxed accommodation, and otherwise at what asks for least."
    ),
    figure=given(MIRROR, SWITCH, DISTANCE).drawing(
        lambda uid, mirror_cm, switch_cm, distance_cm: three_targets(
            mirror_cm=mirror_cm, switch_cm=switch_cm, light_cm=distance_cm, uid=uid
        )
    ),
    needs=("fixation-near",),
    errors={MIRROR.name: 5.0, SWITCH.name: 5.0},
    sources=("computed", "common-practice"),
)

TYPES = (fixation_near, fixation_target)
