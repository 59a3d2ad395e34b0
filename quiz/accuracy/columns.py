"""What the headings and cells of an accuracy log's file may say; each reader adds the sentence why not to `faults`."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from cases.errors import CaseError
from cases.notation.prescription import read_axis, read_distance_cm, read_power, read_prescription
from cases.optics.lens import SphCyl
from quiz.accuracy.entries import HIGHEST_PATIENT

NAMES = {
    "patient": "patient",
    "eye": "eye",
    "on": "date",
    "distance_cm": "distance in cm",
    "retinoscopy": "retinoscopy",
    "retinoscopy_sphere": "sphere of the retinoscopy",
    "retinoscopy_cylinder": "cylinder of the retinoscopy",
    "retinoscopy_axis": "axis of the retinoscopy",
    "end_point": "end-point",
    "end_point_sphere": "sphere of the end-point",
    "end_point_cylinder": "cylinder of the end-point",
    "end_point_axis": "axis of the end-point",
    "wet": "retinoscopy dry or wet",
    "end_wet": "end-point dry or wet",
    "age": "age group",
    "remark": "remark",
}
"""Every column by the field of the entry, as a person calls it."""

_OWN = (
    "retinoscopy",
    "ret",
    "net",
    "netretinoscopy",
    "retinoscopynet",
    "netret",
    "ownretinoscopy",
    "ownnetretinoscopy",
)
_END = (
    *(
        "endpoint",
        "subjective",
        "subj",
        "final",
        "endpointofthesubjective",
        "subjectiveendpoint",
        "reference",
        "repeat",
    ),
    *("cycloplegicrepeat", "finalrefraction", "subjectiverefraction"),
)
_PARTS = {"sphere": ("sphere", "sph", "s"), "cylinder": ("cylinder", "cyl", "c"), "axis": ("axis", "ax", "a")}
_STATES = ("state", "drywet", "wetdry", "dryorwet", "wet", "cycloplegia", "cycloplegic")
_HEADINGS = {
    "patient": (
        "patient",
        "patientnumber",
        "patientno",
        "pair",
        "number",
        "no",
        "subject",
        "person",
        "pt",
        "ptno",
        "id",
    ),
    "eye": ("eye", "side", "laterality", "rightorleft", "rl"),
    "on": ("date", "day", "on", "examined", "examinationdate", "dateofexamination", "visit", "visitdate"),
    "distance_cm": ("distance", "distancecm", "workingdistance", "workingdistancecm", "wd", "wdcm", "distanceincm"),
    "retinoscopy": (*_OWN, *(f"{one}rx" for one in _OWN)),
    "end_point": (*_END, *(f"{one}rx" for one in _END)),
    "wet": (*_STATES, *(own + state for own in _OWN for state in _STATES)),
    "end_wet": tuple(end + state for end in _END for state in _STATES if end != "cycloplegicrepeat"),
    "age": ("age", "agegroup", "ageyears", "ageinyears"),
    "remark": ("remark", "remarks", "note", "notes", "comment", "comments"),
    **{
        f"{field}_{part}": tuple(lens + short for lens in lenses for short in shorts)
        for field, lenses in (("retinoscopy", _OWN), ("end_point", _END))
        for part, shorts in _PARTS.items()
    },
}
_COLUMN = {heading: field for field, headings in _HEADINGS.items() for heading in headings}
IDENTIFYING = frozenset(
    {
        *("name", "names", "surname", "firstname", "forename", "lastname", "fullname", "patientname", "initials"),
        *("dob", "dateofbirth", "birthdate", "born", "birthday"),
        *(
            "nhs",
            "nhsnumber",
            "mrn",
            "hospitalnumber",
            "hospitalno",
            "recordnumber",
            "recordno",
            "chartnumber",
            "ssn",
            "insurancenumber",
        ),
        *("address", "postcode", "zip", "phone", "telephone", "mobile", "email", "mail"),
    }
)
"""Headings of columns that may tell who a patient was: never read."""


LONGEST_CELL = 200
"""Characters of a heading or a cell that is read; a remark has a limit of its own. It is looked at before all else:
putting accents in order takes the square of their number."""
_BRACKETS = re.compile(r"\([^)]{0,200}\)|\[[^]]{0,200}\]")
_RUNNING_NUMBER = re.compile(r"[0-9]{1,4}")
_YEARS = re.compile(r"[0-9]{1,3}")


def plain(heading: str) -> str:
    """Return a heading bare of case, spaces, signs and what stands in brackets; "" where it is too long for one."""
    if len(heading) > LONGEST_CELL:
        return ""
    text = _BRACKETS.sub("", unicodedata.normalize("NFKC", heading)).casefold()
    return "".join(mark for mark in text if mark.isalnum())


def heading_of(field: str) -> str:
    """Return a heading that `column_of` reads as a field of `NAMES`."""
    return _HEADINGS[field][0]


def column_of(heading: str) -> str | None:
    """Return the field that a heading means; None when it means none."""
    return _COLUMN.get(plain(heading))


def _word(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text[:LONGEST_CELL]).casefold().replace(".", "").split())


# --- cells -------------------------------------------------------------------------------------------------------

_EYES = {
    **dict.fromkeys(("r", "right", "re", "od", "right eye"), "right"),
    **dict.fromkeys(("l", "left", "le", "os", "left eye"), "left"),
}
_STATES_READ = {
    **dict.fromkeys(("", "dry", "d", "no", "n", "0", "false", "non-cycloplegic", "without", "subjective"), False),
    **dict.fromkeys(("wet", "w", "yes", "y", "1", "true", "cycloplegic", "cyclo", "with", "cycloplegia"), True),
}
_AGES = {
    **dict.fromkeys(("", "-", "–"), ""),
    **dict.fromkeys(("under-20", "under 20", "<20", "0-19", "child"), "under-20"),
    **dict.fromkeys(("20-to-39", "20 to 39", "20-39", "20–39"), "20-to-39"),
    **dict.fromkeys(("40-or-over", "40 or over", "40+", ">=40", "≥40", "over 40", "40 and over"), "40-or-over"),
}


def eye_of(text: str, faults: list[str]) -> str:
    """Read an eye: right or left, R or L, RE or LE, OD or OS."""
    eye = _EYES.get(_word(text))
    if eye is None:
        faults.append(
            f"eye “{text[:20]}”: write right or left; one eye a row" if text else "no eye: write right or left"
        )
    return eye or "right"


def patient_of(text: str, faults: list[str]) -> int:
    """Read a patient's running number."""
    tidy = unicodedata.normalize("NFKC", text[:LONGEST_CELL])
    if _RUNNING_NUMBER.fullmatch(tidy) and int(tidy):
        return int(tidy)
    faults.append(
        f"patient “{text[:20]}”: write a running number from 1 to {HIGHEST_PATIENT}, never a record number or a name"
        if text
        else f"no patient: write a running number from 1 to {HIGHEST_PATIENT}, the same for both eyes"
    )
    return 1


def lens_of(name: str, text: str, faults: list[str]) -> SphCyl:
    """Read a prescription in one cell."""
    try:
        return read_prescription(text)
    except CaseError as error:
        faults.append(f"{name}: {error}")
        return SphCyl(0)


def lens_of_parts(name: str, parts: Iterable[str], sign: str, faults: list[str]) -> SphCyl:
    """Read a prescription in three cells; `sign` ("minus", "plus" or "") is for a cylinder that has none."""
    sphere, cylinder, axis = parts
    if not (sphere or cylinder):
        faults.append(f"{name}: no power is given")
        return SphCyl(0)
    try:
        S = read_power(sphere) if sphere else 0.0
        C = read_power(cylinder) if cylinder else 0.0
        if C and (cylinder[0].isdigit() or cylinder[0] in ".,"):
            if not sign:
                faults.append(f"{name}: cylinder {cylinder} has no sign: write −{cylinder} or +{cylinder}")
                return SphCyl(0)
            C = -abs(C) if sign == "minus" else abs(C)
        if C and not axis:
            faults.append(f"{name}: the cylinder {cylinder} has no axis")
            return SphCyl(0)
        # A sphere's axis, a 0 or a dash perhaps, has no effect.
        return SphCyl(S, C, read_axis(axis)) if C else SphCyl(S)
    except CaseError as error:
        faults.append(f"{name}: {error}")
        return SphCyl(0)


def distance_of(text: str, otherwise: float | None, faults: list[str]) -> float:
    """Read a distance in cm; `otherwise` where there is none."""
    if not text and otherwise is not None:
        return otherwise
    try:
        return read_distance_cm(text)
    except CaseError as error:
        faults.append(str(error) if text else "no distance: give it in the row, or one for all rows that have none")
        return 100.0


def wet_of(text: str, faults: list[str]) -> bool:
    """Read whether it was wet: dry or wet, or no or yes; nothing is dry."""
    wet = _STATES_READ.get(_word(text))
    if wet is None:
        faults.append(f"“{text[:20]}” is neither dry nor wet: write one of the two")
    return bool(wet)


def age_of(text: str, faults: list[str]) -> str:
    """Read an age group, or an age in years, of which only the group is kept."""
    word = _word(text)
    if word in _AGES:
        return _AGES[word]
    if _YEARS.fullmatch(word) and int(word) <= 120:
        years = int(word)
        return "under-20" if years < 20 else "20-to-39" if years < 40 else "40-or-over"
    faults.append(f"age “{text[:20]}”: write years, or under 20, 20 to 39, 40 or over, or nothing")
    return ""


# --- dates -------------------------------------------------------------------------------------------------------

_NUMBERS = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_YEAR_FIRST = re.compile(r"(\d{4})[./-](\d{1,2})[./-](\d{1,2})")
_SPELT = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .-]{0,9}([a-z]{3,20})[ .,-]{0,9}(\d{4})")
_SPELT_FIRST = re.compile(r"([a-z]{3,20})[ .]{0,9}(\d{1,2})(?:st|nd|rd|th)?[ ,]{0,9}(\d{4})")
_TIME = re.compile(r"[ tT]\d{1,2}:\d{2}.{0,200}$")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True)
class Dates:
    """How the dates of a column are written when numbers alone do not tell: day first, month first, or not known."""

    first: str = ""
    """"day", "month" or ""."""
    says: str = ""


def date_order(cells: Iterable[str]) -> Dates:
    """Find out from those dates of a column that can be read in one way only how the others are meant."""
    firsts = set()
    example = {}
    for cell in cells:
        found = _NUMBERS.fullmatch(_bare(cell))
        if found is None or found[2] == ".":
            continue
        a, b = int(found[1]), int(found[3])
        if a > 12 >= b:
            firsts.add("day")
            example["day"] = cell
        elif b > 12 >= a:
            firsts.add("month")
            example["month"] = cell
    if len(firsts) != 1:
        return Dates()
    first = firsts.pop()
    order = "day, month, year" if first == "day" else "month, day, year"
    return Dates(first, f"Dates are read as {order}, since “{example[first].strip()[:20]}” can be nothing else.")


def _bare(text: str) -> str:
    """Return a date without the time that spreadsheets add."""
    return _TIME.sub("", unicodedata.normalize("NFKC", text[:LONGEST_CELL]).strip())


def day_of(text: str, order: Dates, otherwise: date | None, today: date, faults: list[str]) -> date:
    """Read a date; `otherwise` where there is none. A year is written with four digits."""
    bare = _bare(text)
    if not bare:
        if otherwise is None:
            faults.append("no date: give it in the row, or one for all rows that have none")
        return otherwise or today
    try:
        day = _day(bare, order)
    except ValueError as error:
        faults.append(f"date “{text[:20]}”: {error}")
        return today
    if day > today:
        faults.append(f"date {day.isoformat()} is still to come")
    return day


def _day(bare: str, order: Dates) -> date:
    wrong = "write year-month-day, like 2031-05-28"
    if found := _YEAR_FIRST.fullmatch(bare):
        return _made(int(found[1]), int(found[2]), int(found[3]), wrong)
    if found := _NUMBERS.fullmatch(bare):
        a, b, year = int(found[1]), int(found[3]), int(found[4])
        # With points between, the day comes first in every country that writes so.
        first = "day" if found[2] == "." or a > 12 else "month" if b > 12 else order.first
        if not first:
            if a == b:
                first = "day"
            else:
                raise ValueError(f"it may be {year}-{b:02}-{a:02} or {year}-{a:02}-{b:02}: {wrong}")
        return _made(year, b, a, wrong) if first == "day" else _made(year, a, b, wrong)
    low = bare.casefold()
    if found := _SPELT.fullmatch(low):
        return _made(int(found[3]), _month(found[2], wrong), int(found[1]), wrong)
    if found := _SPELT_FIRST.fullmatch(low):
        return _made(int(found[3]), _month(found[1], wrong), int(found[2]), wrong)
    raise ValueError(wrong)


def _month(word: str, wrong: str) -> int:
    if word[:3] not in _MONTHS:
        raise ValueError(wrong)
    return _MONTHS.index(word[:3]) + 1


def _made(year: int, month: int, day: int, wrong: str) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise ValueError(f"there is no such day; {wrong}") from None
