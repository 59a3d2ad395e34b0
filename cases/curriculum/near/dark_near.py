"""Family F, the dark near method: a tested allowance in place of the working distance."""

from __future__ import annotations

from typing import Any

from cases.curriculum.drawn_eyes import AGE, Sought, age_words, first_fitting
from cases.curriculum.near import FAMILY
from cases.curriculum.shared_keys import ONE_NET
from cases.curriculum.steps import lens_in_place, signed, size, subtract_sizes
from cases.figures.lenses import trial_frame
from cases.notation.prescription import write_distance
from cases.notation.sums import less
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Rule, Slip, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

DARK_ALLOWANCE = Skill("dark-allowance", "taking the tested allowance off in the dark")

FULL_DISTANCE_OFF = SlipName(
    "full-distance-off-in-dark",
    "took the whole 50 cm off",
    "In this method the tested allowance comes off and not 2.00: in the dark the eye rests a little forward, so it is "
    "already focused part of the way.",
    ("kauser-2020", "dark-focus"),
)
BOTH_OFF = SlipName(
    "distance-and-allowance-off",
    "took the 50 cm and the allowance off",
    "The allowance replaces the working distance. Take nothing else off.",
)
ALLOWANCE_LEFT_IN = SlipName(
    "allowance-left-in",
    "left the allowance in",
    "Your lens is right, but it still includes the allowance for the dark and for 50 cm. Take it off.",
)
ALLOWANCE_ADDED = SlipName(
    "allowance-added",
    "added the allowance",
    "What neutralised at 50 cm is more plus than the net: the allowance comes off.",
)
ALLOWANCE_SIGN_BLIND = SlipName(
    "allowance-sign-blind",
    "took the allowance off the size and put the sign back",
    "With a minus finding, taking plus off makes it more minus: −2.00 less 1.25 is −3.25.",
)
DARK_ONE_FIFTY = SlipName(
    "one-fifty-in-dark",
    "took off 1.50 as at two thirds of a metre",
    "1.50 belongs to two thirds of a metre in a lit room. Here the allowance of the method comes off.",
)
REMEMBERED_ALLOWANCE = SlipName(
    "allowance-from-memory",
    "took off 1.25 though the clinic's allowance is another",
    "Studies and clinics differ by age. Use the allowance given in the case.",
    ("near-comparison",),
)

DARK_CM = 50.0
ALLOWANCES = (0.75, 1.0, 1.25)
ORIGINAL_ALLOWANCE = 1.25

ADDED_OR_SIGN_BLIND: Pair = (
    SlipRef(DARK_ALLOWANCE.id, ALLOWANCE_ADDED.id),
    SlipRef(DARK_ALLOWANCE.id, ALLOWANCE_SIGN_BLIND.id),
)
"""With a minus finding, taking off its size is the same sum as adding; a plus finding parts them."""


def _draw_dark(chance: Chance, settings: Settings) -> dict[str, Any]:
    step = 0.25 if settings.level == "novice" else 0.125
    allowance = settings.norms.get("dark-near-allowance", chance.among(ALLOWANCES))
    side = chance.among(SIDES)
    # Few children are so short-sighted that a minus lens is neutral there: one case in four.
    minus = chance.happens(0.25)

    def fits(patient: Patient) -> tuple[float, float] | None:
        # In the dark the eye is focused nearer by its dark focus: less plus is neutral at 50 cm.
        gross = step * round((patient.eye(side).M + 100 / DARK_CM - patient.dark_near_d) / step)
        usable = -8 <= gross <= 12 and minus <= (gross < 0)
        return (gross, float(round(patient.age_y))) if usable else None

    found = first_fitting(chance, settings, fits, Sought((0.1, 40.0 if minus else 14.0)))
    gross, age = found or (chance.stepped(-8, 12, step), 0.0)
    return given(GROSS, ALLOWANCE, AGE).to(gross, allowance, age)


def _other_than(value: float) -> Rule[bool]:
    # Just over the tolerance of the answer, so that a clinic's own allowance near to 1.50 still leaves cases to draw.
    return given(ALLOWANCE)(lambda allowance: abs(allowance - value) > 0.07)


def _off(words: str, net: Rule[float], name: SlipName, live: Rule[bool] | None) -> Slip[float]:
    return Slip(
        name,
        run=net,
        says=given(ONE_NET)(lambda net: f"{words}: {signed(net)}."),
        live=live,
    )


GROSS = Field("gross", "Sphere that neutralised at 50 cm in the dark, the only lens in place", quantities.POWER)
ALLOWANCE = Field(
    "allowance", "The clinic's allowance for the method", quantities.SIZE.having(low=0.25, high=2.0), default=1.25
)
POWER = Field("power", "Net sphere", quantities.POWER.having(tolerance=0.06))
dark_near = CaseType(
    id="dark-near",
    title="The dark near method",
    family=FAMILY,
    level="competent",
    seconds=8,
    findings=Group(
        (
            GROSS,
            ALLOWANCE,
            AGE,
        )
    ),
    asks=(POWER,),
    draw=_draw_dark,
    steps=(
        ONE_NET.step(
            DARK_ALLOWANCE,
            run=given(GROSS, ALLOWANCE)(lambda gross, allowance: gross - allowance),
            says=given(GROSS, ALLOWANCE, ONE_NET)(
                lambda gross, allowance, net: (
                    "In the dark the tested allowance comes off in place of the distance: "
                    f"{less(gross, allowance, net)}."
                )
            ),
            slips=(
                _off(
                    "2.00 for 50 cm taken off", given(GROSS)(lambda gross: gross - 2), FULL_DISTANCE_OFF, _other_than(2)
                ),
                _off(
                    "2.00 and the allowance taken off",
                    given(GROSS, ALLOWANCE)(lambda gross, allowance: gross - 2 - allowance),
                    BOTH_OFF,
                    None,
                ),
                _off("Nothing taken off", given(GROSS)(lambda gross: gross), ALLOWANCE_LEFT_IN, None),
                _off(
                    "The allowance added",
                    given(GROSS, ALLOWANCE)(lambda gross, allowance: gross + allowance),
                    ALLOWANCE_ADDED,
                    None,
                ),
                _off(
                    "The allowance taken off the size",
                    given(GROSS, ALLOWANCE)(lambda gross, allowance: subtract_sizes(gross, allowance)),
                    ALLOWANCE_SIGN_BLIND,
                    given(GROSS)(lambda gross: gross < 0),
                ),
                _off("1.50 taken off", given(GROSS)(lambda gross: gross - 1.5), DARK_ONE_FIFTY, _other_than(1.5)),
                _off(
                    "1.25 taken off", given(GROSS)(lambda gross: gross - 1.25), REMEMBERED_ALLOWANCE, _other_than(1.25)
                ),
            ),
        ),
    ),
    answer=POWER.by(given(ONE_NET)(lambda net: net)),
    found=given(GROSS, ALLOWANCE, age_words)(
        lambda gross, allowance, age_words: (
            *age_words,
            "The room is dark. One eye is covered; the other looks at your dim light.",
            f"Every meridian is neutral with {lens_in_place(gross, 'D, the only lens in place')}.",
            f"Sight hole {write_distance(DARK_CM)} from the pupil.",
            f"The clinic's allowance for this method is {size(allowance)} D.",
        )
    ),
    question=asking("What is the net sphere?"),
    figure=given(GROSS).drawing(lambda uid, gross: trial_frame((SphCyl(gross),), uid=uid, distance_cm=DARK_CM)),
    needs=("net-sphere",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "dark-near"),),
    sources=("kauser-2020", "near-comparison"),
)

TYPES = (dark_near,)
