"""Every claim that the project makes to a learner, with the keys of the sources that it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from cases.curriculum.register import all_slips, all_types, loaded_families
from cases.evidence.sources import COMMON
from cases.evidence.thresholds import Threshold
from cases.optics.appearance import PUPIL_MM
from cases.optics.norms import NORMS
from cases.optics.reflex import NEUTRAL_ZONE
from cases.optics.schematic_eye import MEASURED_SCATTER
from cases.optics.tolerances import AGREEMENT, AXIS_AGREEMENT, LENS_TABLES
from cases.optics.vergence import CLINIC_SLACK, USUAL_CM
from cases.patients.population import claims as population_claims
from cases.procedure.kinds import Lens
from cases.recall.prompts import all_prompts

TYPES, SLIPS, PROMPTS = "Case types", "Slips by name", "Recall prompts"
NORMS_SET, THRESHOLDS, LIMITS = "Norms", "Thresholds that mark or decide", "Tables and limits of agreement"
POPULATION = "Drawn patients"
KINDS = (TYPES, SLIPS, PROMPTS, NORMS_SET, THRESHOLDS, LIMITS, POPULATION)


@dataclass(frozen=True)
class Claim:
    """One claim: of which of `KINDS` it is, what it is in words, and its sources by key."""

    kind: str
    title: str
    sources: tuple[str, ...]


@cache
def all_claims() -> tuple[Claim, ...]:
    """Return every claim, kind by kind."""
    return (
        *(Claim(TYPES, one.title, one.sources) for one in all_types().values()),
        *(
            Claim(SLIPS, f"{one.title[:1].upper()}{one.title[1:]}", one.sources)
            for one in sorted(all_slips().values(), key=lambda one: one.title)
        ),
        *(Claim(PROMPTS, one.question, one.sources) for one in all_prompts()),
        *(Claim(NORMS_SET, one.label, one.sources) for one in NORMS),
        *(Claim(THRESHOLDS, one.says, one.sources) for one in _thresholds()),
        *(Claim(LIMITS, one.title, one.sources) for one in LENS_TABLES),
        *(Claim(LIMITS, f"{one.compared}: {one.measure}", one.sources) for one in AGREEMENT),
        *(Claim(POPULATION, title, sources) for title, sources in population_claims()),
    )


def _thresholds() -> Iterator[Threshold]:
    """Yield the fixed values by which answers are marked and cases judged: those that all types share, then others."""
    lens, (axes_within, _, axes_from) = Lens(), AXIS_AGREEMENT
    yield Threshold(f"A power within {lens.tolerance:g} D of the right one counts")
    yield Threshold(f"An axis counts while the cylinder that its error leaves stays within {lens.residual:.2f} D")
    yield Threshold(f"Neutral is a zone: {NEUTRAL_ZONE:g} D to either side", ("jpn-2010", COMMON))
    yield Threshold(f"A working distance within {CLINIC_SLACK:g} D of a quarter dioptre is rounded to it")
    yield Threshold(f"Working distances from {USUAL_CM[0]:g} to {USUAL_CM[1]:g} cm are usual")
    yield Threshold(f"A pupil in a dim room is {PUPIL_MM:g} mm wide")
    yield Threshold(
        f"Axes are compared from {axes_from:.2f} DC up, and may differ by {axes_within:g}°", ("mccullough-2017",)
    )
    yield Threshold(
        f"Astigmatism off the axis is known within a factor of {MEASURED_SCATTER:g}", ("off-axis-optics", COMMON)
    )
    for module in loaded_families()[0]:
        yield from getattr(module, "THRESHOLDS", ())
