"""What the pages of an examination receive: the patient, the eye at the bench, what can be done, what was done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from cases.curriculum.bench_stage import SLEEVE, Bench, View, instrument
from cases.curriculum.examination_stage import bench_of, lean_in_words, odd_picture, reflex_shows, sweep_words
from cases.figures.unusual_reflexes import odd_reflex
from cases.notation.prescription import write_axis, write_power, write_prescription
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.patients.examination.act_words import clock, log_lines
from cases.patients.examination.acts import CYLINDER, FIXATION, REFLEXES, SPHERE, TAPE_OFFSETS_CM, TESTS, WORKING
from cases.patients.examination.card import LOOKS, VISIONS, Card, card_of
from cases.patients.examination.chairside import (
    drops_words,
    gaze_words,
    near_check_words,
    pupil_words,
    reflex_words,
    tape_reads,
)
from cases.patients.examination.vignettes import VIGNETTES
from cases.patients.patient import SIDES, Patient, Side, other
from quiz.classroom.set_patients import Offer
from quiz.practice.examining.examinations import UnderWay
from quiz.practice.settings import REGIONS_SAID
from quiz.storage.examining.examination_queries import Examination
from quiz.storage.rows import write_json
from quiz.web.bench.views import LEAN, LENSES, LIMITS, STREAK, StagePage, stage_page
from quiz.web.bench.views import SLEEVE as SLEEVE_SHELF
from quiz.web.examination.act_forms import MOST_DROPS, NOTHING_TO_JUDGE, OFFERED_DROPS, side_of, sleeve_of, streak_of
from quiz.web.pictures import picture

FRAME_FROM_Y = 3.0
"""From this age in years a trial frame stays on a face: ours."""
FREE = frozenset((STREAK, LENSES, LEAN, SLEEVE_SHELF))
TURNED = frozenset((STREAK, SLEEVE_SHELF))
"""What changes only how one looks: it stands in the address, and is no act."""
AGE_WORDS = {
    "any": "any age",
    "infant": "up to 2 years",
    "preschool": "2 to 6 years",
    "school": "6 to 18 years",
    "young adult": "18 to 40 years",
    "middle": "40 to 60 years",
    "older": "over 60 years",
}


@dataclass(frozen=True)
class Strip:
    """A row of buttons, one of which stands."""

    do: str
    legend: str
    options: tuple[tuple[str, str], ...]
    """What is sent, and the label."""
    stands: str = ""


@dataclass(frozen=True)
class FrameFields:
    """What is before both eyes, as the fields have it."""

    sphere: str
    cylinder: str
    axis: str
    working: str
    fog: str
    vertex: str
    tilt: str
    off_centre: str
    other: str
    """What is before the other eye, in words."""


@dataclass(frozen=True)
class DropRow:
    """One instillation in the record: the field's number, and what stands there."""

    number: int
    kind: str
    eyes: str
    minute: str


@dataclass(frozen=True)
class RecordFields:
    """The record as written so far."""

    written: dict[Side, str]
    taken: dict[Side, str]
    entries: Mapping[str, str]
    """Values beside the lenses, by the names of the form's fields."""
    drops: tuple[DropRow, ...]
    """A row for each time that drops were given, or written down."""
    fixation: tuple[str, ...]
    visions: tuple[str, ...]
    tests: tuple[str, ...]
    referred: str
    how_soon: str


@dataclass(frozen=True)
class ExaminationPage:
    """What the page of an examination receives."""

    id: str
    card: Card
    by_hand: bool
    """Whether no trial frame stays on so small a face: lenses are held."""
    begun: bool
    """Whether anything was done yet."""
    side: Side
    fellow: Side
    streak: str
    """How the streak lies, in degrees."""
    along: str
    """The meridian that it measures."""
    sleeve: float
    minute: str
    gaze: str
    room: Strip
    target: Strip
    own_eye: Strip
    zone: Strip
    tape: Strip
    glass: Strip | None
    kinds: tuple[str, ...]
    """Drops that a record can name."""
    drops: tuple[Strip, ...]
    seat: str
    h: str
    v: str
    frame: FrameFields
    record: RecordFields
    stage: StagePage
    judged: bool
    """Whether enough light comes back to call anything neutral."""
    dark: str
    """What is said where it does not."""
    reflexes: tuple[tuple[str, str], ...]
    """What a reflex may be called: what is sent, and its words."""
    reflex: str
    """What this one was called."""
    reflex_said: str
    """What it is, once it was named or asked."""
    refer_first: bool
    """Whether that is a reason to refer before any measuring."""
    told: tuple[str, ...]
    drops_told: tuple[str, ...]
    result_for: str
    """How far from the eye, in mm, the lens that is written is to stand."""
    log: tuple[tuple[str, str], ...]
    """Clock and words of each act, the latest first."""
    ends: tuple[str, ...]
    """What was called neutral so far, in words."""
    sent_as: str
    faults: Mapping[str, str]
    given: Mapping[str, str]


def examination_page(
    stands: UnderWay, looked: Mapping[str, str], *, sent_as: str, faults: Mapping[str, str], whole: bool
) -> ExaminationPage:
    """Show an examination as it stands. `looked`: the eye, the streak and the sleeve; not `whole`: without stills."""
    side, streak, sleeve = side_of(looked), streak_of(looked), sleeve_of(looked, SLEEVE)
    patient, state, minute = stands.patient, stands.examined.state, stands.minute
    eye, fellow = patient.eye(side), other(side)
    bench = bench_of(patient, side, state, minute, streak=streak, sleeve=sleeve)
    reflex = stands.examined.record.entries.get(f"reflex {side}", "")
    known = bool(reflex) or bool([one for one in stands.examined.did("told", side) if one.side == side])
    target = f"{state.target:g}" if isinstance(state.target, float | int) else state.target
    glass = None
    if card_of(patient).of_you:
        worn = next((f"{act.value}" for act in reversed(stands.acts) if act.what == "own glass"), "off")
        glass = Strip("own-glass", "Your glass for this distance", (("on", "Worn"), ("off", "Not worn")), worn)
    return ExaminationPage(
        id=stands.row.id,
        card=card_of(patient),
        by_hand=patient.age_y < FRAME_FROM_Y,
        begun=any(one.minute > 0 for one in stands.acts),
        side=side,
        fellow=fellow,
        streak=write_axis(streak),
        along=write_axis(across(streak)),
        sleeve=sleeve,
        minute=clock(minute),
        gaze=gaze_words(patient, state, minute),
        room=Strip("room", "Room", (("lit", "Lit"), ("dim", "Dim"), ("dark", "Dark")), state.room),
        target=Strip(
            "target",
            "What the patient looks at",
            (("6", "Target 6 m away"), ("3", "Target 3 m away"), ("face", "Your face"), ("off", "No target")),
            target,
        ),
        own_eye=Strip(
            "own-eye", "You look with your", (("right", "right eye"), ("left", "left eye")), state.own_eye or ""
        ),
        zone=Strip(
            "zone", "Part of the pupil that you judge", (("centre", "Centre"), ("whole", "All of it")), state.zone
        ),
        tape=Strip("tape", "Hold the tape at the patient’s", tuple((one, one) for one in TAPE_OFFSETS_CM)),
        glass=glass,
        kinds=OFFERED_DROPS,
        drops=tuple(
            Strip("drops", kind.capitalize(), tuple((f"{kind} {eyes}", words) for eyes, words in _EYES))
            for kind in OFFERED_DROPS
        ),
        seat=f"{state.distance_cm:g}",
        h=f"{state.sight[0]:g}".replace("-", "−"),
        v=f"{state.sight[1]:g}".replace("-", "−"),
        frame=_frame(stands, side),
        record=_record(stands),
        stage=_stage(patient, side, bench, whole=whole),
        judged=reflex_shows(patient, side, bench),
        dark=NOTHING_TO_JUDGE,
        reflexes=tuple((one, _REFLEX_SAID.get(one, one)) for one in REFLEXES),
        reflex=reflex,
        reflex_said=reflex_words(eye) if known else "",
        refer_first=known and eye.unsafe,
        told=_told(stands, side, streak),
        drops_told=drops_words(patient, state, minute),
        result_for=f"{eye.vertex_mm:.0f}",
        log=log_lines(stands.acts, side)[::-1],
        ends=tuple(_end_words(stands, one) for one in SIDES if stands.examined.ends_of(one)),
        sent_as=sent_as,
        faults=faults,
        given=looked if faults else {},
    )


_EYES = (("both", "both eyes"), ("right", "right eye"), ("left", "left eye"))


_REFLEX_SAID = {
    "dark in places": "dark in places: a spot, spokes or a patch",
    "middle differs": "the middle differs",
    "glints": "glints of an implant",
    "none": "no light at all",
}


def _stage(patient: Patient, side: Side, bench: Bench, *, whole: bool) -> StagePage:
    own = {"oblique_per_deg2": patient.eye(side).peripheral_j2, "limits": LIMITS}
    views = write_json([{"name": "", "bench": bench.as_json()}])
    if not whole:
        return StagePage(views, write_json(instrument() | own), (), (), (), (), ())
    stage = stage_page((View("", bench),), TURNED)
    # Without scripts a diagram stands for the picture, and the words are beside it.
    odd = odd_picture(patient, side, bench)
    still = replace(
        stage.stills[0],
        words=sweep_words(patient, side, bench),
        picture=picture(odd_reflex(odd, uid="still-0")) if odd else stage.stills[0].picture,
    )
    return replace(
        stage,
        views=views,
        instrument=write_json(instrument() | own),
        free=tuple(sorted(FREE)),
        stills=(still,),
    )


def _frame(stands: UnderWay, side: Side) -> FrameFields:
    state, fellow = stands.examined.state, other(side)
    held = dict(state.lenses(side))
    cylinder = held.get(CYLINDER, SphCyl(0))
    before = state.lenses(fellow)
    return FrameFields(
        sphere=write_power(held[SPHERE].sphere) if SPHERE in held else "",
        cylinder=write_power(cylinder.cylinder) if cylinder.cylinder else "",
        axis=write_axis(cylinder.axis) if cylinder.cylinder else "",
        working=write_power(held[WORKING].sphere) if WORKING in held else "",
        fog=write_power(dict(before)[SPHERE].sphere) if SPHERE in dict(before) else "",
        vertex=f"{stands.patient.eye(side).vertex_mm if state.vertex_mm is None else state.vertex_mm:.0f}",
        tilt=f"{state.tilt_deg:g}" if state.tilt_deg else "",
        off_centre=f"{state.decentred_mm:g}" if state.decentred_mm else "",
        other=write_prescription(state.sum_of_lenses(fellow), "as-is") if before else "no lens",
    )


def _record(stands: UnderWay) -> RecordFields:
    record = stands.examined.record
    return RecordFields(
        written={side: write_prescription(lens) for side, lens in record.written.items()},
        taken={side: f"{taken:.2f}" for side, taken in record.taken.items()},
        entries={
            name.replace(" ", "-"): clock(float(text)) if name == "read at" else text
            for name, text in record.entries.items()
        },
        drops=_drop_rows(stands),
        fixation=FIXATION,
        visions=LOOKS if card_of(stands.patient).no_chart else VISIONS,
        tests=TESTS,
        referred=record.referred,
        how_soon=record.how_soon,
    )


def _drop_rows(stands: UnderWay) -> tuple[DropRow, ...]:
    """Return a row for each moment at which drops were given, filled with what was written there."""
    entries = stands.examined.record.entries
    given = {(one.kind, one.minute) for one in stands.examined.state.drops}
    written = [int(name.removeprefix("drop ")) for name in entries if name.startswith("drop ")]
    rows = []
    for number in range(1, min(MOST_DROPS, max(len(given), *written, 0)) + 1):
        kind, eyes, minute = (entries.get(f"drop {number}") or "  ").split(" ")
        rows.append(DropRow(number, kind, eyes, clock(float(minute)) if minute else ""))
    return tuple(rows)


def _end_words(stands: UnderWay, side: Side) -> str:
    ends = stands.examined.ends_of(side)
    meridians = [
        f"{write_prescription(one.state.sum_of_lenses(side), 'as-is')} with the streak at {write_axis(one.streak)}°"
        for one in ends
    ]
    return f"{side.capitalize()} eye neutral: {'; '.join(meridians)}"


def _told(stands: UnderWay, side: Side, streak: float) -> tuple[str, ...]:
    """Say what the latest check showed, as long as nothing else was done since."""
    said: list[str] = []
    for act in reversed(stands.acts):
        if act.what == "tape":
            said.append(f"The tape reads {tape_reads(stands.examined.state, f'{act.value}', TAPE_OFFSETS_CM):.0f} cm.")
            break
        if act.what == "pupil noted":
            said.append(pupil_words(stands.patient, stands.examined.state, act.minute))
            break
        if act.what == "lean in":
            said.append(lean_in_words(stands.patient, act.side or side, stands.examined.state, streak, act.minute))
            break
        if act.what == "near check" and act.side is not None and len(said) < len(SIDES):
            said.insert(0, near_check_words(stands.patient, act.side, stands.examined, act.minute))
            continue
        break
    return tuple(said)


# --- where one begins --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Begun:
    """An examination in the list of those begun."""

    id: str
    title: str
    open: bool


@dataclass(frozen=True)
class StartPage:
    """What the page receives on which a patient is chosen."""

    vignettes: tuple[tuple[str, str, str, str], ...]
    """Id, name, age, complaint."""
    ages: tuple[tuple[str, str], ...]
    regions: tuple[tuple[str, str], ...]
    region: str
    begun: tuple[Begun, ...]
    offers: tuple[tuple[str, str, str, str], ...]
    """Of patients set by a preceptor: what a form sends, the patient, the title, and what became of it."""


def start_page(begun: list[Examination], region: str, offers: tuple[Offer, ...]) -> StartPage:
    """Offer ten patients and drawn ones, and those begun before."""
    return StartPage(
        vignettes=tuple((one.id, one.name, _age(one.age_y), one.complaint) for one in VIGNETTES),
        ages=tuple(AGE_WORDS.items()),
        regions=REGIONS_SAID,
        region=region,
        offers=tuple(
            (
                f"{one.set_id} {one.place}",
                card_of(one.patient).name,
                one.title,
                "" if one.run is None else "open" if one.run.closed_at is None else "ended",
            )
            for one in offers
        ),
        begun=tuple(Begun(one.id, card_of(one.patient).name, one.closed_at is None) for one in begun),
    )


def _age(age_y: float) -> str:
    months = round(age_y * 12)
    return f"{months} months" if age_y < 2 else f"{age_y:g} years"
