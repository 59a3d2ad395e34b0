"""What the page at the end of an examination receives: both records, the ledgers, causes, and one replay."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from cases.figures.error_ledger import LedgerBar, ledger_figure
from cases.notation.plurals import counted
from cases.notation.prescription import write_power, write_prescription, write_size
from cases.optics.lens import SphCyl
from cases.patients.examination.act_words import act_words, log_lines
from cases.patients.examination.acts import Act, Examined
from cases.patients.examination.card import Card, card_of
from cases.patients.examination.chairside import referral_of
from cases.patients.examination.findings import NOT_YET, causes, failed, from_numbers_alone
from cases.patients.examination.ledger import CLOSE_D, TERMS, Ledger, NotMeasured, TermId, allowed_d, ledger
from cases.patients.examination.left_out import observations
from cases.patients.examination.putting_right import put_right as repaired
from cases.patients.examination.record import record_lines
from cases.patients.examination.replay import replayed, without
from cases.patients.examination.vignettes import examiner_of, vignette_of
from cases.patients.examination.world import Examiner, cycloplegia
from cases.patients.patient import SIDES, Patient, Side
from quiz.practice.examining.examinations import UnderWay
from quiz.web.pictures import Picture, captioned

MOVES_D = 4.0
"""From this power in D on it matters, and is said, how far from the eye a result was written for: ours."""
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

    term: TermId
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
    """Largest first."""
    alone: tuple[str, ...]
    """What would give an error of this size, were only the numbers known."""
    why_not: str = ""
    """Why there is no ledger."""
    cancelled: bool = False
    """Whether a cause is larger than what is left of all of them."""
    main: Cause | None = None
    """The one without which least would be left."""
    main_alone: bool = False
    """Whether the record would be right without it: the others are small, or cancel each other."""
    others_cancel: bool = False
    close: bool = False
    """Whether it is right to the quarter, whatever its cornea allows."""
    moved: str = ""
    """The result in the plane in which it is compared, where it was written for another."""
    allowed_d: float = CLOSE_D
    """How far from right its record may be: more where no lens is neutral all over."""
    by_drops: bool = False
    """Whether it is right but for what working drops left of accommodation."""


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
    refer_first = any(patient.eye(side).unsafe for side in SIDES) and not examined.record.written
    eyes = () if refer_first else tuple(_eye(patient, examined, side) for side in SIDES)
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
        before = [one.says for one in observations(patient, examined, Examiner()) if one.id == "before-referring"]
        lead = " ".join((f"Your words: {examined.record.referred}.", *before))
        return "Referred at once: nothing else counts today", lead, "may" if before else "right"
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
        lead, close = "Within a quarter dioptre in every meridian.", "within 0.25 D"
        uneven = [one for one in done if one.allowed_d > CLOSE_D and not one.close]
        if uneven:
            one = max(uneven, key=lambda eye: eye.allowed_d)
            lead = (
                f"The {one.side} eye is within {_size(one.allowed_d)} D. Its cornea is uneven: no lens makes it "
                "neutral all over, and power and axis are not surer than that."
            )
            close = f"within {_size(one.allowed_d)} D"
        if any(one.by_drops for one in done):
            lead, close = "Within a quarter dioptre of what these drops let you find.", "for what the drops show"
        if any(one.cancelled for one in done):
            lead += " Errors cancelled each other: the ledger shows which."
        lead += f" {missing[0].why_not}" if missing else ""
        return f"{words} {close}", lead + _not_referred(patient, examined), "right"
    worst = max((one for one in done if not one.agrees), key=lambda one: len(one.causes))
    count = len(worst.causes)
    hidden = f"; {_COUNT.get(count, str(count))} causes add up to it" if count > 1 else ""
    main = worst.main
    lead = (
        f"{main.says[0]} Alone that made {main.lens}."
        if main and main.says
        else (f"{main.label.capitalize()}: {main.lens}." if main else "")
    )
    if main and worst.main_alone and count > 1:
        lead += " Without it the record is right"
        lead += ": the others cancel each other." if worst.others_cancel else "."
    lead += "".join(f" {one.why_not}" for one in missing) + _not_referred(patient, examined)
    return f"{worst.side.capitalize()} eye {worst.out_by}{hidden}", lead, "off"


def _not_referred(patient: Patient, examined: Examined) -> str:
    why = referral_of(patient)
    return (
        f" Not referred, and should have been: {why.removesuffix('.')}." if why and not examined.record.referred else ""
    )


def _minutes(minute: float) -> str:
    return counted(max(1, round(minute)), "minute")


_COUNT = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven"}


def _eye(patient: Patient, examined: Examined, side: Side) -> EyeEnd:
    if any(patient.eye(one).unsafe for one in SIDES):
        was = examined.record.written.get(side)
        text = "not written" if was is None else write_prescription(was)
        return EyeEnd(side, text, "none before the referral", was is None, "", None, (), None, (), ())
    right = patient.eye(side).rx
    was = examined.record.written.get(side)
    text = "not written" if was is None else write_prescription(was)
    noted, moved, worn = examined.record.number("lens distance"), "", patient.eye(side).vertex_mm
    truth = write_prescription(right)
    if was is not None and noted is not None and abs(noted - worn) >= 1 and was.strongest >= MOVES_D:
        was = was.moved(noted - worn)
        text, truth = f"{text} at {noted:g} mm", f"{truth} at {worn:.0f} mm"
        moved = f"{write_prescription(was, decimals=2)} at {worn:.0f} mm"
    try:
        found = ledger(patient, examined, side)
    except NotMeasured:
        reason = "was not written down" if examined.ends_of(side) else "was never called neutral"
        why = f"The {side} eye {reason}, so it has no ledger."
        agrees = was is not None and _close(was, right, allowed_d(patient.eye(side)))
        return EyeEnd(side, text, truth, agrees, "", None, (), None, (), (), why, moved=moved)
    allowed = allowed_d(patient.eye(side))
    close, by_drops = _close(found.written, right, allowed), _right_by_drops(patient, examined, found)
    shown = tuple(_causes(patient, examined, found))
    left = {one.id: found.error - one.lens for one in found.shown}
    main = min(shown, key=lambda one: _length(left[one.term]), default=None)
    return EyeEnd(
        side=side,
        written=text,
        right=truth,
        moved=moved,
        close=_close(found.written, right, CLOSE_D),
        agrees=close or by_drops,
        out_by=out_by(found.error),
        figure=_figure(found, f"ledger-{side}"),
        rows=tuple(_row(one.id, one.label, one.lens) for one in found.shown),
        total=_row("", "written less right", found.error),
        causes=shown,
        alone=from_numbers_alone(found) if not close and not by_drops else (),
        cancelled=any(one.size_d > allowed for one in found.shown) and not by_drops,
        main=main,
        others_cancel=any(one.size_d > allowed for one in found.shown if main is not None and one.id != main.term),
        main_alone=main is not None and left[main.term].strongest <= allowed,
        allowed_d=allowed,
        by_drops=by_drops and not close,
    )


def _size(allowed: float) -> str:
    """Write what is allowed to the hundredth of a dioptre, without what rounding leaves."""
    return f"{allowed - CLOSE_D + 0.25:.2f}"


def _length(lens: SphCyl) -> float:
    return math.hypot(*lens.power_vector())


def _right_by_drops(patient: Patient, examined: Examined, found: Ledger) -> bool:
    """Say whether a record lacks no more than what drops that had worked left of accommodation."""
    end = examined.ends_of(found.side)[-1]
    if cycloplegia(patient, found.side, end.state, end.minute) < NOT_YET:
        return False
    return (found.error - found.term("accommodation").lens).strongest <= allowed_d(patient.eye(found.side))


def _close(one: SphCyl, right: SphCyl, allowed: float) -> bool:
    return (one - right).strongest <= allowed


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
    "end-point": "not neutral when called",
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
    for line in record_lines(patient, examined):
        yield line.label, line.written, line.clinic
    record = examined.record
    referred = f"{record.how_soon}: {record.referred}" if record.how_soon else record.referred or "no"
    right = referral_of(patient) or "not needed for what was found"
    which = ", and which eye" if any(patient.eye(side).unsafe for side in SIDES) else ""
    yield "Referred", referred, right + which


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
            found, allowed = replayed(patient, examined, acts, side), allowed_d(patient.eye(side))
        except NotMeasured:
            continue
        eyes.append(
            (
                side,
                write_prescription(examined.record.written[side]),
                write_prescription(found.written, decimals=2),
                f"right within {_size(allowed)} D"
                if _close(found.written, patient.eye(side).rx, allowed)
                else out_by(found.error),
                _figure(found, f"replay-{side}"),
            )
        )
    return Replay(title, tuple(eyes)) if eyes else None
