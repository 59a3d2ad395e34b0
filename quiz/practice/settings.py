"""What a learner may set: form, distance, level, look, length of a sitting, and the clinic's own norms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from typing import Any

from cases.errors import CaseError
from cases.evidence.sources import cited
from cases.notation.prescription import read_power, read_quantity, write_power
from cases.optics.norms import NORMS, USUAL, Norm
from cases.patients.population import EAST_ASIA, EUROPE, LESS_PLUS
from cases.procedure import quantities
from cases.procedure.kinds import number_from
from cases.procedure.settings import Settings
from quiz.errors import QuizError
from quiz.practice.forms import BadFields, BadText, Input, Pick, asked, inputs_of, made, nested, written
from quiz.storage.rows import as_json

FORMS = (("minus", "minus cylinder"), ("plus", "plus cylinder"))
LEVEL_WORDS = (
    ("novice", "novice: one step or two at a time"),
    ("competent", "competent: whole results, the distances in common use"),
    ("expert", "expert: every type, odd distances, single degrees"),
)
CLINICIAN = "clinician"
ROLES = (
    ("student", "student: learning retinoscopy"),
    ("preceptor", "preceptor: teaching it"),
    (CLINICIAN, "clinician: using it"),
)
REGIONS_SAID = (
    (EUROPE, "northern and western Europe"),
    (EAST_ASIA, "China, Korea and Singapore"),
    (LESS_PLUS, "children with less plus"),
)
THEMES = (("auto", "as this computer is set"), ("light", "light: paper"), ("dark", "dark: for a dim room"))
USUAL_DISTANCE = quantities.DISTANCE.having(low=20.0, high=150.0)
"""An arm's length, more or less: 6.7 for 67 is asked back. Common practice, no published source."""


@dataclass(frozen=True)
class Length:
    """How long a sitting is: this many cases, or this many minutes."""

    id: str
    label: str
    cases: int | None = None
    minutes: float | None = None
    every_days: int = 0
    """Days from one sitting to the next; 0: as often as one likes."""


WEEKLY = "weekly"
LENGTHS = (
    Length("10-cases", "ten cases", cases=10),
    Length("5-minutes", "five minutes", minutes=5),
    Length("5-cases", "five cases", cases=5),
    Length("20-cases", "twenty cases", cases=20),
    Length("10-minutes", "ten minutes", minutes=10),
    Length("15-minutes", "fifteen minutes", minutes=15),
    Length(WEEKLY, "ten minutes a week", minutes=10, every_days=7),
)


class BadSetting(BadFields):
    """Settings that cannot be."""


@dataclass(frozen=True)
class NormKind:
    """The value of a norm: a power with its sign, anything else as a plain number."""

    norm: Norm

    def read(self, text: str) -> float:
        """Read it as a person types it."""
        norm = self.norm
        try:
            return self.from_json(read_power(text) if norm.unit == "D" else read_quantity(text, norm.unit))
        except CaseError as error:
            raise BadText(f"{norm.label}: {error}") from error

    def write(self, value: float) -> str:
        """Write it without its unit, which the label names."""
        return write_power(value) if self.norm.unit == "D" else f"{value:g}"

    def from_json(self, given: object) -> float:
        """Take a number within the norm's range."""
        norm, value = self.norm, number_from(given, self.norm.label)
        if not norm.low <= value <= norm.high:
            raise BadText(f"{norm.label} {value:g} {norm.unit}: give {norm.low:g} to {norm.high:g} {norm.unit}")
        return value

    @property
    def unit(self) -> str:
        """Its unit as it follows a number."""
        return self.norm.unit if self.norm.unit in ("", "°") else f" {self.norm.unit}"


@dataclass(frozen=True)
class ExamDay:
    """The day of an exam, kept as it is written: year-month-day."""

    how = "date"

    def read(self, text: object) -> str:
        """Read a day, as a date field sends it."""
        try:
            # Other writings of ISO 8601 are days as well, but a date field shows only this one.
            if date.fromisoformat(str(text)).isoformat() == text:
                return str(text)
        except ValueError:
            pass
        raise BadText(f"exam day “{str(text)[:40]}”: write it as year-month-day, such as 2031-05-20, or leave it empty")

    def write(self, value: str) -> str:
        """Return it as it is."""
        return value

    from_json = read


@dataclass(frozen=True)
class LearnerSettings:
    """A learner's settings; distances in cm.

    A setting is described here and nowhere else: the page that shows it, its reader, what is kept and what is taken
    away all follow from its line.
    """

    form: str = asked("Cylinder form asked for", Pick(FORMS), usual="minus", entry="Writing")
    distance_cm: float = asked(
        "Your usual working distance, in centimetres",
        USUAL_DISTANCE,
        usual=67.0,
        required=True,
        bare=" cm",
        size=8,
        help="About two cases in five are drawn at it, the others at distances in common use.",
        entry="Distance",
    )
    level: str = asked("Level", Pick(LEVEL_WORDS), usual="competent", entry="Cases")
    theme: str = asked("Theme", Pick(THEMES), usual="auto", entry="Look")
    sitting: str = asked(
        "Length of a sitting",
        Pick(tuple((one.id, one.label) for one in LENGTHS)),
        usual=LENGTHS[0].id,
        hint="No clock is shown.",
        entry="Cases",
    )
    norms: Mapping[str, float] = field(default_factory=dict)
    """Only those that differ from the usual."""
    exam_day: str = asked(
        "Day of an exam, if one is ahead",
        ExamDay(),
        usual="",
        help="Shortly before it, nothing new comes that takes more than a small part of the time left. "
        "All along, practice brings what you may soon forget.",
        entry="Exam",
    )
    region: str = asked(
        "Refractions of drawn patients, as in",
        Pick(REGIONS_SAID),
        usual=EUROPE,
        help="Of patients whom you examine, and of findings to practise with. For other regions there are no figures.",
        entry="Patients",
    )
    role: str = asked(
        "What you are", Pick(ROLES), usual="student", help="Decides which pages are in the menu.", entry="You"
    )

    def __post_init__(self) -> None:
        faults: dict[str, str] = {}
        for one in SETTINGS:
            value = one.of(self)
            try:
                if value != one.usual:
                    one.kind.from_json(as_json(value))
            except (CaseError, QuizError) as error:
                faults[one.name] = str(error)
        if self.norm("lag-usual-low") > self.norm("lag-usual-high"):
            faults.setdefault("norm-lag-usual-low", "the usual lag: its lower end lies above its upper end")
        if faults:
            raise BadSetting(faults)

    @property
    def length(self) -> Length:
        """How long a sitting is."""
        return next(one for one in LENGTHS if one.id == self.sitting)

    @property
    def exam_at(self) -> float | None:
        """The middle of the exam's day in UTC, in seconds since 1970."""
        if not self.exam_day:
            return None
        return datetime.combine(date.fromisoformat(self.exam_day), time(12), UTC).timestamp()

    def norm(self, norm_id: str) -> float:
        """Return a norm as this learner has it."""
        return self.norms.get(norm_id, USUAL[norm_id])

    @property
    def for_drawing(self) -> Settings:
        """Return what the core needs to draw a case."""
        return Settings(
            form=self.form,
            level=self.level,
            distance_cm=self.distance_cm,
            region=self.region,
            norms=self.norms,
        )

    @classmethod
    def from_json(cls, given: Mapping[str, Any]) -> LearnerSettings:
        """Take them out of JSON; what is missing or no longer allowed has its usual value."""
        values: dict[str, Any] = {}
        for one in SETTINGS:
            try:
                values[one.name] = one.kind.from_json(one.of(given))
            except (CaseError, QuizError):
                continue
        try:
            return _settings(**nested(SETTINGS, values))
        except BadSetting:  # norms that exclude one another
            return _settings(**nested(SETTINGS, {name: one for name, one in values.items() if name[:5] != "norm-"}))


def _settings(*, norms: Mapping[str, float] | None = None, **values: Any) -> LearnerSettings:
    return LearnerSettings(norms={id_: one for id_, one in (norms or {}).items() if one != USUAL[id_]}, **values)


ENTRIES = ("You", "Writing", "Distance", "Cases", "Exam", "Look", "Norms")
"""In the order in which the page has them."""
SETTINGS = (
    *inputs_of(LearnerSettings),
    *(
        Input(
            f"norm-{one.id}",
            f"{one.label}, in {one.unit}" if one.unit else one.label,
            NormKind(one),
            help=f"Usual: {NormKind(one).write(one.usual)}{NormKind(one).unit}. Source: {cited(one.sources)}.",
            usual=one.usual,
            required=True,
            kept=f"norms.{one.id}",
            size=8,
            entry="Norms",
        )
        for one in NORMS
    ),
)


def read_settings(before: LearnerSettings, sent: Mapping[str, str], *, today: date) -> LearnerSettings:
    """Read what a form sent; what it leaves out stays as it was.

    Raises
    ------
    BadSetting
        With every field that cannot be, at once.
    """
    texts = {**written(SETTINGS, before), **sent}
    over = {}
    day = texts["exam_day"].strip()
    if day != before.exam_day and "" < day < today.isoformat() and _is_day(day):
        over["exam_day"] = f"exam day {day}: that day is over; give one that lies ahead, or leave it empty"
    return made(_settings, SETTINGS, texts, refuse=BadSetting, faults=over)


def _is_day(text: str) -> bool:
    try:
        return bool(ExamDay().read(text))
    except BadText:
        return False
