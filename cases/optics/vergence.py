"""Working distance in dioptres, exactly and as the clinic rounds it. Movement and the reflex live in reflex.py."""

from cases.errors import OutOfRange

NEAREST_CM, FARTHEST_CM = 5.0, 1000.0
"""Beyond these no distance of an examination can be meant; what is merely unusual is warned of, not refused."""

USUAL_CM = (20.0, 150.0)
"""Working distances that need no second look: common practice, no published source."""

CLINIC_STEP = 0.25
CLINIC_SLACK = 0.04
"""How far from a quarter dioptre the clinic still rounds to it: common practice (67 cm is called 1.50)."""


DISTANCE_RULE = (
    "A working distance is taken as the nearest quarter dioptre where it lies within 0.04 D of one, as in the clinic: "
    "67 cm is 1.50 D. Where a distance itself is asked for, where distances are compared and where the reflex is "
    "computed, it is exact: 67 cm is 1.49 D."
)
"""The one rule, in the words in which every page that shows a working distance in dioptres states it."""


def vergence(distance_cm: float) -> float:
    """Return the vergence +100/distance_cm in D of a distance in front of the eye.

    Source: `computed`, the definition of vergence in air.

    Raises
    ------
    OutOfRange
        Outside 5..1000 cm.
    """
    if not NEAREST_CM <= distance_cm <= FARTHEST_CM:
        raise OutOfRange(
            "distance", f"{distance_cm:g} cm", f"give centimetres between {NEAREST_CM:g} and {FARTHEST_CM:g}"
        )
    return 100 / distance_cm


def is_clinic_value(distance_cm: float) -> bool:
    """Say whether the clinic rounds this distance, in cm, to a quarter dioptre.

    Raises
    ------
    OutOfRange
        Outside 5..1000 cm, here and in every function below that takes one distance.
    """
    exact = vergence(distance_cm)
    return abs(exact - _nearest_quarter(exact)) <= CLINIC_SLACK


def working_vergence(distance_cm: float) -> float:
    """Return the dioptres that a working distance adds to the neutralising lens, as the clinic takes them.

    The nearest quarter dioptre when it lies within 0.04 D (66 and 67 cm → 1.50, 57 → 1.75, 33 → 3.00), else exactly
    100/distance_cm; take it off every meridian alike. Source: common practice, no published source; the exact value is
    the definition of vergence, ISO 13666.
    """
    exact = vergence(distance_cm)
    return _nearest_quarter(exact) if is_clinic_value(distance_cm) else exact


def near_a_metre(one_cm: float, other_cm: float) -> bool:
    """Say whether a centimetre between two distances is about a hundredth of a dioptre: their product about 1 m².

    There the slip of turning centimetres straight into dioptres does no harm. Source: 1/a − 1/b = (b − a)/ab.
    """
    return abs(one_cm * other_cm / 100**2 - 1) <= 0.2


def vergence_in_quarters(distance_cm: float) -> float:
    """Return the vergence in D to the nearest quarter, so that a lens drawn to hold it is one that a trial set has."""
    return _nearest_quarter(working_vergence(distance_cm))


def _nearest_quarter(power: float) -> float:
    return round(power / CLINIC_STEP) * CLINIC_STEP
