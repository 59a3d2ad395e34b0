"""The numbers of the patient model, read from population.toml: how each depends on age, and what a region changes."""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

from cases.errors import CaseError
from cases.evidence.sources import check_sources

EUROPE, EAST_ASIA, LESS_PLUS = "europe", "east-asia", "less-plus"
REGIONS = (EUROPE, EAST_ASIA, LESS_PLUS)
"""`less-plus`: children with less hyperopia than those of Europe, as African-American preschool children have."""


class BadPopulation(CaseError):
    """population.toml breaks its own rules, or a region is unknown."""


@dataclass(frozen=True)
class Curve:
    """A quantity by age in years: straight lines between the knots, level outside them."""

    ages: tuple[float, ...]
    values: tuple[float, ...]

    def __call__(self, age_y: float) -> float:
        """Return the value at this age."""
        place = bisect_right(self.ages, age_y)
        if place == 0:
            return self.values[0]
        if place == len(self.ages):
            return self.values[-1]
        low, high = self.ages[place - 1], self.ages[place]
        share = (age_y - low) / (high - low)
        return self.values[place - 1] + share * (self.values[place] - self.values[place - 1])


@dataclass(frozen=True)
class Population:
    """Every number of the model, for one region. Units are at the head of population.toml."""

    core_mean: Curve
    core_sd: Curve
    p_hyper: Curve
    hyper_scale: Curve
    p_myope: Curve
    myope_shift: float
    myope_shape: float
    myope_scale: Curve
    eye_difference_sd: Curve
    p_unequal: Curve
    unequal_times: float
    j0_mean: Curve
    j_core: Curve
    p_astigmatic: Curve
    astigmatic_scale: Curve
    p_with_the_rule: Curve
    tail_turn: float
    p_one_eye_more: Curve
    j45_ratio: float
    common_share_j0: float
    common_share_j45: float
    cylinder_with_ametropia: float
    latent_f: Curve
    latent_base: float
    latent_per_plus: float
    latent_sd: float
    amplitude_top: float
    amplitude_fall: float
    amplitude_sd: float
    response_slope: float
    response_lead: float
    response_slope_sd: float
    dark_near: Curve
    dark_near_sd: float
    fixation_lost_in_5_s: Curve
    pupil_sd_dim: float
    pupil_sd_bright: float
    pupil_with_drops: float
    pupil_with_drops_sd: float
    c40: Curve
    c40_sd: float
    peripheral_m2: float
    peripheral_m2_per_d: float
    peripheral_m2_sd: float
    mar0_logmar: Curve
    blur_k: float
    spectacles_from: Curve
    p_spectacles: Curve
    vertex: float
    vertex_sd: float
    pd_adult: float
    pd_adult_sd: float
    p_keratoconus: Curve
    p_nuclear_opacity: Curve
    p_cortical_opacity: Curve
    p_subcapsular_opacity: Curve
    p_artificial_lens: Curve
    p_corneal_surgery: Curve
    p_tear_film: Curve
    p_scar: float
    p_vitreous_haze: Curve
    p_white_reflex: Curve
    p_no_reflex: Curve
    p_nystagmus: float
    p_amblyopia: float


@cache
def population(region: str = EUROPE) -> Population:
    """Return the numbers for a region.

    Raises
    ------
    BadPopulation
        For a region that there is none of, with those that there are.
    """
    if region not in REGIONS:
        raise BadPopulation(f"region “{region[:40]}” is unknown: give one of {', '.join(REGIONS)}")
    return read_population(_tables(), region)


@cache
def _tables() -> dict[str, Any]:
    return tomllib.loads(files("cases.patients").joinpath("population.toml").read_text(encoding="utf-8"))


def read_population(tables: dict[str, Any], region: str) -> Population:
    """Make the numbers of a region from the tables of population.toml.

    Raises
    ------
    BadPopulation
        When a table is missing or left over, or has neither knots that rise in age nor a value.
    UnknownSource, BadSource
        When a source is not in evidence/sources.toml.
    """
    wanted = {one.name: one.type for one in fields(Population)}
    if odd := tables.keys() ^ wanted.keys():
        raise BadPopulation(f"population.toml: missing or not needed: {', '.join(sorted(odd))}")
    read: dict[str, Any] = {
        name: _read(name, tables[name].get(region, tables[name]), str(kind)) for name, kind in wanted.items()
    }
    return Population(**read)


CLAIMS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Mean refraction and its spread by age and region", ("core_mean", "core_sd", "myope_shift", "myope_shape")),
    ("How many are far to the minus or to the plus side", ("p_myope", "p_hyper", "hyper_scale", "myope_scale")),
    ("How unequal the two eyes are", ("eye_difference_sd", "p_unequal", "unequal_times")),
    (
        "Astigmatism: its size, its axis and its likeness in the two eyes",
        (
            *("j0_mean", "j_core", "p_astigmatic", "astigmatic_scale", "p_with_the_rule", "tail_turn"),
            *("p_one_eye_more", "j45_ratio", "common_share_j0", "common_share_j45", "cylinder_with_ametropia"),
        ),
    ),
    ("Plus that shows under cycloplegia only", ("latent_f", "latent_base", "latent_per_plus", "latent_sd")),
    ("Amplitude of accommodation, measured objectively", ("amplitude_top", "amplitude_fall", "amplitude_sd")),
    (
        "Response to a near target, and in the dark",
        ("response_slope", "response_lead", "response_slope_sd", "dark_near", "dark_near_sd"),
    ),
    ("How long a patient keeps looking at the target", ("fixation_lost_in_5_s",)),
    (
        "Pupils, dim, bright and with drops",
        ("pupil_sd_dim", "pupil_sd_bright", "pupil_with_drops", "pupil_with_drops_sd"),
    ),
    ("Spherical aberration by age", ("c40", "c40_sd")),
    ("Refraction off the axis", ("peripheral_m2", "peripheral_m2_per_d", "peripheral_m2_sd")),
    ("Vision with the best lens, and what blur takes", ("mar0_logmar", "blur_k")),
    ("Who wears spectacles for distance", ("spectacles_from", "p_spectacles")),
    ("Vertex distance and interpupillary distance", ("vertex", "vertex_sd", "pd_adult", "pd_adult_sd")),
    (
        "How many have a condition of cornea, lens or media",
        (
            *("p_keratoconus", "p_nuclear_opacity", "p_cortical_opacity", "p_subcapsular_opacity"),
            *("p_artificial_lens", "p_corneal_surgery", "p_tear_film", "p_scar", "p_vitreous_haze"),
            *("p_white_reflex", "p_no_reflex"),
        ),
    ),
    ("How many have nystagmus or amblyopia", ("p_nystagmus", "p_amblyopia")),
)
"""What the numbers claim, in words for a learner, and the tables of each claim."""


def claims() -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield what the model claims and the keys of the sources, those of every region together."""
    tables = _tables()
    for title, names in CLAIMS:
        of_regions = [
            key
            for name in names
            for table in (tables[name], *(tables[name].get(region, {}) for region in REGIONS))
            for key in table.get("sources", ())
        ]
        yield title, tuple(dict.fromkeys(of_regions))


def _read(name: str, table: dict[str, Any], kind: str) -> Curve | float:
    check_sources(tuple(table["sources"]))
    if kind == "float":
        if "value" not in table:
            raise BadPopulation(f"population.toml, {name}: give a value")
        return float(table["value"])
    # What a region gives as a value is the same at every age.
    knots = table.get("knots", [[0, table["value"]]] if "value" in table else [])
    ages = tuple(float(age) for age, _ in knots)
    if not ages or any(b <= a for a, b in pairwise(ages)):
        raise BadPopulation(f"population.toml, {name}: give knots [age, value] that rise in age")
    return Curve(ages, tuple(float(value) for _, value in knots))
