"""Draw one coherent patient: refraction by age and region, then all that goes with it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.patients.patient import SIDES, Eye, Medium, Patient, Side, blur_of, near_a_tie, smallest_angle, written
from cases.patients.population import EUROPE, Population, population
from cases.patients.refraction import PowerVector, draw_means, with_astigmatism
from cases.patients.streams import Streams

OLDEST_Y = 100.0
CANNOT_DO_WITHOUT_D, NEARLY_ALL, FROM_Y = 2.5, 0.97, 8
"""From so much blur in D on nearly all wear spectacles, from this age in years: ours, no published source."""
PLUS_OF_A_CHILD_D, CHILD_TO_Y = 3.5, 16
"""From this mean power in D on a child up to this age needs spectacles who sees well without: ours, no source."""
OFF_AXIS_PER_DEG2 = -0.0026
"""Astigmatism off the axis in D/deg², the law of `cases.optics.reflex`."""

Refraction = tuple[PowerVector, PowerVector]
Means = tuple[float, float]
Wanted = Callable[[Refraction], bool]
WantedMeans = Callable[[Means], bool]


class BadAge(CaseError):
    """No patient is drawn of this age."""


def draw_patient(
    seed: str | int,
    *,
    age: tuple[float, float] = (0.0, 90.0),
    region: str = EUROPE,
    origin: str = "population",
    wanted: Wanted = lambda _refraction: True,
    wanted_means: WantedMeans = lambda _means: True,
    has: Medium | None = None,
    nystagmus: bool = False,
) -> Patient:
    """Draw the patient of a seed, evenly aged between two ages in years: the same on every machine.

    A refraction that is not `wanted`, or whose mean powers are not, is drawn again, at most 2,000 times, and so is one
    that lies within 1e-9 of the middle between two written ones. `has` and `nystagmus` give the patient a condition
    that chance rarely brings.

    Raises
    ------
    BadAge
        When the ages are not two of 0 to 100 in order.
    BadPopulation
        For an unknown region.
    """
    low, high = age
    if not 0 <= low <= high <= OLDEST_Y:
        raise BadAge(f"age {low:g}-{high:g}: give the lower and the higher age in years, from 0 to {OLDEST_Y:g}")
    numbers = population(region)
    for turn in range(2000):
        streams = Streams(f"{seed}" if turn == 0 else f"{seed}/again {turn}")
        age_y = low + (high - low) * streams.unit("age")
        means = draw_means(streams, age_y, numbers)
        if not wanted_means(means):
            continue
        refraction = with_astigmatism(streams, means, age_y, numbers)
        if not wanted(refraction):
            continue
        patient = _person(streams, age_y, region, refraction, numbers, has=has, nystagmus=nystagmus)
        # A condition may have moved the refraction.
        if not (wanted_means((patient.right.M, patient.left.M)) and wanted(_refraction_of(patient))):
            continue
        if not any(near_a_tie(lens) for one in SIDES for lens in _written_lenses(patient.eye(one))):
            return replace(patient, seed=f"{seed}", origin=origin)
    raise CaseError(f"patient {seed}: none of this kind can be drawn at {low:g} to {high:g} years")


def _refraction_of(patient: Patient) -> Refraction:
    right, left = (PowerVector(one.M, one.J0, one.J45) for one in (patient.right, patient.left))
    return right, left


def _written_lenses(eye: Eye) -> tuple[SphCyl, SphCyl]:
    return eye.lens, eye.dry_lens


def _person(
    streams: Streams,
    age_y: float,
    region: str,
    refraction: Refraction,
    numbers: Population,
    *,
    has: Medium | None,
    nystagmus: bool,
) -> Patient:
    sex: Literal["female", "male"] = "female" if streams.happens("sex", 0.5) else "male"
    media = {side: _media(streams, side, age_y, numbers) for side in SIDES}
    if has is not None:
        media = _given(streams, media, has)
    amplitude = _amplitude(streams, age_y, numbers)
    latent_f = numbers.latent_f(age_y)
    latent_noise = numbers.latent_sd * latent_f * streams.normal("latent")
    unsteady = nystagmus or streams.happens("nystagmus", numbers.p_nystagmus)
    amblyopic = streams.happens("amblyopia", numbers.p_amblyopia)
    worse: Side = "right" if streams.happens("amblyopia/side", 0.5) else "left"
    powers = {
        side: _with_media(streams, side, vector, media[side]) for side, vector in zip(SIDES, refraction, strict=True)
    }
    eyes = {}
    for side in SIDES:
        vector, fellow = powers[side], powers["left" if side == "right" else "right"]
        latent = latent_f * (numbers.latent_base + numbers.latent_per_plus * max(vector.M, 0)) + latent_noise
        accommodates = 0.0 if "artificial lens" in media[side] else amplitude
        lost = _vision_lost(streams, vector, fellow, amblyopic=amblyopic and side == worse, unsteady=unsteady)
        eyes[side] = _eye(
            streams, side, age_y, sex, vector, media[side], min(max(latent, 0.0), accommodates), lost, numbers
        )
    eyes = _with_spectacles(streams, age_y, eyes, amplitude, numbers)
    holds = -5 / math.log(1 - numbers.fixation_lost_in_5_s(age_y))
    patient = Patient(
        seed=streams.seed,
        origin="",
        region=region,
        age_y=age_y,
        sex=sex,
        pd_mm=_pd(streams, age_y, sex, numbers),
        iris="dark" if streams.happens("iris", 0.95 if region != EUROPE else 0.45) else "light",
        complaint="",
        history="",
        latent_f=latent_f,
        amplitude_d=amplitude,
        dark_near_d=min(max(numbers.dark_near(age_y) + numbers.dark_near_sd * streams.normal("dark near"), 0.2), 1.6),
        response_slope=min(
            max(numbers.response_slope + numbers.response_slope_sd * streams.normal("response"), 0.4), 1.1
        ),
        response_lead_d=numbers.response_lead,
        fixation_holds_s=holds / 3 if unsteady else holds,
        nystagmus=unsteady,
        right=eyes["right"],
        left=eyes["left"],
    )
    return replace(patient, complaint=_complaint(streams, patient), history=_history(patient))


def _eye(
    streams: Streams,
    side: Side,
    age_y: float,
    sex: str,
    vector: PowerVector,
    media: tuple[Medium, ...],
    latent_d: float,
    lost_logmar: float,
    numbers: Population,
) -> Eye:
    wide = streams.normal("pupil")
    mar0_logmar = numbers.mar0_logmar(age_y)
    cloudy = {"nuclear opacity": 0.2, "subcapsular opacity": 0.25, "cortical opacity": 0.06, "vitreous haze": 0.3}
    lost = lost_logmar + math.fsum(cloudy.get(one, 0.0) for one in media)
    lost += 0.25 if "keratoconus" in media else 0.1 if "scar" in media else 0.0
    lost += 1.0 if any(one in ("white reflex", "no reflex") for one in media) else 0.0
    c40 = numbers.c40(age_y) + numbers.c40_sd * streams.normal(f"{side}/aberration")
    if "artificial lens" in media:
        c40 = 0.02 * streams.normal(f"{side}/lens aberration")
    return Eye(
        M=vector.M,
        J0=vector.J0,
        J45=vector.J45,
        vertex_mm=min(max(numbers.vertex + numbers.vertex_sd * streams.normal("vertex"), 9.0), 18.0),
        pupil_dim_mm=_kept(pupil_mm(age_y, sex, luminance=1.0) + numbers.pupil_sd_dim * wide, 2.0, 8.5),
        pupil_bright_mm=_kept(pupil_mm(age_y, sex, luminance=10.0) + numbers.pupil_sd_bright * wide, 1.8, 7.5),
        pupil_drops_mm=_kept(
            numbers.pupil_with_drops + numbers.pupil_with_drops_sd * streams.normal("pupil/drops"), 4.5, 9.0
        ),
        c40_um=c40,
        peripheral_m2=numbers.peripheral_m2
        + numbers.peripheral_m2_per_d * vector.M
        + numbers.peripheral_m2_sd * streams.normal(f"{side}/periphery"),
        peripheral_j2=OFF_AXIS_PER_DEG2,
        latent_d=latent_d,
        mar0=10**mar0_logmar,
        blur_k=_kept(numbers.blur_k * math.exp(0.15 * streams.normal("blur")), 1.0, 2.0),
        best_logmar=mar0_logmar + lost,
        media=media,
        irregular_d_per_mm=_irregular(streams, side, media),
    )


def _kept(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)


def pupil_mm(age_y: float, sex: str, *, luminance: float) -> float:
    """Return the mean diameter of a pupil in mm for a field 60° across of this many cd/m², both eyes open.

    From 20 to 83 years by the formula of Watson & Yellott; below 20 the change with age is that of MacLachlan &
    Howland, joined to the formula at 20 years, which is ours. Source: `watson-2012`, `maclachlan-2002`.
    """
    flux: float = (luminance * math.pi * 30**2 / 846) ** 0.41
    d0 = 7.75 - 5.75 * flux / (flux + 2)
    adult = min(max(age_y, 20.0), 83.0)
    diameter = d0 + (adult - 28.58) * (0.02132 - 0.009562 * d0)
    if age_y < 20:
        a, b = (0.285, -0.0109) if sex == "female" else (0.181, -0.0053)
        diameter += (a * age_y + b * age_y**2) - (a * 20 + b * 400)
    return diameter


def _amplitude(streams: Streams, age_y: float, numbers: Population) -> float:
    mean = numbers.amplitude_top - numbers.amplitude_fall * max(0.0, age_y - 3) ** 2
    # The spread narrows where little is left, so that nobody of 60 accommodates.
    return max(0.0, mean + numbers.amplitude_sd * min(1.0, max(mean, 0.0) / 2) * streams.normal("amplitude"))


def _pd(streams: Streams, age_y: float, sex: str, numbers: Population) -> float:
    """Draw an interpupillary distance in mm. Source below 19 years: `maclachlan-2002`, its regression from memory."""
    z = streams.normal("pd")
    if age_y >= 19:
        return numbers.pd_adult + (1.2 if sex == "male" else -1.2) + 0.93 * numbers.pd_adult_sd * z
    mean = 41.76 + 1.891 * age_y - 0.052 * age_y**2 if sex == "female" else 43.36 + 1.663 * age_y - 0.034 * age_y**2
    return mean + 0.06 * mean * z


# --- conditions -----------------------------------------------------------------------------------------------------

BOTH_EYES = 0.6
"""How often a condition of the media that one eye has is in the other too: ours."""


def _media(streams: Streams, side: Side, age_y: float, numbers: Population) -> tuple[Medium, ...]:
    chances: dict[Medium, float] = {
        "keratoconus": numbers.p_keratoconus(age_y),
        "nuclear opacity": numbers.p_nuclear_opacity(age_y),
        "cortical opacity": numbers.p_cortical_opacity(age_y),
        "subcapsular opacity": numbers.p_subcapsular_opacity(age_y),
        "artificial lens": numbers.p_artificial_lens(age_y),
        "corneal surgery": numbers.p_corneal_surgery(age_y),
        "tear film": numbers.p_tear_film(age_y),
        "scar": numbers.p_scar,
        "vitreous haze": numbers.p_vitreous_haze(age_y),
        "white reflex": numbers.p_white_reflex(age_y),
        "no reflex": numbers.p_no_reflex(age_y),
    }
    found: list[Medium] = []
    for medium, probability in chances.items():
        if not streams.happens(medium, probability):
            continue
        first: Side = "right" if streams.happens(f"{medium}/first", 0.5) else "left"
        both = medium in ("keratoconus", "corneal surgery", "tear film") or streams.happens(f"{medium}/both", BOTH_EYES)
        if medium in ("white reflex", "no reflex", "scar"):
            both = False
        if both or side == first:
            found.append(medium)
    if "artificial lens" in found:
        found = [one for one in found if not one.endswith("opacity")]
    return tuple(found)


def _given(streams: Streams, media: dict[Side, tuple[Medium, ...]], has: Medium) -> dict[Side, tuple[Medium, ...]]:
    """Give one eye a condition, or both where it comes in both."""
    first: Side = "right" if streams.happens(f"{has}/first", 0.5) else "left"
    both = has in ("keratoconus", "corneal surgery", "tear film") or streams.happens(f"{has}/both", BOTH_EYES)
    if has in ("white reflex", "no reflex", "scar"):
        both = False

    def with_it(side: Side) -> tuple[Medium, ...]:
        kept = tuple(one for one in media[side] if one != has)
        if has == "artificial lens":
            kept = tuple(one for one in kept if not one.endswith("opacity"))
        return (*kept, has) if both or side == first else kept

    return {side: with_it(side) for side in SIDES}


def _with_media(streams: Streams, side: Side, vector: PowerVector, media: tuple[Medium, ...]) -> PowerVector:
    """Return the refraction that a condition of the cornea or the lens leaves."""
    if "artificial lens" in media or "corneal surgery" in media:
        # Both are aimed at distance vision without spectacles and miss it by a little.
        aim, spread = (-0.3, 0.6) if "artificial lens" in media else (-0.15, 0.45)
        return PowerVector(aim + spread * streams.normal(f"{side}/aim"), vector.J0 * 0.7, vector.J45 * 0.7)
    M, J0, J45 = vector.M, vector.J0, vector.J45
    if "nuclear opacity" in media:
        M -= 1 + 2 * streams.unit(f"{side}/nuclear")
    if "keratoconus" in media:
        stage = _cone_stage(streams, side)
        turn = math.radians(60 + 60 * streams.unit("cone/axis"))
        M -= 3 * stage
        J0 += 1.8 * stage * math.cos(turn)
        J45 += (1 if side == "right" else -1) * 1.8 * stage * math.sin(turn)
    return PowerVector(M, J0, J45)


def _cone_stage(streams: Streams, side: Side) -> float:
    """Return how far a cone has gone, 0 to 1: one eye is further than the other."""
    stage = 0.25 + 0.75 * streams.unit("cone/stage")
    worse = "right" if streams.happens("cone/worse", 0.5) else "left"
    return stage if side == worse else stage * (0.2 + 0.5 * streams.unit("cone/fellow"))


def _irregular(streams: Streams, side: Side, media: tuple[Medium, ...]) -> float:
    return 0.3 + 1.2 * _cone_stage(streams, side) if "keratoconus" in media else 0.0


def _vision_lost(
    streams: Streams, vector: PowerVector, fellow: PowerVector, *, amblyopic: bool, unsteady: bool
) -> float:
    """Return what amblyopia and nystagmus take, in logMAR: more plus than the other eye, or as chance has it."""
    lost = 0.0
    more_plus = max(vector.M, 0) - max(fellow.M, 0)
    if more_plus >= 1.5:
        lost += 0.15 * more_plus * (0.5 + streams.unit("amblyopia/unequal"))
    if amblyopic:
        lost += 0.15 + 0.35 * streams.unit("amblyopia/depth")
    return lost + (0.3 if unsteady else 0.0)


# --- spectacles and words -------------------------------------------------------------------------------------------


def _with_spectacles(
    streams: Streams, age_y: float, eyes: dict[Side, Eye], amplitude: float, numbers: Population
) -> dict[Side, Eye]:
    """Give most of those who need them spectacles for both eyes: the refraction of the time when they were made."""
    blurs = [blur_of(eye, amplitude if eye.accommodates else 0.0) for eye in eyes.values()]
    needs = max(blurs) >= numbers.spectacles_from(age_y)
    needs = needs or (age_y < CHILD_TO_Y and max(eye.M for eye in eyes.values()) >= PLUS_OF_A_CHILD_D)
    wears = NEARLY_ALL if age_y >= FROM_Y and max(blurs) >= CANNOT_DO_WITHOUT_D else numbers.p_spectacles(age_y)
    if age_y < 3 or not needs or not streams.happens("spectacles", wears):
        return eyes
    years = min(0.5 + 3 * streams.unit("spectacles/age"), age_y - 2)
    return {side: _with_glass(eye, age_y, years) for side, eye in eyes.items()}


def _with_glass(eye: Eye, age_y: float, years: float) -> Eye:
    # Myopes grow more myopic up to about 20, hyperopes lose a little: common practice, no published source.
    yearly = 0.4 if eye.M < 0 and age_y < 18 else 0.08 if eye.M < 0 and age_y < 30 else 0.0
    before = SphCyl.from_power_vector(eye.M + yearly * years, eye.J0, eye.J45)
    return replace(eye, habitual_rx=written(before), habitual_age_y=round(years, 1))


READS_FROM_Y = 7
"""Under this age in years nobody complains of print, a board or a computer: ours."""
WEAK_D = 0.37
"""From so much mean power in D that spectacles lack on they are said to feel weak: ours."""


def _feel_weak(patient: Patient) -> bool:
    """Say whether the spectacles that are worn lack what the eyes need now."""
    eyes = (patient.eye(side) for side in SIDES)
    return any(eye.habitual_rx and abs(eye.M - eye.habitual_rx.spherical_equivalent) >= WEAK_D for eye in eyes)


TWO_LINES = 10**0.2
"""Smallest angles whose ratio is less than two lines are not noticed to differ: ours."""


def _one_sees_less(patient: Patient) -> bool:
    """Say whether the vision of the eyes without a lens differs by two lines or more."""
    angles = [smallest_angle(eye, patient.amplitude_d) for eye in (patient.right, patient.left)]
    return max(angles) >= TWO_LINES * min(angles)


def _complaint(streams: Streams, patient: Patient) -> str:
    found = _said(streams, patient)
    # Nobody says so of spectacles that are right, or without any; nor of eyes that see alike.
    untrue = (found == "the glasses feel weak" and not _feel_weak(patient)) or (
        found == "one eye sees less" and not _one_sees_less(patient)
    )
    found = "distance vision is blurred" if untrue else found
    worn = patient.right.habitual_rx is not None
    sees = max(patient.right.best_logmar, patient.left.best_logmar) < LOST_LOGMAR
    # With spectacles that are right and eyes that see well nothing far is blurred.
    return "a check-up" if found in _FAR and worn and sees and not _feel_weak(patient) else found


_FAR = (
    *("cannot read the board", "screws up the eyes to see far", "distance vision is blurred"),
    "road signs are late to read",
)
LOST_LOGMAR = 0.2
"""From so poor a best vision on, in logMAR, far vision is complained of through any spectacles: ours."""


def _said(streams: Streams, patient: Patient) -> str:
    chance = streams.chance("complaint")
    age, means = patient.age_y, (patient.right.M, patient.left.M)
    if any(patient.eye(side).unsafe for side in SIDES):
        return _with_unsafe(streams, age)
    if age < PALE_TO_Y and streams.happens("pale in a photograph", PALE_SHARE):
        return PALE
    if age < 4:
        return chance.among(("a health visitor asked for it", "a brother wears glasses", "a first check"))
    if patient.nystagmus:
        return "the eyes move all the time"
    if age < READS_FROM_Y:
        odd = min(means) <= -0.75 or patient.unequal_d >= 1.5 or max(means) >= 3
        return chance.among(
            ("screws up the eyes", "sits close to the television", "failed a check of vision")
            if odd
            else ("a check-up", "a first check", "a brother wears glasses")
        )
    if min(means) <= -0.75:
        return chance.among(
            ("cannot read the board", "screws up the eyes to see far", "distance vision is blurred")
            if age < 19
            else ("distance vision is blurred", "road signs are late to read", "the glasses feel weak")
        )
    if patient.unequal_d >= 1.5:
        return chance.among(("closes one eye to look", "one eye sees less", "a first check"))
    if min(means) >= 2 and patient.amplitude_d < min(means):
        return chance.among(("distance vision is blurred", "small print is hard", "the glasses feel weak"))
    if age < 40:
        return chance.among(
            ("headaches when reading", "tired at the computer", "letters swim after a while")
            if max(means) >= 1.5
            else (
                "a check-up",
                "tired at the computer",
                "a check before a driving test" if age >= 17 else "a school check",
            )
        )
    return chance.among(
        ("small print is hard", "tired at the computer", "lights have halos" if age >= 60 else "a check-up")
    )


PALE = "a parent saw a pale pupil in a photograph"
PALE_TO_Y, PALE_SHARE = 8.0, 0.03
"""How often a healthy eye is brought for it: the optic disc, or the camera's angle, whitens a pupil too. Ours."""


def _with_unsafe(streams: Streams, age: float) -> str:
    if age >= 16:
        return "one eye has gone dim"
    # Not every white reflex was seen at home before.
    others = "a first check" if age < 4 else "failed a check of vision"
    return PALE if streams.happens("seen at home", 0.5) else others


def _history(patient: Patient) -> str:
    found: list[str] = []
    told: dict[Medium, str] = {
        "artificial lens": "cataract surgery",
        "corneal surgery": "laser surgery for short sight",
        "keratoconus": "three changes of spectacles in two years",
        "scar": "an old injury",
    }
    for medium, words in told.items():
        sides = [side for side in SIDES if medium in patient.eye(side).media]
        if sides:
            found.append(f"{words}, {'both eyes' if len(sides) == 2 else f'{sides[0]} eye'}")
    if patient.right.habitual_rx is not None or patient.left.habitual_rx is not None:
        found.append("wears spectacles")
    return "; ".join(found) or "nothing of note"
