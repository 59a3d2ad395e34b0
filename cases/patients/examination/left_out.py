"""What was left out of an examination, or overlooked, and has no term in the ledger."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cases.optics.lens import SphCyl
from cases.patients.examination.acts import EndPoint, Examined, What
from cases.patients.examination.findings import DROPS_CONSIDERED_TO_Y
from cases.patients.examination.record import Observation, record_faults, reflex_faults
from cases.patients.examination.world import Examiner
from cases.patients.patient import SIDES, Patient, Side


def observations(patient: Patient, examined: Examined, examiner: Examiner) -> tuple[Observation, ...]:
    """Return what was left out or overlooked and has no term of its own."""
    return tuple(_observed(patient, examined, examiner))


def _observed(patient: Patient, examined: Examined, examiner: Examiner) -> Iterator[Observation]:
    unsafe = [side for side in SIDES if patient.eye(side).unsafe]
    for side in unsafe:
        yield from _before_referring(examined, side)
    yield from reflex_faults(patient, examined)
    if unsafe and not examined.end_points:
        return
    for side in SIDES:
        ends = examined.ends_of(side)
        if not ends or side in unsafe:
            continue
        if len(ends) == 1:
            yield Observation("one-meridian", f"Only one meridian of the {side} eye was called neutral.", side)
        drops = [one for one in examined.state.drops if one.side == side]
        if drops and examined.did("pupil noted") and not _between(examined, "near check", drops[0].minute, ends):
            yield Observation(
                "pupil-as-proof",
                "The pupil was taken as proof that the drops had worked. It says nothing of accommodation: "
                "look far and near.",
                side,
            )
        if not examined.did("lean in", side):
            yield Observation("no-lean-in", f"Neutral was not checked by leaning in, {side} eye.", side)
        askew = next((one.state for one in reversed(ends) if one.state.decentred_mm), None)
        if askew is not None:
            yield Observation("decentred", _prism_words(askew.sum_of_lenses(side), askew.decentred_mm), side)
    first = examined.end_points[0] if examined.end_points else None
    if first is not None and examiner.blur_d(first.state.distance_cm) >= 0.5:
        yield Observation(
            "examiner-out-of-focus",
            "You saw the reflex out of focus at this distance: readings scatter more. Wear a glass for it.",
        )
    yield from _of_drops(examined)
    if patient.age_y <= DROPS_CONSIDERED_TO_Y and not examined.state.drops and examined.end_points:
        yield Observation("no-drops-considered", "A child was measured without drops. Local rules decide on them.")
    yield from record_faults(patient, examined)


_BEFORE: dict[What, str] = {"drops": "drops were given", "end point": "it was called neutral"}


def _before_referring(examined: Examined, side: Side) -> Iterator[Observation]:
    """Yield what was done to an eye whose reflex is referred at once, before it was."""
    referred = min((one.minute for one in examined.did("refer")), default=math.inf)
    before = {one.what for one in examined.acts if one.minute < referred and one.side in (None, side)}
    done = [words for what, words in _BEFORE.items() if what in before]
    if done:
        says = f"The {side} eye has no red reflex: {' and '.join(done)} before it was referred."
        yield Observation("before-referring", says, side)


OFTEN = 3
"""So many instillations in one eye are worth a word: ours; product information and local rules decide."""


def _of_drops(examined: Examined) -> Iterator[Observation]:
    given = examined.state.drops
    if given and not any(one.what == "asked" and one.minute <= given[0].minute for one in examined.acts):
        yield Observation("not-asked", "Nothing was asked or looked at before the drops. Local rules say what.")
    for side in SIDES:
        count = sum(one.side == side for one in given)
        if count >= OFTEN:
            yield Observation(
                "drops-repeated",
                f"Drops were put into the {side} eye {count} times. Stop, and tell the clinician responsible: product "
                "information and local rules decide.",
                side,
            )


def _prism_words(lens: SphCyl, off_mm: float) -> str:
    """Say what prism a lens off its centre adds, by its mean power: Prentice's rule, the power in D for each cm."""
    prism = abs(lens.spherical_equivalent) * off_mm / 10
    return f"The lenses were {off_mm:g} mm off centre, which adds {prism:.1f} prism dioptres. It changes no power."


def _between(examined: Examined, what: str, since: float, ends: tuple[EndPoint, ...]) -> bool:
    return any(one.what == what and since < one.minute <= ends[-1].minute for one in examined.acts)
