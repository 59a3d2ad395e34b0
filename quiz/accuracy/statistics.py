"""The statistics of the accuracy log: limits of agreement, ellipses, tests per patient, and how tests share 5 %.

Both eyes of one patient are not two witnesses: centres and tests are worked on one value a patient, the mean of the two
eyes, and only the limits of agreement speak of single eyes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from quiz.accuracy.sample import Floats, Sample
from quiz.learning.intervals import Z95, Interval


@dataclass(frozen=True)
class Agreement:
    """How two measures agree: mean difference and 95 % limits of agreement, each with its 95 % interval, in D."""

    mean: float
    sd: float
    """Of the difference in a single eye."""
    low: float
    high: float
    mean_interval: Interval
    low_interval: Interval
    high_interval: Interval


def limits(mean: float, sd: float, *, error: float, freedom: float) -> Agreement:
    """Work out the limits mean ± 1.96 SD and the three 95 % intervals.

    error: standard error of the mean; freedom: degrees of freedom of both. The variance of a limit is
    error² + 1.96² SD² / (2 · freedom), which for one value a patient is Bland & Altman's (1/n + 1.96²/(2(n − 1))) SD².

    Source: Bland & Altman 1999, Stat Methods Med Res 8:135, section 2.
    """
    t = t_beyond(freedom)
    spread, wide = Z95 * sd, t * math.sqrt(error**2 + (Z95 * sd) ** 2 / (2 * freedom))
    low, high = mean - spread, mean + spread
    return Agreement(
        mean=mean,
        sd=sd,
        low=low,
        high=high,
        mean_interval=Interval(mean - t * error, mean + t * error),
        low_interval=Interval(low - wide, low + wide),
        high_interval=Interval(high - wide, high + wide),
    )


def agreement(values: Floats, sample: Sample) -> Agreement:
    """Return the agreement of one difference an eye (n,), such as that of M in D, over at least two patients.

    The mean is that of the patients' means. The variance of a single eye is estimated without bias as the mean over
    patients of the mean square about it, plus the variance of the mean: with one eye a patient, the usual SD.
    The intervals go by the number of patients, not of eyes.
    """
    per = per_patient(values[:, None], sample)[:, 0]
    n, mean = len(per), float(per.mean())
    error2 = float(per.var(ddof=1)) / n
    about = float((sample.weight * (values - mean) ** 2).sum()) / n
    return limits(mean, math.sqrt(about + error2), error=math.sqrt(error2), freedom=n - 1)


def per_patient(values: Floats, sample: Sample) -> Floats:
    """Return the mean over the eyes of each patient, patients in ascending order, for values n × k."""
    _, of = np.unique(sample.patient, return_inverse=True)
    out = np.zeros((sample.patients, values.shape[1]))
    np.add.at(out, of, values * sample.weight[:, None])
    return out


def right_less_left(values: Floats, sample: Sample) -> Floats:
    """Return right less left for the patients who have both eyes in the sample, for values n × k."""
    patients, of = np.unique(sample.patient, return_inverse=True)
    sums, counts = np.zeros((2, len(patients), values.shape[1])), np.zeros((2, len(patients)))
    side = sample.right.astype(np.int64)
    np.add.at(sums, (side, of), values)
    np.add.at(counts, (side, of), 1)
    both = (counts > 0).all(axis=0)
    left, right = sums[:, both] / counts[:, both, None]
    return np.asarray(right - left, dtype=np.float64)


# --- distributions -----------------------------------------------------------------------------------------------


def t_beyond(freedom: float, share: float = 0.05) -> float:
    """Return the value that Student's t exceeds without sign in this share of cases."""
    return float(special.stdtrit(freedom, 1 - share / 2))


def t_test(values: Floats) -> float:
    """Return the two-sided p of the mean of (n,) values being zero; 1 where all are zero, 0 where all are alike."""
    n, mean, sd = len(values), float(values.mean()), float(values.std(ddof=1))
    if sd < 1e-9:
        return 1.0 if abs(mean) < 1e-9 else 0.0
    return float(2 * special.stdtr(n - 1, -abs(mean) * math.sqrt(n) / sd))


def less_than(values: Floats, others: Floats) -> float:
    """Return the one-sided p that the mean of the first values lies below that of the others, variances free.

    Source: Welch 1947, Biometrika 34:28.
    """
    a, b = values.var(ddof=1) / len(values), others.var(ddof=1) / len(others)
    gap = float(values.mean() - others.mean())
    if a + b < 1e-18:
        return 0.0 if gap < -1e-9 else 1.0
    freedom = (a + b) ** 2 / (a**2 / (len(values) - 1) + b**2 / (len(others) - 1))
    return float(special.stdtr(freedom, gap / math.sqrt(a + b)))


def wider_than(sd: float, freedom: float, usual: float) -> float:
    """Return the one-sided p that an SD with this many degrees of freedom comes from one no wider than `usual`."""
    return float(special.chdtrc(freedom, freedom * (sd / usual) ** 2))


def fewer_than(times: int, of: int, share: float) -> float:
    """Return the p of as few as `times` in `of` when each is to happen with the chance `share`."""
    return float(special.bdtr(times, of, share))


@dataclass(frozen=True)
class Line:
    """A straight line through (x, y): y = at + slope · (x − middle), with the 95 % interval and p of its slope."""

    middle: float
    at: float
    slope: float
    slope_interval: Interval
    p: float

    def value(self, x: float) -> float:
        """Return y at x."""
        return self.at + self.slope * (x - self.middle)


def straight_line(x: Floats, y: Floats) -> Line | None:
    """Fit a line by least squares through (n,) points, n ≥ 3; None when all x are alike."""
    middle, n = float(x.mean()), len(x)
    spread = float(((x - middle) ** 2).sum())
    if n < 3 or spread < 1e-9:
        return None
    slope = float(((x - middle) * y).sum()) / spread
    rest = float(((y - y.mean() - slope * (x - middle)) ** 2).sum()) / (n - 2)
    error = math.sqrt(rest / spread)
    wide = t_beyond(n - 2) * error
    p = 2 * special.stdtr(n - 2, -abs(slope) / error) if error > 1e-12 else float(abs(slope) < 1e-12)
    return Line(middle, float(y.mean()), slope, Interval(slope - wide, slope + wide), float(p))


# --- vectors -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MeanVector:
    """Hotelling's test of a mean vector against zero."""

    n: int
    """Patients."""
    dimensions: int
    """Of the vectors; fewer than given where the log never varies in some direction."""
    t_squared: float
    f: float
    p: float


def hotelling(vectors: Floats) -> MeanVector | None:
    """Test whether the mean of n vectors (n × k) is zero; None when n is not above k.

    T² = n · m' S⁻¹ m, and T² (n − k) / (k (n − 1)) is F with k and n − k degrees of freedom. A direction in which all
    vectors are zero (a log of spheres) is left out; one in which they are alike but not zero makes T² infinite.

    Source: Hotelling 1931, Ann Math Stat 2:360; Johnson & Wichern, Applied Multivariate Statistical Analysis (from
    memory).
    """
    n = len(vectors)
    if n <= vectors.shape[1]:
        return None
    mean = vectors.mean(axis=0)
    sizes, ways = np.linalg.eigh(np.cov(vectors, rowvar=False))
    along = ways.T @ mean
    varies = sizes > 1e-12
    k = int(varies.sum())
    if not varies.all() and np.abs(along[~varies]).max() > 1e-6:
        return MeanVector(n, vectors.shape[1], math.inf, math.inf, 0.0)
    if k == 0:
        return MeanVector(n, 0, 0.0, 0.0, 1.0)
    t_squared = float(n * (along[varies] ** 2 / sizes[varies]).sum())
    f = t_squared * (n - k) / (k * (n - 1))
    return MeanVector(n, k, t_squared, f, float(special.fdtrc(k, n - k, f)))


@dataclass(frozen=True)
class Ellipse:
    """An ellipse: its centre, its half axes along two directions at right angles, in D."""

    centre: tuple[float, float]
    half: tuple[float, float]
    """The longer one first."""
    angle: float
    """Of the longer half axis, degrees anticlockwise from the first coordinate."""


def ellipses(values: Floats, sample: Sample) -> tuple[Ellipse, Ellipse]:
    """Return the 95 % ellipse of a single eye and that of the mean, for n × 2 values over at least four patients.

    The first is the bivariate likeness of limits of agreement (χ² with 2 degrees of freedom); the second the
    confidence region 2(n − 1)/(n(n − 2)) · F(2, n − 2), n patients. Source: Johnson & Wichern (from memory).
    """
    per = per_patient(values, sample)
    n, mean = len(per), per.mean(axis=0)
    error = np.cov(per, rowvar=False) / n
    off = values - mean
    single = (sample.weight[:, None] * off).T @ off / n + error
    reach = special.fdtri(2, n - 2, 0.95) * 2 * (n - 1) / (n - 2)
    return _ellipse(mean, single * special.chdtri(2, 0.05)), _ellipse(mean, error * reach)


def _ellipse(centre: Floats, form: Floats) -> Ellipse:
    sizes, ways = np.linalg.eigh(form)
    long, short = np.sqrt(np.maximum(sizes[::-1], 0))
    way: NDArray[np.float64] = ways[:, 1]
    return Ellipse(
        (float(centre[0]), float(centre[1])),
        (float(long), float(short)),
        math.degrees(math.atan2(float(way[1]), float(way[0]))) % 180,
    )


# --- many tests, one 5 % -----------------------------------------------------------------------------------------


def adjusted(ps: Mapping[str, float], weights: Mapping[str, float], *, kept_back: float = 0.0) -> dict[str, float]:
    """Return each p raised so that all tests together claim anything wrongly in no more than the share of one.

    Tests are put in order of p / weight; each is multiplied by the weight of all that are not yet passed, over its own,
    and none comes out below the one before. With equal weights it is Holm's procedure; a heavier test, chosen
    beforehand, is heard more readily. `kept_back` is the weight of claims that are made without such a p.

    Source: Holm 1979, Scand J Stat 6:65 (its section on weights).
    """
    out: dict[str, float] = {}
    left, floor = math.fsum((kept_back, *(weights[name] for name in ps))), 0.0
    for name in sorted(ps, key=lambda one: (ps[one] / weights[one], one)):
        floor = max(floor, min(1.0, ps[name] * left / weights[name]))
        out[name] = floor
        left -= weights[name]
    return out
