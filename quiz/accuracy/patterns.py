"""What the accuracy log is asked: which tests, on which eyes, and the distance or angle that would explain a shift.

Words for what is found are in wording.py. The tests share one 5 % (statistics.adjusted) with weights
fixed here, before any log is seen: a distance other than the one allowed for is the likeliest and has most of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from cases.evidence.sources import cited
from cases.evidence.thresholds import Threshold
from cases.optics.schematic_eye import WIDEST_ANGLE, astigmatism_band
from cases.optics.tolerances import AXIS_AGREEMENT, SAME_EXAMINER_MEAN
from quiz.accuracy.entries import Entry, sample_of
from quiz.accuracy.sample import Floats, Sample
from quiz.accuracy.statistics import (
    Agreement,
    Line,
    MeanVector,
    adjusted,
    agreement,
    fewer_than,
    hotelling,
    less_than,
    per_patient,
    right_less_left,
    straight_line,
    t_test,
    wider_than,
)
from quiz.learning.intervals import Z95

FEWEST_EYES, FEWEST_PATIENTS = 10, 6
"""Below either, points are shown and nothing is claimed: no published source, but T² in three dimensions needs four
patients to exist and more to mean anything."""
FEWEST_IN_GROUP = 5
FEWEST_AXES = 10
FEWEST_OVER_TIME, SHORTEST_DAYS = 10, 14.0
SHARE = 0.05
WEIGHTS = {
    "distance": 0.56,
    "cylinder-level": 0.04,
    "cylinder-mirrored": 0.04,
    "cylinder-uneven": 0.03,
    "cylinder-oblique": 0.03,
    "eyes-differ": 0.03,
    "accommodation": 0.03,
    "drift": 0.01,
    "scatter": 0.01,
    "axis-scatter": 0.01,
    "mean-vector": 0.01,
}
"""Each test's share of the 5 %; the fifth that remains is for eyes that look as though the distance was left in."""
LEFT_IN_SHARE = 0.2
USUAL_SD = (SAME_EXAMINER_MEAN.high - SAME_EXAMINER_MEAN.low) / (2 * Z95)
"""SD in D of M between two measures by one examiner in a published study: scatter beyond it is called wide."""
SOURCE_OF_USUAL_SD = cited(SAME_EXAMINER_MEAN.sources)
LEFT_IN_WITHIN = 0.35
"""How near, in D, an outlying difference must be to the working distance to look as though it was left in."""

YOUNG_EYE_PLUS = 0.5
"""Up to how much more plus, in D, retinoscopy is held to read in children and youths."""

ALIKE, DRY_WET, WET_DRY = "alike", "dry-wet", "wet-dry"
"""Whether retinoscopy and end-point were done in the same state; if not, which of the two came first."""

THRESHOLDS = (
    Threshold(f"The accuracy log claims nothing from fewer than {FEWEST_EYES} eyes or {FEWEST_PATIENTS} patients"),
    Threshold(
        f"An examiner without bias is reported to have one in at most {100 * SHARE:.0f} % of logs", ("computed",)
    ),
    Threshold(f"Scatter beyond an SD of {USUAL_SD:.2f} D in M is wide", SAME_EXAMINER_MEAN.sources),
    Threshold(f"A difference within {LEFT_IN_WITHIN:.2f} D of the working distance looks as if it was left in"),
    Threshold(
        f"A shift of up to +{YOUNG_EYE_PLUS:.2f} D under 40 may be the young eye's own; studies differ",
        ("common-practice", "glickstein-millodot-1970", "jorge-2005"),
    ),
    Threshold("Accommodation is out of play under cycloplegia and from 40 years on"),
)


@dataclass(frozen=True)
class Test:
    """One question put to the log."""

    id: str
    n: int
    """Patients that it rests on."""
    p: float
    adjusted: float
    """p after sharing the 5 % with the other tests: at most 0.05 is a claim."""

    @property
    def claims(self) -> bool:
        """Whether the log says so."""
        return self.adjusted <= SHARE


@dataclass(frozen=True)
class Distance:
    """The distance that would explain a mean shift of M, in cm; None where no distance would, however far."""

    allowed_cm: float
    """What was allowed for: the commonest in the log."""
    several: bool
    """Whether the log has more than one."""
    nearer_cm: float | None
    """By how much nearer than allowed the sight hole would have been; minus: farther."""
    nearer_interval: tuple[float | None, float | None]
    """95 %: least near (None: farther without end), most near."""

    @property
    def cm(self) -> float | None:
        """The explaining distance."""
        return None if self.nearer_cm is None else self.allowed_cm - self.nearer_cm

    @property
    def interval(self) -> tuple[float, float]:
        """Its 95 % interval, infinity where it has no end."""
        least, most = self.nearer_interval
        low, high = (math.inf if one is None else self.allowed_cm - one for one in (most, least))
        return low, high


@dataclass(frozen=True)
class Evidence:
    """Everything worked out from a log; what is None could not be asked of it."""

    eyes: int
    patients: int
    basis: str
    """ALIKE, DRY_WET or WET_DRY: the eyes that the numbers rest on."""
    used: Sample
    left_out: int
    """Eyes of another basis than that."""
    forgotten: tuple[tuple[int, int], ...]
    """(place in the log, sign) of eyes off by about their own working distance: left out of the numbers."""
    M: Agreement | None = None
    J0: Agreement | None = None
    J45: Agreement | None = None
    """As it stands; `mirrored` has left eyes as in a mirror."""
    mirrored: Floats | None = None
    """Mean over patients of the mirrored vector."""
    uneven: Floats | None = None
    """Mean over patients with both eyes of right less left of the mirrored vector; third: J45 right plus left."""
    by_side: tuple[tuple[Agreement, Agreement, Agreement] | None, tuple[Agreement, Agreement, Agreement] | None] = (
        None,
        None,
    )
    """M, J0 and mirrored J45 of right and of left eyes."""
    vector: MeanVector | None = None
    distance: Distance | None = None
    line: Line | None = None
    """M over days."""
    groups: tuple[Agreement, Agreement] | None = None
    """M where accommodation may be in play, and where not."""
    axes_within: tuple[int, int] | None = None
    """Axes within the published 20°, of how many (one eye a patient)."""
    tests: tuple[Test, ...] = ()

    @property
    def enough(self) -> bool:
        """Whether anything may be claimed at all."""
        return self.M is not None

    def test(self, test_id: str) -> Test | None:
        """Return a test that was made."""
        return next((one for one in self.tests if one.id == test_id), None)

    def claims(self, test_id: str) -> bool:
        """Say whether a test was made and claims its pattern."""
        test = self.test(test_id)
        return test is not None and test.claims


def evidence_of(entries: list[Entry]) -> Evidence:
    """Work out what a log says."""
    state = np.array([ALIKE if one.wet == one.end_wet else WET_DRY if one.wet else DRY_WET for one in entries])
    kinds, counts = np.unique(state, return_counts=True)
    # The states are not mixed: accommodation would look like a distance. Ties go to like with like.
    basis = max(zip(kinds, counts, strict=True), key=lambda one: (one[1], one[0] == ALIKE))[0] if len(kinds) else ALIKE
    return weigh(sample_of(entries), state == basis, str(basis))


def weigh(log: Sample, of_basis: NDArray[np.bool_] | None = None, basis: str = ALIKE) -> Evidence:
    """Work out what a sample says; `of_basis` marks the eyes of the basis, all by default."""
    mask = np.ones(len(log), dtype=np.bool_) if of_basis is None else of_basis
    gone = forgotten(log.where(mask)) if basis == ALIKE else ()
    places = np.flatnonzero(mask)
    lost = tuple((int(places[place]), sign) for place, sign in gone)
    kept = mask.copy()
    kept[[place for place, _ in lost]] = False
    used = log.where(kept)
    head = Evidence(len(used), used.patients, basis, used, int((~mask).sum()), lost)
    if len(used) < FEWEST_EYES or used.patients < FEWEST_PATIENTS:
        return head
    return _weighed(head)


def _weighed(head: Evidence) -> Evidence:
    used, alike = head.used, head.basis == ALIKE
    mirrored = used.mirrored
    per, pairs = per_patient(mirrored, used), right_less_left(mirrored, used)
    n, both = len(per), len(pairs)
    M = agreement(used.difference[:, 0], used)
    vector = hotelling(per if alike else per[:, 1:])
    asked: dict[str, tuple[int, float]] = {
        "cylinder-level": (n, t_test(per[:, 1])),
        "cylinder-mirrored": (n, t_test(per[:, 2])),
    }
    if vector is not None:
        asked["mean-vector"] = (n, vector.p)
    if both >= FEWEST_PATIENTS:
        asked["cylinder-uneven"] = (both, t_test(pairs[:, 1]))
        asked["cylinder-oblique"] = (both, t_test(pairs[:, 2]))
    axes = _axes(used)
    if axes[1] >= FEWEST_AXES:
        asked["axis-scatter"] = (axes[1], fewer_than(*axes, AXIS_AGREEMENT[1]))
    line, groups = None, None
    if alike:
        asked["distance"] = (n, t_test(per[:, 0]))
        asked["scatter"] = (n, wider_than(M.sd, n - 1, USUAL_SD))
        if both >= FEWEST_PATIENTS:
            asked["eyes-differ"] = (both, t_test(pairs[:, 0]))
        line = _over_time(used, per[:, 0])
        if line is not None:
            asked["drift"] = (n, line.p)
        groups = _groups(used)
        if groups is not None:
            asked["accommodation"] = (len(groups[0]) + len(groups[1]), less_than(*groups))
    raised = adjusted({name: p for name, (_, p) in asked.items()}, WEIGHTS, kept_back=LEFT_IN_SHARE)
    return Evidence(
        head.eyes,
        head.patients,
        head.basis,
        used,
        head.left_out,
        head.forgotten,
        M=M,
        J0=agreement(used.difference[:, 1], used),
        J45=agreement(used.difference[:, 2], used),
        mirrored=per.mean(axis=0),
        uneven=pairs.mean(axis=0) if both >= FEWEST_PATIENTS else None,
        by_side=(_side(used, right=True), _side(used, right=False)),
        vector=vector,
        distance=explaining_distance(used, M) if alike else None,
        line=line,
        groups=None if groups is None else (_plain(groups[0]), _plain(groups[1])),
        axes_within=axes if axes[1] else None,
        tests=tuple(Test(name, *asked[name], raised[name]) for name in WEIGHTS if name in asked),
    )


def forgotten(sample: Sample) -> tuple[tuple[int, int], ...]:
    """Find eyes that stand far out, off from the others by about their own working distance: (place, sign).

    Plus: left in; minus: taken off twice. Far out is further from the median than any of this many eyes would lie by
    chance in more than one log of 200, for a normal scatter of 1.4826 × the median deviation (at least 0.15 D); since
    that median is itself uncertain, up to one log of 100 in simulation.
    Source: common practice, no published source.
    """
    if len(sample) < FEWEST_EYES:
        return ()
    M = sample.difference[:, 0]
    middle = np.median(M)
    spread = max(1.4826 * float(np.median(np.abs(M - middle))), 0.15)
    reach = float(special.ndtri(1 - LEFT_IN_SHARE * SHARE / (4 * len(sample))))
    off = np.abs(M - middle)
    out = (off > reach * spread) & (np.abs(off - 100 / sample.distance_cm) <= LEFT_IN_WITHIN)
    return tuple((int(place), 1 if M[place] > middle else -1) for place in np.flatnonzero(out))


def _side(sample: Sample, *, right: bool) -> tuple[Agreement, Agreement, Agreement] | None:
    side = sample.where(sample.right == right)
    if side.patients < FEWEST_PATIENTS:
        return None
    M, J0, J45 = (agreement(side.mirrored[:, one], side) for one in range(3))
    return M, J0, J45


def _plain(values: Floats) -> Agreement:
    """Return the agreement of one value a patient."""
    n = len(values)
    nobody = np.zeros((n, 3))
    rest = np.zeros(n)
    who = np.arange(n, dtype=np.int64)
    return agreement(values, Sample(who, who > -1, nobody, nobody, nobody, rest, rest, rest, rest))


def _over_time(sample: Sample, M: Floats) -> Line | None:
    days = per_patient(sample.day[:, None], sample)[:, 0]
    if len(days) < FEWEST_OVER_TIME or float(np.ptp(days)) < SHORTEST_DAYS:
        return None
    return straight_line(days, M)


def _groups(sample: Sample) -> tuple[Floats, Floats] | None:
    """Return M a patient where accommodation may be in play and where not, without those measured both ways."""
    share = per_patient(sample.accommodates[:, None], sample)[:, 0]
    M = per_patient(sample.difference[:, :1], sample)[:, 0]
    playing, resting = M[share == 1], M[share == 0]
    if min(len(playing), len(resting)) < FEWEST_IN_GROUP:
        return None
    return playing, resting


def cylinders_and_axes(sample: Sample) -> tuple[Floats, Floats]:
    """Return for each eye the mean of the two cylinders in D, and how far retinoscopy's axis is turned, −90..90°."""
    half = sample.difference[:, 1:] / 2
    ret, end = sample.middle[:, 1:] + half, sample.middle[:, 1:] - half
    sizes = np.hypot(*ret.T) + np.hypot(*end.T)
    turn = np.degrees(np.arctan2(ret[:, 1], ret[:, 0]) - np.arctan2(end[:, 1], end[:, 0])) / 2
    return sizes, np.asarray((turn + 90) % 180 - 90, dtype=np.float64)


def _axes(sample: Sample) -> tuple[int, int]:
    """Count axes within the published degrees, and of how many: each patient's first eye with enough cylinder."""
    within, _, least = AXIS_AGREEMENT
    sizes, turns = cylinders_and_axes(sample)
    strong = np.flatnonzero(sizes >= least - 1e-9)
    _, first = np.unique(sample.patient[strong], return_index=True)
    mine = turns[strong][first]
    return int((np.abs(mine) <= within + 1e-9).sum()), len(mine)


# --- what would explain it ---------------------------------------------------------------------------------------


def explaining_distance(sample: Sample, M: Agreement) -> Distance:
    """Return the distance that would explain the mean shift of M, with its 95 % interval.

    A sight hole x cm nearer than the d allowed for makes what is written too plus by 100/(d − x) − 100/d; with several
    distances in the log, x is the one whose mean over patients is the shift. The ends of the interval are those of the
    mean's, since x grows with the shift. Source: definition of vergence in air, ISO 13666.
    """
    allowed, times = np.unique(sample.distance_cm, return_counts=True)
    usual = float(allowed[int(times.argmax())])
    share = np.bincount(np.searchsorted(allowed, sample.distance_cm), weights=sample.weight) / sample.weight.sum()
    mean, low, high = (_nearer(shift, allowed, share) for shift in (M.mean, M.mean_interval.low, M.mean_interval.high))
    # The upper end is never without a distance unless the mean is.
    return Distance(usual, len(allowed) > 1, mean, (low, high))


def _nearer(shift: float, allowed: Floats, share: Floats) -> float | None:
    """Solve mean(100/(d − x) − 100/d) = shift for x in cm; None when even an endless distance gives more."""
    base = float((share * 100 / allowed).sum())
    if shift + base <= 1e-6:
        return None
    if len(allowed) == 1:
        return float(allowed[0]) - 100 / (base + shift)
    nearest = float(allowed.min())

    def over(x: float) -> float:
        return float((share * 100 / (allowed - x)).sum()) - base - shift

    return float(optimize.brentq(over, nearest - 2e8, nearest - 1e-7, xtol=1e-6))


@cache
def _bands() -> tuple[tuple[float, float, float], ...]:
    return tuple(
        (angle, *astigmatism_band(angle)) for angle in (float(one) / 2 for one in range(1, int(2 * WIDEST_ANGLE) + 1))
    )


def explaining_angle(cylinder: float) -> tuple[float, float | None]:
    """Return from how many to how many degrees off the axis an eye may gain this cylinder (D, without sign).

    To half a degree, from the band of schematic eyes (cases.optics.schematic_eye); None where even the widest angle may
    give less.
    """
    size = abs(cylinder)
    least = next((angle for angle, _, most in _bands() if most >= size), WIDEST_ANGLE)
    most = next((angle for angle, little, _ in _bands() if little >= size), None)
    return least, most


def mean_end_point(sample: Sample) -> Floats:
    """Return the mean over patients of the end-points' (M, J0, J45) in D."""
    return np.asarray(per_patient(sample.end_point, sample).mean(axis=0), dtype=np.float64)
