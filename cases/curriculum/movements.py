"""The movement of the reflex against the streak's: predicted, answered with a lens, drawn in a log of lenses."""

from __future__ import annotations

from cases.curriculum import skills
from cases.optics.lens import SphCyl
from cases.optics.reflex import NEUTRAL_ZONE
from cases.procedure import quantities
from cases.procedure.case_type import Pair
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field
from cases.procedure.keys import Key, Slip, given
from cases.procedure.kinds import Lens
from cases.procedure.lens_log import Log, Tried
from cases.procedure.randomness import Chance

MOVEMENTS = Choice(
    (
        Option("with", "with", "the reflex moves with the streak: with a plane mirror, that meridian still needs plus"),
        Option(
            "against",
            "against",
            "the reflex moves against the streak: with a plane mirror, that meridian still needs minus",
        ),
        Option("neutral", "neutral", "that meridian is neutral, or very nearly"),
    )
)
WITH_OR_AGAINST = Choice(tuple(option for option in MOVEMENTS.options if option.id != "neutral"))
NEXT = Choice(
    (
        Option(
            "plus",
            "add plus (or take minus away)",
            "the movement is with in the plane-mirror setting, or against in the concave-mirror setting",
        ),
        Option(
            "minus",
            "add minus (or take plus away)",
            "the movement is against in the plane-mirror setting, or with in the concave-mirror setting",
        ),
        Option("stop", "change nothing: this is neutral", "nothing moves and the whole pupil lights up at once"),
    )
)
BEAMS = Choice((Option("parallel", "plane-mirror setting"), Option("converging", "concave-mirror setting")))

MOVEMENT = Field("movement", "Movement of the reflex against the streak's", MOVEMENTS)
BEAM = Field("beam", "Sleeve", BEAMS, default="parallel")
STREAK = Field("streak", "Long direction of the streak", quantities.MERIDIAN, default=90.0)
IN_PLACE = Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0))
LENS = Field("lens", "What next?", NEXT)
AS_PLANE = Key[str]("as_plane")
"""The movement as it would be with a plane mirror."""

READ_SLEEVE = Skill("read-sleeve", "allowing for the sleeve's setting")

SLEEVE_MISSED = SlipName(
    "sleeve-setting-missed",
    "missed that the sleeve was in the concave-mirror setting",
    "Check the sleeve: in the concave-mirror setting the beam converges and every movement reverses.",
    ("iowa",),
)
PAST_NEUTRAL = SlipName(
    "past-neutral",
    "went past neutral",
    "Nothing moved and the pupil was bright all over: that is the end-point. Check by leaning in, not by another lens.",
)

SWAPPED_OR_SLEEVE: Pair = (
    SlipRef(READ_SLEEVE.id, SLEEVE_MISSED.id),
    SlipRef(skills.MOVEMENT_TO_LENS.id, skills.MOVEMENT_SWAPPED.id),
)
"""With the sleeve at its concave setting both turn the answer round; at the plane setting only one of them can."""

_LENS_FOR = {"with": "plus", "against": "minus", "neutral": "stop"}

OPPOSITE = {"with": "against", "against": "with", "neutral": "neutral"}
"""The movement that each is taken for by someone who confuses with and against."""


ZONE = 0.25
"""In D to either side of neutral: nearer, one sees a movement and another none. No drawn key turns on so little."""


def clear_of_zone(power_left: float) -> bool:
    """Say whether this many D still to be added show a movement to everyone, or none to anyone.

    Neutral is a zone, judged to 0.25 D at best (Jpn J Vis Sci 2010;31:48).
    """
    return abs(power_left) <= NEUTRAL_ZONE / 2 or abs(power_left) > ZONE + 1e-9


def movement_for(power_left: float) -> str:
    """Return the movement, with a plane mirror, when this many D are still to be added in that meridian.

    Plus still wanted is "with", minus "against"; within the neutral zone of reflex.py it is "neutral".
    Source: `reflex-optics`.
    """
    if abs(power_left) <= NEUTRAL_ZONE:
        return "neutral"
    return "with" if power_left > 0 else "against"


@given(MOVEMENT, BEAM, AS_PLANE)
def _sleeve_words(movement: str, beam: str, as_plane: str) -> str:
    if movement == "neutral":
        return "Neutral is neutral at either setting of the sleeve."
    if beam == "parallel":
        return f"Plane-mirror setting: {movement} is {as_plane}."
    return f"The beam converges, so {movement} means what {as_plane} would mean otherwise."


NEXT_LENS_STEPS = (
    AS_PLANE.step(
        READ_SLEEVE,
        run=given(MOVEMENT, BEAM)(lambda movement, beam: movement if beam == "parallel" else OPPOSITE[movement]),
        says=_sleeve_words,
        slips=(
            Slip(
                SLEEVE_MISSED,
                run=given(MOVEMENT)(lambda movement: movement),
                says=given(MOVEMENT)(lambda movement: f"{movement.capitalize()}, taken as it looks."),
                live=given(BEAM, MOVEMENT)(lambda beam, movement: beam == "converging" and movement != "neutral"),
            ),
        ),
    ),
    LENS.step(
        skills.MOVEMENT_TO_LENS,
        run=given(AS_PLANE)(lambda as_plane: _LENS_FOR[as_plane]),
        says=given(LENS)(
            lambda lens: {
                "plus": "With needs plus.",
                "minus": "Against needs minus.",
                "stop": "No movement: this is neutral. Stop, and check by leaning in.",
            }[lens]
        ),
        slips=(
            Slip(
                skills.MOVEMENT_SWAPPED,
                run=given(AS_PLANE)(lambda as_plane: _LENS_FOR[OPPOSITE[as_plane]]),
                says=given(LENS, AS_PLANE)(lambda lens, as_plane: f"{lens.capitalize()} given to {as_plane}."),
                live=given(AS_PLANE)(lambda as_plane: as_plane != "neutral"),
            ),
            Slip(
                PAST_NEUTRAL,
                run=given()(lambda: "plus"),
                says=given()(lambda: "More plus added at neutral."),
                live=given(AS_PLANE)(lambda as_plane: as_plane == "neutral"),
            ),
        ),
    ),
)
"""From `movement` and `beam`, the sleeve's setting, to the `lens` that comes next: plus, minus or stop."""


def draw_log(chance: Chance, centre: float, *, sides: tuple[float, ...] = (0.25, 0.5)) -> Log:
    """Draw a log of spheres whose end-point is `centre`, in D, the farthest lens first.

    sides: how far the last with and the first against may lie from the centre where no lens looked neutral.
    """
    kind = chance.among(("gap", "one", "run", "gap"))
    if kind == "gap":
        below = above = chance.among(sides)
        neutral: tuple[float, ...] = ()
    else:
        neutral = (centre,) if kind == "one" else (centre - 0.25, centre, centre + 0.25)
        edge = 0.25 if kind == "run" else 0.0
        below, above = (edge + chance.among((0.25, 0.5, 1.0)) for _ in range(2))
    fine = [
        Tried(centre - below, "with"),
        *(Tried(one, "neutral") for one in neutral),
        Tried(centre + above, "against"),
    ]
    rough = [
        Tried(centre - below - chance.among((0.5, 0.75, 1.0)), "with"),
        Tried(centre + above + chance.among((0.5, 0.75, 1.0)), "against"),
    ]
    far = Tried(centre - below - chance.among((2.0, 3.0)), "with")
    return (far, *chance.shuffled([*rough, *fine]))
