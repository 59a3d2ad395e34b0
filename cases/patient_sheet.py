"""Patients on paper: what was found of each with a record to write, a log with one fault to find, and the key to both.

What only the bench can ask, bringing an eye to neutral, is not here: the neutral lenses are given.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from cases.curriculum.case_list import digest
from cases.errors import CaseError
from cases.notation.prescription import write_axis, write_distance, write_power, write_prescription
from cases.notation.sums import less_signed
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.patients.examination.act_words import log_lines
from cases.patients.examination.by_the_book import StandardExamination, can_be_done, examine, found_in
from cases.patients.examination.card import card_of
from cases.patients.examination.chairside import in_the_pupil, referral_of
from cases.patients.examination.findings import causes
from cases.patients.examination.ledger import ledger
from cases.patients.mixture import Ages, mixed_patient
from cases.patients.patient import SIDES, Patient, Side
from cases.patients.patient_json import patient_document
from cases.patients.streams import Streams
from cases.worksheet import CAUTION, STYLE

MOST_PATIENTS = 30
HIDDEN_D = 0.5
"""Plus that stays hidden without drops is worth a line of the key from this many dioptres."""
SHOWN_D = 0.2
"""Terms of a ledger are in the key from this size in D: less is rounding."""
DROPS_SAID = (
    "Drops were put into both eyes by someone licensed to. Looking from far to near, the reflex hardly changes. "
    "Drugs, doses and who gives them: product information and local rules."
)
RECORD = (
    "Sphere, cylinder and axis",
    "Working distance, and what you took off",
    "Drops, and when",
    "Vision",
    "Refer? To whom does your protocol say, and why?",
)


class TooManyPatients(CaseError):
    """More patients than a sheet has, or none."""

    def __init__(self, count: int) -> None:
        super().__init__(f"{count} patients: give 1 to {MOST_PATIENTS}")


def drawn_patients(*, count: int, seed: int, region: str, within: Ages) -> tuple[Patient, ...]:
    """Draw the patients of a sheet: the same everywhere for a seed, a region and ages in years.

    Raises
    ------
    TooManyPatients
    """
    if not 1 <= count <= MOST_PATIENTS:
        raise TooManyPatients(count)
    return tuple(mixed_patient(f"sheet {seed}/{one}", region=region, within=within) for one in range(count))


def check_code(patients: Sequence[Patient]) -> str:
    """Return the code that a sheet of these patients and its key bear."""
    return digest((patient_document(one),) for one in patients)


def patient_sheet(patients: Sequence[Patient], *, key: bool = False, title: str = "Patients on paper") -> str:
    """Write a sheet of patients, or its key, as one HTML document; the same patients always give the same.

    Raises
    ------
    TooManyPatients
    """
    if not 1 <= len(patients) <= MOST_PATIENTS:
        raise TooManyPatients(len(patients))
    code = check_code(patients)
    head = escape(title) + (", with key" if key else "")
    mark = f"Check code {code}"
    fits = "This is the key to the sheet with the same check code." if key else "The key has the same check code."
    name = "" if key else 'Name <span class="name"></span>'
    sections = "\n".join(line for number, one in enumerate(patients, 1) for line in _patient(number, one, key=key))
    return "\n".join(
        (
            f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{head}</title>',
            f"<style>{STYLE}</style>\n</head>\n<body>\n<h1>{head}</h1>",
            '<p class="about">Drawn by published figures or invented: no real person. '
            f"Check code: <strong>{code}</strong>. {fits}</p>",
            f'<p class="caution">{CAUTION}</p>',
            '<table class="pages" role="presentation">',
            f"<thead><tr><td>{name}</td></tr></thead><tfoot><tr><td>{mark}</td></tr></tfoot>",
            f"<tbody><tr><td>\n{sections}\n</td></tr></tbody></table>\n</body>\n</html>",
        )
    )


def _patient(number: int, patient: Patient, *, key: bool) -> Iterator[str]:
    run = examine(patient)
    yield f'<section class="case">\n<h2>Patient {number}: {escape(card_of(patient).name)}</h2>'
    yield from map(_line, _told(patient, run))
    yield '<p class="asked">Write the record.</p>'
    if key:
        yield from _key_to_record(patient, run)
    else:
        yield '<p class="line">Right eye: <span class="name"></span></p>'
        yield '<p class="line">Left eye: <span class="name"></span></p>'
        yield from (f'<p class="line">{escape(one)} <span class="name"></span></p>' for one in RECORD[1:])
    yield "</section>"
    if run.examined.end_points:
        yield from _with_a_fault(number, patient, key=key)


def _line(words: str) -> str:
    return f"<p>{escape(words)}</p>"


def _told(patient: Patient, run: StandardExamination) -> Iterator[str]:
    card = card_of(patient)
    yield f"{_sentence(card.complaint)} History: {card.history}."
    yield f"Unaided vision: {card.vision_words}."
    for side in SIDES:
        for words in in_the_pupil(patient.eye(side)):
            yield f"{side.capitalize()} eye: {words}"
    if not run.examined.end_points:
        return
    if run.drops:
        yield DROPS_SAID
    else:
        yield "No drops. The eye that is not measured is fogged."
    yield f"Dim room, far target. Sight hole {write_distance(run.distance_cm)} from the eye, by tape."
    for side in SIDES:
        yield f"{side.capitalize()} eye: {_neutral_words(run, side)}."


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _neutral_words(run: StandardExamination, side: Side) -> str:
    return "; ".join(
        f"streak at {write_axis(streak)}°, neutral with {write_power(power)} DS"
        for streak, power in found_in(run.examined, side)
    )


def _key_to_record(patient: Patient, run: StandardExamination) -> Iterator[str]:
    steps = list(_working(patient, run))
    yield f'<ol class="working">{"".join(f"<li>{escape(one)}</li>" for one in steps)}</ol>'
    for side in SIDES:
        if side in run.examined.record.written:
            yield _answer(f"{side.capitalize()} eye", write_prescription(run.examined.record.written[side]))
    if run.examined.record.written:
        yield _answer("Distance", f"{write_distance(run.distance_cm)}, {run.taken_d:.2f} D taken off")
        yield _answer("Drops", "which, and when, by whom" if run.drops else "none, and say so")
        yield _answer("Vision", card_of(patient).vision_words)
    yield _answer("Refer", referral_of(patient) or "nothing here asks for it; local rules decide")


def _answer(called: str, words: str) -> str:
    return f'<p class="answer">{escape(called)}: {escape(words)}</p>'


def _working(patient: Patient, run: StandardExamination) -> Iterator[str]:
    if not run.examined.end_points:
        yield "A white or absent reflex is referred at once, before any measuring."
        return
    yield f"{write_distance(run.distance_cm)} is worth {run.taken_d:.2f} D."
    for side in SIDES:
        (streak, first), (_, second) = found_in(run.examined, side)
        one, two = first - run.taken_d, second - run.taken_d
        name = side.capitalize()
        yield (
            f"{name} eye, along {write_axis(across(streak))}: {less_signed(first, run.taken_d, one)} D; "
            f"along {write_axis(streak)}: {less_signed(second, run.taken_d, two)} D."
        )
        if one != two:
            cross = SphCyl(two, one - two, streak)
            yield (
                f"{name} eye: {write_power(two)} lies along {write_axis(streak)}, so the cylinder "
                f"{less_signed(one, two, one - two)} D has its axis there: {write_prescription(cross, 'as-is')}."
            )
    for side in SIDES:
        hidden = patient.eye(side).M - run.examined.record.written[side].spherical_equivalent
        if not run.drops and hidden >= HIDDEN_D:
            yield (
                f"{side.capitalize()} eye: {round(4 * hidden) / 4:.2f} D of plus more is there. Only cycloplegia shows "
                "it."
            )


def _with_a_fault(number: int, patient: Patient, *, key: bool) -> Iterator[str]:
    """Write another examination of the same patient, with one thing done otherwise, and room to say what it did."""
    faults = can_be_done(patient)
    run = examine(patient, faults[int(Streams(f"{patient.seed}/paper").unit("fault") * len(faults))])
    yield f'<section class="case">\n<h2>Patient {number} again, by another hand</h2>'
    told = [f"{at} {words}" for at, words in log_lines(run.acts) if not words.startswith("Called")]
    yield f"<p>{escape('; '.join(told))}.</p>"
    yield '<p class="asked">Which one thing went wrong, and what did it do to each result?</p>'
    if not key:
        yield from ['<p class="room"></p>'] * 3
    else:
        for side in SIDES:
            found = ledger(patient, run.examined, side)
            for term in found.shown:
                if term.size_d >= SHOWN_D:
                    why = " ".join(causes(patient, run.examined, found, term.id))
                    lens = write_prescription(_to_hundredths(term.lens))
                    yield _answer(f"{side.capitalize()} eye", f"{lens} by {term.label}. {why}".strip())
    yield "</section>"


def _to_hundredths(lens: SphCyl) -> SphCyl:
    return SphCyl(round(lens.sphere, 2) + 0.0, round(lens.cylinder, 2) + 0.0, float(round(lens.axis) or 180))
