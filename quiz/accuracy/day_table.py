"""The eyes of one clinic day as a table: typed as they would be written, net worked out, ready for the accuracy log.

Nothing here is saved: the table lives in the browser that it was typed in, or in a file that its owner keeps.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date

from cases.errors import CaseError
from cases.notation.finding_line import FindingLine, read_finding_line
from cases.notation.prescription import read_distance_cm, read_prescription, write_distance, write_power
from cases.notation.prescription import write_prescription as write_rx
from cases.optics.lens import SphCyl
from quiz.accuracy.entries import BadEntry, Entry, PatientKind
from quiz.accuracy.importing import guarded, unguarded
from quiz.errors import QuizError
from quiz.practice.forms import BadText
from quiz.practice.own_findings.line_sums import line_result

MOST_EYES = 60
"""Rows of one day."""
LONGEST_CELL = 200


class BadDayFile(QuizError):
    """A file that is not a table of a day."""


@dataclass(frozen=True)
class TypedEye:
    """One row as it was typed; what is left empty is carried down from the row above."""

    patient: str = ""
    """A running number, never a name. Left empty: the right eye of the next patient, or the left one of the same."""
    eye: str = ""
    """"R" or "L"."""
    found: str = ""
    """What was found, as it would be written: "+3.25/-1.50x20 67cm"."""
    distance: str = ""
    drops: str = ""
    """"dry", "wet" or "" for as above."""
    subjective: str = ""

    @property
    def blank(self) -> bool:
        """Whether nothing was found or compared in this row."""
        return not (self.found.strip() or self.subjective.strip())


COLUMNS = tuple(one.name for one in fields(TypedEye))


@dataclass(frozen=True)
class DayEye:
    """One row worked out; powers in D as they are written."""

    typed: TypedEye
    whose: str = ""
    """"3 R": the patient's running number and the eye."""
    net: str = ""
    beside: str = ""
    """The exact figure, where `net` is rounded as the clinic does."""
    difference: str = ""
    """Spherical equivalent of net less subjective."""
    problem: str = ""
    entry: Entry | None = None
    """For the accuracy log; None while something is missing."""

    @property
    def note(self) -> str:
        """Say whose eye it is, the exact figure, and what is missing or wrong."""
        return ": ".join(filter(None, (self.whose, ". ".join(filter(None, (self.beside, self.problem))))))


@dataclass(frozen=True)
class _Carried:
    """What a row takes from the one above."""

    patient: int = 1
    eye: str = ""
    distance_cm: float | None = None
    wet: bool = False


def day_eyes(rows: Sequence[TypedEye], *, on: date, form: str = "minus") -> tuple[DayEye, ...]:
    """Work out every row; `on` is the date of the day, `form` the cylinder form of the results."""
    worked, above = [], _Carried()
    for row in rows[:MOST_EYES]:
        if row.blank:
            worked.append(DayEye(row))
            continue
        one, above = _worked(row, above, on, form)
        worked.append(one)
    return tuple(worked)


def _worked(row: TypedEye, above: _Carried, on: date, form: str) -> tuple[DayEye, _Carried]:
    here = above
    try:
        line = _line(row.found)
        here = _place(row, line, above)
        whose = f"{here.patient} {here.eye[:1].upper()}"
        if line is not None and line.distance_cm is None and line.working_lens is None and not line.net:
            if here.distance_cm is None:
                problem = "Write the working distance, for example 67 cm; the rows below then have it too."
                return DayEye(row, whose, problem=problem), here
            line = _line(f"{row.found} {write_distance(here.distance_cm)}")
        subjective = read_prescription(row.subjective) if row.subjective.strip() else None
    except (CaseError, BadText) as error:
        return DayEye(row, problem=str(error)), here
    if line is None:
        return DayEye(row, whose, problem="Write what you found, for example +3.25/-1.50x20."), here
    return _compared(DayEye(row, whose), here, line, subjective, on, form), here


def _compared(eye: DayEye, here: _Carried, line: FindingLine, subjective: SphCyl | None, on: date, form: str) -> DayEye:
    """Work out the net of a row, set the subjective beside it, and make the entry of the log when all is there."""
    result = line_result(line, form)
    if result.net is None:
        return replace(eye, problem=result.missing or " ".join(result.warnings) or "No net follows from this line.")
    beside = next((one.beside for one in result.sums if one.label == "Net"), "")
    eye = replace(eye, net=write_rx(result.net, form), beside=beside, problem=" ".join(result.warnings))
    if subjective is None:
        return eye
    gap = result.net.spherical_equivalent - subjective.spherical_equivalent
    eye = replace(eye, difference=write_power(gap))
    if here.distance_cm is None:
        return replace(eye, problem="For the log, write the working distance that you allowed for.")
    try:
        entry = Entry(here.eye, here.patient, result.net, subjective, here.distance_cm, on, wet=here.wet)
    except BadEntry as error:
        return replace(eye, problem=" ".join(error.faults.values()))
    return replace(eye, entry=entry)


def _line(text: str) -> FindingLine | None:
    """Read what was found; a line that can be read in two ways is asked back, never guessed."""
    if not text.strip():
        return None
    readings = read_finding_line(text)
    if len(readings) > 1:
        ways = "; or ".join(f"{one.differs or one.says}" for one in readings)
        raise BadText(f"This can be read in {len(readings)} ways: {ways}. Write which.")
    return readings[0]


def _place(row: TypedEye, line: FindingLine | None, above: _Carried) -> _Carried:
    """Say whose eye a row is, from where, and with or without drops."""
    said = row.eye.strip().upper()[:1]
    eye = {"R": "right", "L": "left"}.get(said, "")
    if row.eye.strip() and not eye:
        raise BadText(f"eye “{row.eye.strip()[:20]}”: write R or L")
    if line is not None and line.eye in ("right", "left"):
        if eye and eye != line.eye:
            raise BadText(f"The line says the {line.eye} eye and its column the {eye} one. Correct one of them.")
        eye = line.eye
    if row.patient.strip():
        patient = PatientKind().read(row.patient)
    else:
        patient = above.patient + (above.eye == "left" or (above.eye != "" and eye == above.eye))
    eye = eye or ("left" if above.eye == "right" and patient == above.patient else "right")
    distance = above.distance_cm
    if row.distance.strip():
        distance = read_distance_cm(row.distance)
    if line is not None:
        distance = line.distance_cm or (100 / line.working_lens if line.working_lens else distance)
    drops = row.drops.strip().lower()
    if drops not in ("", "dry", "wet"):
        raise BadText(f"drops “{drops[:20]}”: write dry or wet, or leave it empty for as above")
    return _Carried(patient, eye, distance, above.wet if not drops else drops == "wet")


# --- files -----------------------------------------------------------------------------------------------------------


def write_day(eyes: Sequence[DayEye]) -> str:
    """Write a day as CSV, one eye a row, lines ended by CR LF: what was typed, then net and difference."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([*COLUMNS, "net", "difference"])
    for one in eyes:
        if not one.typed.blank:
            writer.writerow([guarded(getattr(one.typed, name)) for name in COLUMNS] + [one.net, one.difference])
    return out.getvalue()


def read_day(text: str) -> tuple[TypedEye, ...]:
    """Read what `write_day` wrote; columns of other names are passed over.

    Raises
    ------
    BadDayFile
        When it has no column `found`, or more than `MOST_EYES` rows.
    """
    rows = list(_rows(text))
    if not rows or "found" not in rows[0]:
        raise BadDayFile("this is not a table of a day: its first row must name the column “found”")
    if len(rows) - 1 > MOST_EYES:
        raise BadDayFile(f"the file has {len(rows) - 1} rows: {MOST_EYES} is the most for one day")
    heads = rows[0]
    return tuple(typed_eye(dict(zip(heads, row, strict=False))) for row in rows[1:])


def typed_eye(cells: Mapping[str, str]) -> TypedEye:
    """Make a row of texts by the names of `COLUMNS`, each cut to `LONGEST_CELL` characters."""
    return TypedEye(**{name: unguarded(cells.get(name, "")[:LONGEST_CELL]) for name in COLUMNS})


def _rows(text: str) -> Iterator[list[str]]:
    try:
        yield from csv.reader(io.StringIO(text.removeprefix("\ufeff")), strict=True)
    except csv.Error as error:
        raise BadDayFile(f"the file cannot be read as comma-separated values ({error})") from None
