"""What the page at the end of an examination receives: both records, the ledgers, causes, and one replay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from cases.figures.error_ledger import LedgerBar, ledger_figure
from cases.notation.plurals import counted
from cases.notation.prescription import write_power, write_prescription, write_size
from cases.optics.lens import SphCyl
from cases.patients.examination.act_words import act_words, log_lines
from cases.patients.examination.acts import Act, Examined
from cases.patients.examination.chairside import Card, card_of, referral_of
from cases.patients.examination.findings import (
    DROPS_CONSIDERED_TO_Y,
    causes,
    failed,
    from_numbers_alone,
    observations,
)
from cases.patients.examination.ledger import TERMS, Ledger, NotMeasured, ledger
from cases.patients.examination.putting_right import put_right as repaired
from cases.patients.examination.replay import replayed, without
from cases.patients.examination.vignettes import examiner_of, vignette_of
from cases.patients.examination.world import Examiner
from cases.patients.patient import SIDES, Patient, Side
from quiz.practice.examining.examinations import UnderWay
from quiz.web.pictures import Picture, captioned

CLOSE_D = 0.26
"""A record within this in every meridian, in D, agrees with a right one: a quarter and what rounding leaves."""
COUNTED_D = 0.06
"""A cause weaker than this in D is shown and not counted."""
UNDONE = {"room", "target", "seat", "sight", "own eye", "zone", "frame", "drops", "call", "take off", "lens"}
"""Acts that a replay may leave out: others change nothing that is written, or all of it."""


@dataclass(frozen=True)
class LedgerRow:
    """One cause as the ledger lists it."""

    term: str
    label: str
    lens: str
    mean: str
    j0: str
    j45: str


@dataclass(frozen=True)
class Cause:
    """What was done, and the way to a replay without it."""

    term: str
    label: str
    lens: str
    says: tuple[str, ...]
    replay: str
    """Words for the link; "" where no other act would mend it."""


@dataclass(frozen=True)
class EyeEnd:
    """One eye at the end."""

    side: Side
    written: str
    right: str
    agrees: bool
    out_by: str
    figure: Picture | None
    rows: tuple[LedgerRow, ...]
    total: LedgerRow | None
    causes: tuple[Cause, ...]
    alone: tuple[str, ...]
    """What would give an error of this size, were only the numbers known."""
    why_not: str = ""
    """Why there is no ledger."""
    cancelled: bool = False
    """Whether a cause is larger than what is left of all of them."""


@dataclass(frozen=True)
class Replay:
    """The same patient again with one thing done otherwise."""

    title: str
    eyes: tuple[tuple[Side, str, str, str, Picture | None], ...]
    """Side, written before, what would have been written, how far that is out, and its ledger."""


@dataclass(frozen=True)
class EndPage:
    """What the page receives."""

    id: str
    card: Card
    name: str
    vignette: str
    """The id of the vignette, to begin it again; "" for a drawn patient."""
    heading: str
    lead: str
    kind: str
    """right, off or may, as for a mark."""
    failed: str
    eyes: tuple[EyeEnd, ...]
    notes: tuple[tuple[str, str, str], ...]
    """What a record holds, as written and as a right one has it."""
    left_out: tuple[str, ...]
    trap: str
    log: tuple[tuple[str, str, int | None], ...]
    """Clock, words, and the place of an act that can be left out of a replay."""
    acts: int
    minutes: str
    replay: Replay | None


def end_page(stands: UnderWay, *, undo: int | None, put_right: str, of: Side | None) -> EndPage:
    """Show the end of an examination; `undo` leaves an act out, `put_right` mends a cause of the eye `of`."""
    patient, examined = stands.patient, stands.examined
    eyes = tuple(_eye(patient, examined, side) for side in SIDES)
    why = failed(patient, examined) or ""
    vignette = vignette_of(patient)
    heading, lead, kind = _verdict(patient, examined, eyes, why)
    return EndPage(
        id=stands.row.id,
        card=card_of(patient),
        name=card_of(patient).name,
        vignette=vignette.id if vignette else "",
        heading=heading,
        lead=lead,
        kind=kind,
        failed=why,
        eyes=eyes,
        notes=tuple(_notes(patient, examined)),
        left_out=tuple(one.says for one in observations(patient, examined, examiner_at(patient, examined))),
        trap=vignette.trap if vignette else "",
        log=tuple(
            (at, words, place if act.what in UNDONE and act.minute > 0 else None)
            for place, ((at, words), act) in enumerate(zip(log_lines(stands.acts), stands.acts, strict=True))
        ),
        acts=len(stands.acts),
        minutes=_minutes(stands.minute),
        replay=_replay(patient, examined, undo, put_right, of),
    )


def examiner_at(patient: Patient, examined: Examined) -> Examiner:
    """Return the examiner with the glass that was worn when neutral was first called."""
    examiner = examiner_of(patient)
    first = examined.end_points[0].minute if examined.end_points else float("inf")
    worn = [one.value for one in examined.acts if one.what == "own glass" and one.minute <= first]
    return replace(examiner, corrected=worn[-1] == "on") if worn else examiner


def _verdict(patient: Patient, examined: Examined, eyes: tuple[EyeEnd, ...], why: str) -> tuple[str, str, str]:
    if why:
        return "Not passed: a reflex to refer at once was not referred", why, "off"
    if any(patient.eye(side).unsafe for side in SIDES):
        return "Referred: nothing else counts today", f"Your words: {examined.record.referred}.", "right"
    done = [one for one in eyes if one.total is not None]
    if not done:
        if examined.record.written and not examined.end_points:
            lead = "No eye was called neutral before you wrote its result, so there is nothing to compare."
            return "Nothing to compare", lead, "may"
        lead = "Call an eye neutral and write its result to see a ledger."
        return "No eye was both measured and written", lead, "may"
    missing = [one for one in eyes if one.total is None]
    if all(one.agrees for one in done):
        words = "Both eyes right" if not missing else f"{done[0].side.capitalize()} eye right"
        lead = "Within a quarter dioptre in every meridian."
        if any(one.cancelled for one in done):
            lead += " Errors cancelled each other: the ledger shows which."
        return f"{words} within 0.25 D", lead + (f" {missing[0].why_not}" if missing else ""), "right"
    worst = max((one for one in done if not one.agrees), key=lambda one: len(one.causes))
    count = len(worst.causes)
    hidden = f"; {_COUNT.get(count, str(count))} causes add up to it" if count > 1 else ""
    main = worst.causes[0] if worst.causes else None
    lead = (
        f"{main.says[0]} Alone that made {main.lens}."
        if main and main.says
        else (f"{main.label.capitalize()}: {main.lens}." if main else "")
    )
    lead += "".join(f" {one.why_not}" for one in missing)
    return f"{worst.side.capitalize()} eye {worst.out_by}{hidden}", lead, "off"


def _minutes(minute: float) -> str:
    return counted(max(1, round(minute)), "minute")


_COUNT = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven"}


def _eye(patient: Patient, examined: Examined, side: Side) -> EyeEnd:
    right = patient.eye(side).rx
    was = examined.record.written.get(side)
    text = "not written" if was is None else write_prescription(was)
    try:
        found = ledger(patient, examined, side)
    except NotMeasured:
        reason = "was not written down" if examined.ends_of(side) else "was never called neutral"
        why = f"The {side} eye {reason}, so it has no ledger."
        agrees = was is not None and _close(was, right)
        return EyeEnd(side, text, write_prescription(right), agrees, "", None, (), None, (), (), why)
    return EyeEnd(
        side=side,
        written=text,
        right=write_prescription(right),
        agrees=_close(found.written, right),
        out_by=out_by(found.error),
        figure=_figure(found, f"ledger-{side}"),
        rows=tuple(_row(one.id, one.label, one.lens) for one in found.shown),
        total=_row("", "written less right", found.error),
        causes=tuple(_causes(patient, examined, found)),
        alone=from_numbers_alone(found) if not _close(found.written, right) else (),
        cancelled=any(one.size_d > CLOSE_D for one in found.shown),
    )


def _close(one: SphCyl, right: SphCyl) -> bool:
    return (one - right).strongest <= CLOSE_D


def out_by(error: SphCyl) -> str:
    """Say an error: its mean first, then what it does to the cylinder."""
    mean, cylinder = error.spherical_equivalent, abs(error.cylinder)
    parts = []
    if abs(mean) >= 0.125:
        parts.append(f"{write_size(mean, 2)} D too {'plus' if mean > 0 else 'minus'}")
    if cylinder >= 0.375:
        parts.append(f"a cylinder of {write_size(cylinder, 2)} D out")
    return " and ".join(parts) or f"out by {write_prescription(error)}"


def _causes(patient: Patient, examined: Examined, found: Ledger) -> Iterator[Cause]:
    for term in found.shown:
        if term.size_d < COUNTED_D or term.id == "rounding":
            continue
        mended = repaired(patient, examined, found, term.id)
        yield Cause(
            term.id,
            term.label,
            write_prescription(term.lens, decimals=2),
            causes(patient, examined, found, term.id),
            f"Replay {mended.words}" if mended else "",
        )


def _figure(found: Ledger, uid: str) -> Picture:
    bars = [LedgerBar(_SHORT[one.id], one.mean_d) for one in found.shown if abs(one.mean_d) >= 0.005]
    right, was = found.truth.spherical_equivalent, found.written.spherical_equivalent
    title = f"{found.side.capitalize()} eye: where the mean power went"
    return captioned(
        ledger_figure(bars, right_d=right, written_d=was, uid=uid, title=title),
        f"{found.side.capitalize()} eye, mean power in dioptres: the bars sum to what was written less what is right.",
    )


_SHORT = {
    **TERMS,
    "distance": "distance, less what was taken off",
    "accommodation": "accommodation",
    "off-axis": "sighting off the axis",
    "zone": "part of the pupil judged",
    "end-point": "left when called neutral",
    "plane": "lenses not where the result is for",
    "rounding": "rounding to quarters",
}


def _row(term: str, label: str, lens: SphCyl) -> LedgerRow:
    M, J0, J45 = lens.power_vector()
    return LedgerRow(
        term,
        label,
        write_prescription(lens, decimals=2),
        *(write_power(round(one, 2) + 0.0, 2) for one in (M, J0, J45)),
    )


def _notes(patient: Patient, examined: Examined) -> Iterator[tuple[str, str, str]]:
    record = examined.record
    yield "Working distance", "noted" if "distance" in record.notes else "not noted", "noted"
    if patient.age_y <= DROPS_CONSIDERED_TO_Y or examined.state.drops:
        kinds = sorted({one.kind for one in examined.state.drops})
        noted = " and ".join(kinds) if kinds else "none used"
        if kinds and not {"drops", "time of drops"} <= record.notes:
            noted += ", not noted with their time"
        right = "which, and when; or why none" if patient.age_y <= DROPS_CONSIDERED_TO_Y else "which, and when"
        yield "Drops", noted, right
    yield "Vision", "noted" if "vision" in record.notes else "not noted", "noted"
    right = referral_of(patient) or "not needed for what was found"
    yield "Referred", record.referred or "no", right


# --- replay ------------------------------------------------------------------------------------------------------


def _replay(patient: Patient, examined: Examined, undo: int | None, put_right: str, of: Side | None) -> Replay | None:
    if undo is not None:
        act = examined.acts[undo]
        return _replayed(patient, examined, without(examined.acts, undo), f"Without “{act_words(act)}”", SIDES)
    if not put_right or of is None or put_right not in TERMS:
        return None
    try:
        found = ledger(patient, examined, of)
    except NotMeasured:
        return None
    term = next(one for one in TERMS if one == put_right)
    mended = repaired(patient, examined, found, term)
    if mended is None:
        return None
    return _replayed(patient, examined, mended.acts, f"Again, {mended.words}", (of,))


def _replayed(
    patient: Patient, examined: Examined, acts: tuple[Act, ...], title: str, sides: tuple[Side, ...]
) -> Replay | None:
    eyes = []
    for side in sides:
        try:
            found = replayed(patient, examined, acts, side)
        except NotMeasured:
            continue
        eyes.append(
            (
                side,
                write_prescription(examined.record.written[side]),
                write_prescription(found.written, decimals=2),
                "right within 0.25 D" if _close(found.written, patient.eye(side).rx) else out_by(found.error),
                _figure(found, f"replay-{side}"),
            )
        )
    return Replay(title, tuple(eyes)) if eyes else None
