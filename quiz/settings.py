"""What a learner may set: form, distance, level, look, length of a sitting, and the clinic's own norms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, date, datetime, time
from typing import Any

from cases.casetype import LEVELS, Settings
from cases.errors import CaseError
from cases.kinds import Distance
from cases.norms import NORMS, Norm
from cases.notation import read_power, read_quantity, write_power
from quiz.errors import QuizError

FORMS = ("minus", "plus")
THEMES = ("auto", "light", "dark")
USUAL_DISTANCE = Distance(low=20.0, high=150.0)
"""An arm's length, more or less: 6.7 for 67 is asked back. Common practice, no published source."""


@dataclass(frozen=True)
class Length:
    """How long a sitting is: so many cases, or so many minutes."""

    id: str
    label: str
    cases: int | None = None
    minutes: float | None = None


LENGTHS = (
    Length("10-cases", "ten cases", cases=10),
    Length("5-minutes", "five minutes", minutes=5),
    Length("5-cases", "five cases", cases=5),
    Length("20-cases", "twenty cases", cases=20),
    Length("15-minutes", "fifteen minutes", minutes=15),
)


class BadSetting(QuizError):
    """A setting was given a value that it cannot take."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(why)
        self.name = name


def read_norm(norm: Norm, text: str) -> float:
    """Read the value of a norm as a person typed it.

    Raises
    ------
    BadSetting
        When it is no number or outside the range.
    """
    try:
        value = read_power(text) if norm.unit == "D" else read_quantity(text, norm.unit)
    except CaseError as error:
        raise BadSetting(f"norm-{norm.id}", f"{norm.label}: {error}") from error
    if not norm.low <= value <= norm.high:
        rule = f"{norm.label} {value:g} {norm.unit}: give {norm.low:g} to {norm.high:g} {norm.unit}"
        raise BadSetting(f"norm-{norm.id}", rule)
    return value


def write_norm(norm: Norm, value: float) -> str:
    """Write the value of a norm for its field: a power with its sign, anything else as a plain number."""
    return write_power(value) if norm.unit == "D" else f"{value:g}"


def read_day(text: object) -> date:
    """Read the day of an exam.

    Raises
    ------
    BadSetting
        When it is not a day of the calendar written as year-month-day.
    """
    try:
        day = date.fromisoformat(str(text))
    except ValueError:
        day = None
    # Other writings of ISO 8601 are read as well, but a date field shows only this one.
    if day is None or day.isoformat() != text:
        why = f"exam day “{str(text)[:40]}”: write it as year-month-day, such as 2031-05-20, or leave it empty"
        raise BadSetting("exam_day", why)
    return day


def _one_of(name: str, value: object, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise BadSetting(name, f"{name} “{str(value)[:40]}”: give one of {', '.join(allowed)}")


@dataclass(frozen=True)
class LearnerSettings:
    """A learner's settings; distances in cm."""

    form: str = "minus"
    distance_cm: float = 67.0
    level: str = "competent"
    theme: str = "auto"
    sitting: str = LENGTHS[0].id
    norms: Mapping[str, float] = field(default_factory=dict)
    """Only those that differ from the usual."""
    exam_day: str = ""
    """The day of an exam as year-month-day, "" for none."""

    def __post_init__(self) -> None:
        _one_of("form", self.form, FORMS)
        _one_of("level", self.level, LEVELS)
        _one_of("theme", self.theme, THEMES)
        _one_of("sitting", self.sitting, tuple(one.id for one in LENGTHS))
        try:
            USUAL_DISTANCE.from_json(self.distance_cm)
        except CaseError as error:
            raise BadSetting("distance_cm", str(error)) from error
        if self.exam_day != "":
            read_day(self.exam_day)
        if self.norm("lag-usual-low") > self.norm("lag-usual-high"):
            raise BadSetting("norm-lag-usual-low", "the usual lag: its lower end lies above its upper end")

    @property
    def length(self) -> Length:
        """How long a sitting is."""
        return next(one for one in LENGTHS if one.id == self.sitting)

    @property
    def exam_at(self) -> float | None:
        """The middle of the exam's day in UTC, in seconds since 1970."""
        if not self.exam_day:
            return None
        return datetime.combine(read_day(self.exam_day), time(12), UTC).timestamp()

    def norm(self, norm_id: str) -> float:
        """Return a norm as this learner has it."""
        return self.norms.get(norm_id, next(one.usual for one in NORMS if one.id == norm_id))

    @property
    def for_drawing(self) -> Settings:
        """Return what the core needs to draw a case."""
        return Settings(
            form=self.form,
            level=self.level,
            distance_cm=self.distance_cm,
            norms=self.norms,
        )

    def to_json(self) -> dict[str, Any]:
        """Put them into JSON."""
        return asdict(self)

    @classmethod
    def from_json(cls, given: Mapping[str, Any]) -> LearnerSettings:
        """Take them out of JSON; what is missing or no longer allowed has its usual value."""
        kept = {one.name: given[one.name] for one in fields(cls) if one.name in given}
        norms = {one.id: one for one in NORMS}
        kept["norms"] = {
            name: value
            for name, value in dict(kept.get("norms") or {}).items()
            if name in norms and isinstance(value, int | float) and norms[name].low <= value <= norms[name].high
        }
        while True:
            try:
                return cls(**kept)
            except BadSetting as error:
                kept.pop("norms" if error.name.startswith("norm-") else error.name)
