"""The accuracy log: one eye's own retinoscopy beside the end-point it was compared with, and the numbers taken from it.

What the numbers say is in statistics.py and conclusions.py, files in and out in importing.py, the charts in
accuracy_charts.py. A patient is an arbitrary number within the log and never a name.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.optics.vergence import FARTHEST_CM, NEAREST_CM
from cases.procedure import quantities
from cases.procedure.kinds import POWER_LIMIT, Lens
from quiz.accuracy.sample import Sample
from quiz.practice.forms import BadFields, BadText, Day, Pick, Words, asked, described, inputs_of, made, read

EYES = (("right", "right eye"), ("left", "left eye"))
AGES = (("", "not said"), ("under-20", "under 20"), ("20-to-39", "20 to 39"), ("40-or-over", "40 or over"))
"""Coarse on purpose: enough to say who can accommodate, too little to say who it was. "" is not said."""
_YOUNG = {"": math.nan, "under-20": 1.0, "20-to-39": 1.0, "40-or-over": 0.0}
HIGHEST_PATIENT = 9999
LONGEST_REMARK = 200
_MOST_LOOKED_AT = 20 * LONGEST_REMARK
"""Characters beyond which a remark is not tidied: its spaces and what does not print would have to be most of it."""
EARLIEST = date(1970, 1, 1)


class BadEntry(BadFields):
    """An entry that cannot be taken."""


_RUNNING_NUMBER = re.compile(r"[0-9]{1,4}")


@dataclass(frozen=True)
class PatientKind:
    """The running number of a patient, which must say nothing of who it was."""

    missing = f"no patient number is given: a running number from 1 to {HIGHEST_PATIENT}, the same for both eyes"

    def read(self, text: str) -> int:
        """Read up to four digits, in whatever script they are."""
        tidy = unicodedata.normalize("NFKC", text.strip()[:40]).strip()
        if not _RUNNING_NUMBER.fullmatch(tidy) or not int(tidy):
            raise BadText(
                f"patient “{tidy[:30]}”: give a running number from 1 to {HIGHEST_PATIENT}; "
                "it only pairs two eyes and must say nothing of who it was"
            )
        return int(tidy)

    def write(self, value: int) -> str:
        """Write its digits."""
        return str(value)

    from_json = int


def tidy_remark(text: str) -> str:
    """Return a remark on one line, its spaces tidied and what does not print left out.

    One that is far too long is left as it is, to be refused: putting accents in order takes the square of their number.
    """
    if len(text) > _MOST_LOOKED_AT:
        return text
    kept = "".join(mark for mark in text if mark.isspace() or unicodedata.category(mark)[0] != "C")
    return " ".join(unicodedata.normalize("NFC", kept).split())


_DONE = Pick((("dry", "dry"), ("wet", "under cycloplegia")), values=(False, True))


@dataclass(frozen=True)
class Entry:
    """One eye, once: own net retinoscopy and the end-point. Powers in D, axes in degrees, the distance in cm.

    Raises
    ------
    BadEntry
        When a value lies outside what an examination can give, or the patient's number looks like a record number.
    """

    eye: str = field(metadata=described("Eye", Pick(EYES), required=True, stand_in="right"))
    patient: int = field(
        metadata=described(
            "Patient, a running number",
            PatientKind(),
            required=True,
            stand_in=1,
            hint="The same for both eyes of one patient: 1, 2, 3 … Never a record number or a name.",
            size=6,
        )
    )
    """Arbitrary within the log: it only tells which two eyes belong together."""
    retinoscopy: SphCyl = field(
        metadata=described(
            "Your own net retinoscopy", Lens(), required=True, stand_in=SphCyl(0), hint=Lens.hint, lens=True
        )
    )
    end_point: SphCyl = field(
        metadata=described(
            "End-point of the subjective, or of the cycloplegic repeat",
            Lens(),
            required=True,
            stand_in=SphCyl(0),
            lens=True,
        )
    )
    distance_cm: float = field(
        metadata=described(
            "Working distance that you allowed for",
            quantities.DISTANCE,
            required=True,
            stand_in=100.0,
            hint=quantities.DISTANCE.hint,
            size=8,
        )
    )
    on: date = field(
        metadata=described(
            "Day of the examination", Day(), required=True, stand_in=EARLIEST, hint="year-month-day", size=12
        )
    )
    wet: bool = asked("It was done", _DONE, usual=False)
    """Whether the retinoscopy was done under cycloplegia."""
    end_wet: bool = asked("It was reached", _DONE, usual=False)
    """Whether the end-point was reached under cycloplegia."""
    age: str = asked("Age", Pick(AGES), usual="", hint="Shows who can accommodate; optional.")
    remark: str = asked(
        "Remark",
        Words(tidy=tidy_remark),
        usual="",
        hint="Optional. Nothing that identifies the patient: no name, no date of birth, no number of a record.",
        size=40,
    )

    def __post_init__(self) -> None:
        faults = {}
        if self.eye not in dict(EYES):
            faults["eye"] = f"eye “{str(self.eye)[:20]}”: give right or left"
        if not 1 <= self.patient <= HIGHEST_PATIENT:
            faults["patient"] = (
                f"patient {self.patient}: give a running number from 1 to {HIGHEST_PATIENT}, never a record number"
            )
        for name, lens in (("retinoscopy", self.retinoscopy), ("end_point", self.end_point)):
            if lens.strongest > POWER_LIMIT:
                faults[name] = f"{write_prescription(lens)}: give powers within ±{POWER_LIMIT:g} D"
        if not NEAREST_CM <= self.distance_cm <= FARTHEST_CM:
            faults["distance_cm"] = (
                f"distance {self.distance_cm:g} cm: give centimetres from {NEAREST_CM:g} to {FARTHEST_CM:g}"
            )
        if self.on < EARLIEST:
            faults["on"] = f"date {self.on.isoformat()}: give a date from {EARLIEST.year} on"
        if self.age not in dict(AGES):
            faults["age"] = f"age “{str(self.age)[:20]}”: give {', '.join(id_ for id_, _ in AGES[1:])}, or leave it out"
        if len(self.remark) > LONGEST_REMARK:
            faults["remark"] = f"a remark of {len(self.remark)} characters: {LONGEST_REMARK} is the most"
        if faults:
            raise BadEntry(faults)

    @property
    def difference(self) -> SphCyl:
        """Retinoscopy less end-point, as a lens in minus-cylinder form: plus means read too plus."""
        return self.retinoscopy - self.end_point

    @property
    def can_accommodate(self) -> bool | None:
        """Whether accommodation may have been in play at the retinoscopy; None when age does not tell.

        Under cycloplegia, or from 40 on, it is taken as out of play: a threshold of patterns.py.
        """
        if self.wet or self.age == "40-or-over":
            return False
        return True if self.age else None


ENTRY = inputs_of(Entry)


def read_entry(texts: Mapping[str, str], *, today: date) -> Entry:
    """Read an entry from the texts of a form, named as the fields of Entry ("wet" and "end_wet" are "dry" or "wet").

    Raises
    ------
    BadEntry
        With every field that cannot be read, at once.
    """
    on = read(ENTRY, texts)[0].get("on", today)
    ahead = {"on": f"date {on.isoformat()} is still to come: give the day of the examination"} if on > today else {}
    return made(Entry, ENTRY, texts, refuse=BadEntry, faults=ahead)


# --- what a remark must not hold ---------------------------------------------------------------------------------

_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|sept|oct|nov|dec"
_MONTH = rf"(?:{_MONTHS}|january|february|march|april|june|july|august|september|october|november|december)"
_SIGNS_OF_SOMEONE = (
    (re.compile(r"[^\s@]@[^\s@]{1,200}\.[^\W\d_]{2}"), "an e-mail address"),
    (
        re.compile(
            rf"\b\d{{1,4}}[./-]\d{{1,2}}[./-]\d{{2,4}}\b|\b\d{{1,2}}(?:st|nd|rd|th)? ?{_MONTH}\b\.?,? ?\d{{2,4}}", re.I
        ),
        "a date, perhaps of birth",
    ),
    (re.compile(r"\b(?:d\.?o\.?b\b|born|birth)", re.I), "a date of birth"),
    (re.compile(r"(?<![\d.,])(?:\d{5,200}|\d(?:[ -]?\d){5,200})(?![\d.,])"), "a record or telephone number"),
    (re.compile(r"\b[A-Z]{1,2}\d[A-Z\d]? ?\d[A-Z]{2}\b"), "a postcode"),
    (
        re.compile(
            r"\b(?:Mr|Mrs|Ms|Mx|Miss|Master|Sir|Madam|Dr|Prof|Herr|Frau|Mme|Mlle|Monsieur|Sra?|Señora?|Sig|Dhr|Mevr)\b\.?"
            r" {1,9}[^\W\d_]",
            re.I,
        ),
        "a name",
    ),
    (re.compile(r"\b(?:name|patient|pt|called)\b ?(?:is|:|=)? ?[A-Z][^\W\d_]"), "a name"),
    (
        re.compile(r"\b[A-Z][a-zà-öø-ÿ]{1,200}(?:[-'’][A-Z][a-zà-öø-ÿ]{1,200})? [A-Z](?:[a-zà-öø-ÿ]{1,200}|\.)(?!\w)"),
        "a name",
    ),
)
"""Every repeat is bounded by the longest remark, so that the work grows with the length and not with its square."""


def doubts(remark: str) -> tuple[str, ...]:
    """Say what a remark holds that may tell who the patient was, a phrase each: to be asked about, not refused.

    One that is too long to be kept is not looked at.
    """
    if len(remark) > LONGEST_REMARK:
        return ()
    plain = unicodedata.normalize("NFKC", remark)
    return tuple(dict.fromkeys(what for pattern, what in _SIGNS_OF_SOMEONE if pattern.search(plain)))


# --- the log as numbers ------------------------------------------------------------------------------------------


def sample_of(entries: Sequence[Entry]) -> Sample:
    """Put entries into arrays, in their order."""
    ret = np.array([one.retinoscopy.power_vector() for one in entries]).reshape(-1, 3)
    end = np.array([one.end_point.power_vector() for one in entries]).reshape(-1, 3)
    known = [one.can_accommodate for one in entries]
    return Sample(
        patient=np.array([one.patient for one in entries], dtype=np.int64),
        right=np.array([one.eye == "right" for one in entries], dtype=np.bool_),
        difference=ret - end,
        middle=(ret + end) / 2,
        end_point=end,
        distance_cm=np.array([one.distance_cm for one in entries], dtype=np.float64),
        day=np.array([one.on.toordinal() for one in entries], dtype=np.float64),
        accommodates=np.array([math.nan if one is None else float(one) for one in known], dtype=np.float64),
        young=np.array([_YOUNG[one.age] for one in entries], dtype=np.float64),
    )
