"""Forms: one description of each field, by which it is shown, read, checked and taken out of what is kept.

How a value is typed and written is its kind's: those of `cases`, and the few below that only a form needs. A text that
cannot be read is refused at its field, and every fault of a form is told at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import Field, dataclass, field, fields, replace
from datetime import date, datetime
from typing import Any, Protocol, TypeVar

from cases.errors import CaseError
from cases.procedure.choices import Choice, Marks, Order
from quiz.errors import QuizError

Made = TypeVar("Made")


class BadFields(QuizError):
    """What was sent cannot be taken; `faults` names each field with the sentence why, "" the whole."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__("; ".join(faults.values()))
        self.faults = dict(faults)


class BadText(QuizError):
    """A text that a field cannot be."""


# --- kinds that only forms need ----------------------------------------------------------------------------------


class Kind(Protocol):
    """What a field is, as the kinds of `cases` are."""

    def read(self, text: str, /) -> Any:
        """Read what was typed."""

    def write(self, value: Any, /) -> str:
        """Write it so that it can be read."""

    def from_json(self, given: Any, /) -> Any:
        """Take it out of JSON."""


@dataclass(frozen=True)
class Pick:
    """One of several, sent by its id; `values` are what each stands for where that is not its id."""

    options: tuple[tuple[str, str], ...]
    """Ids and labels."""
    values: tuple[Any, ...] = ()
    how = "one"

    @property
    def _ids(self) -> tuple[str, ...]:
        return tuple(id_ for id_, _ in self.options)

    def read(self, text: str) -> Any:
        """Read an id."""
        return dict(zip(self._ids, self.values or self._ids, strict=True))[self._known(text, self._ids)]

    def _known(self, given: Any, known: tuple[Any, ...]) -> Any:
        if given not in known:
            named = [one for one in self._ids if one]
            choices = " or ".join(named) if len(named) < 3 else f"one of {', '.join(named)}"
            raise BadText(f"“{str(given)[:40]}”: give {choices}")
        return given

    def write(self, value: Any) -> str:
        """Give the id."""
        return self._ids[self.values.index(value)] if self.values else str(value)

    def from_json(self, given: object) -> Any:
        """Take what it is kept as."""
        return self._known(given, self.values or self._ids)


@dataclass(frozen=True)
class Day:
    """A day of the calendar."""

    how = "text"

    def read(self, text: str) -> date:
        """Read year-month-day."""
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise BadText(f"date “{text[:30]}”: write year-month-day, like 2031-05-20") from error

    def write(self, value: date) -> str:
        """Write year-month-day."""
        return value.isoformat()

    from_json = read


@dataclass(frozen=True)
class Moment:
    """A day and a time of this computer's zone, as seconds since 1970."""

    how = "datetime-local"

    def read(self, text: str) -> float:
        """Read a day and a time."""
        try:
            return datetime.fromisoformat(text).timestamp()
        except (ValueError, OverflowError, OSError) as error:
            raise BadText(f"“{text[:30]}”: write the day and time like 2026-03-03T14:00") from error

    def write(self, value: float) -> str:
        """Write both, to the minute."""
        return f"{datetime.fromtimestamp(value).astimezone():%Y-%m-%dT%H:%M}"

    from_json = float


@dataclass(frozen=True)
class Whole:
    """A whole number."""

    what: str
    missing: str = "nothing was written: give a whole number"
    how = "text"

    def read(self, text: str) -> int:
        """Read digits; a per cent sign after them is let pass."""
        digits = text.removesuffix("%").rstrip()
        if not digits.isdecimal() or len(digits) > 6:
            raise BadText(f"{self.what} “{text[:20]}”: give a whole number")
        return int(digits)

    def write(self, value: float) -> str:
        """Write its digits."""
        return f"{value:g}"

    from_json = int


@dataclass(frozen=True)
class Words:
    """A text on one line, or of several."""

    how: str = "text"
    tidy: Callable[[str], str] = str

    def read(self, text: str) -> str:
        """Return it tidied."""
        return self.tidy(text)

    def write(self, value: str) -> str:
        """Return it as it is."""
        return value

    from_json = str


@dataclass(frozen=True)
class Tick:
    """A box that is ticked or not."""

    how = "tick"

    def read(self, text: str) -> bool:
        """Say whether it was ticked."""
        return text == "yes"

    def write(self, value: bool) -> str:
        """Give what a ticked box sends."""
        return "yes" if value else ""

    from_json = bool


# --- what a field is ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Input:
    """One field of a form."""

    name: str
    label: str
    kind: Kind
    hint: str = ""
    """How it is typed: stands above it."""
    help: str = ""
    """What it is for: stands below it."""
    entry: str = ""
    """The entry of the page's record in which it stands."""
    usual: Any = None
    """What it is where nothing is given."""
    required: bool = False
    """Whether something has to be given."""
    stand_in: Any = None
    """What is taken, where it cannot be read, to hold the other fields to the rules that they share."""
    kept: str = ""
    """Where its value is kept, as "attribute" or "attribute.key"; "": under its own name."""
    bare: str = ""
    """The unit that its label names, so that its value is written without."""
    size: int = 24
    most: int = 200
    """Characters that can be sent."""
    long: bool = False
    """Whether it is as wide as the page."""
    lens: bool = False
    """Whether it is told how it is read while it is typed."""

    @property
    def how(self) -> str:
        """How it is shown: "one" of its options, "many", "tick", "long", or the type of an HTML input."""
        match self.kind:
            case Choice():
                return "one"
            case Marks():
                return "many"
            case _:
                return str(getattr(self.kind, "how", "text"))

    @property
    def options(self) -> tuple[tuple[str, str], ...]:
        """What can be chosen, as values and labels."""
        if isinstance(self.kind, Pick):
            return self.kind.options
        return tuple((one.id, one.label) for one in getattr(self.kind, "options", ()))

    @property
    def place(self) -> list[str]:
        """Where its value is kept, part by part."""
        return (self.kept or self.name).split(".")

    def of(self, what: Any) -> Any:
        """Take its value out of a dataclass or mapping; the usual one where that has none."""
        for part in self.place:
            what = what.get(part, self.usual) if isinstance(what, Mapping) else getattr(what, part, self.usual)
        return what

    def write(self, value: Any) -> str:
        """Write a value as the text that a form sends for it."""
        return "" if value is None or value == "" else form_text(self.kind, value).removesuffix(self.bare)

    def read(self, text: str) -> Any:
        """Read what was sent.

        Raises
        ------
        CaseError, QuizError
            With the sentence why it cannot be.
        """
        tidy = text.strip()
        if not tidy and not self.required:
            return self.usual
        if not tidy:
            raise BadText(getattr(self.kind, "missing", "nothing is written"))
        if len(tidy) > self.most:
            raise BadText(f"{len(tidy)} characters: {self.most} are the most")
        return self.kind.read(tidy)


def described(label: str, kind: Kind, **more: Any) -> dict[str, Input]:
    """Describe a dataclass's field without a default, as its metadata: `title: str = field(metadata=described(…))`."""
    return {"input": Input("", label, kind, **more)}


def asked(label: str, kind: Kind, *, usual: Any = None, **more: Any) -> Any:
    """Make a dataclass's field that knows how it is asked for; `usual` is its default."""
    return field(default=usual, metadata=described(label, kind, usual=usual, **more))


def inputs_of(kind: Any) -> tuple[Input, ...]:
    """Return the fields of a form that a dataclass describes, in its order."""
    found: Iterable[Field[Any]] = fields(kind)
    return tuple(replace(one.metadata["input"], name=one.name) for one in found if "input" in one.metadata)


def form_text(kind: Any, value: Any) -> str:
    """Write a value as a form sends it, so that the kind reads it back: what is chosen by its id."""
    match kind:
        case Choice():
            return str(value)
        case Marks() | Order():
            return "; ".join(value) or "none"
        case _:
            return str(kind.write(value))


def joined(kind: Any, parts: Sequence[str]) -> str:
    """Make one text of the fields that a form has for one thing asked: boxes, or a list for every place."""
    between = "; " if isinstance(kind, Order | Marks) else " "
    return between.join(part for part in parts if part)


# --- shown and read ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shown:
    """A field as a page shows it."""

    input: Input
    text: str
    problem: str | None = None
    focus: bool = False
    id: str = ""

    @property
    def chosen(self) -> tuple[str, ...]:
        """The values that are ticked."""
        return tuple(part.strip() for part in self.text.split(";")) if self.input.how == "many" else (self.text,)


def shown(
    inputs: Iterable[Input],
    texts: Mapping[str, str],
    faults: Mapping[str, str] | None = None,
    *,
    before: str = "",
    focus: str | None = None,
) -> dict[str, Shown]:
    """Show a form by the names of its fields; the first at fault has the focus, else the one named."""
    faults, inputs = faults or {}, tuple(inputs)
    first = next((one.name for one in inputs if one.name in faults), focus)
    return {
        one.name: Shown(
            one,
            texts.get(one.name, "" if one.required else one.write(one.usual)),
            faults.get(one.name),
            one.name == first,
            before + one.name.replace(".", "-"),
        )
        for one in inputs
    }


def written(inputs: Iterable[Input], what: Any) -> dict[str, str]:
    """Write what a dataclass or mapping holds as the texts of a form."""
    return {one.name: one.write(one.of(what)) for one in inputs}


def read(inputs: Iterable[Input], texts: Mapping[str, str]) -> tuple[dict[str, Any], dict[str, str]]:
    """Read a form: the values of the fields that can be read, and why each of the others cannot."""
    values, faults = dict[str, Any](), dict[str, str]()
    for one in inputs:
        try:
            values[one.name] = one.read(texts.get(one.name, ""))
        except (CaseError, QuizError) as error:
            faults[one.name] = str(error)
    return values, faults


def nested(inputs: Iterable[Input], values: Mapping[str, Any]) -> dict[str, Any]:
    """Put values where they are kept."""
    out: dict[str, Any] = {}
    for one in inputs:
        if one.name in values:
            *groups, last = one.place
            place = out
            for group in groups:
                place = place.setdefault(group, {})
            place[last] = values[one.name]
    return out


def made(
    make: Callable[..., Made],
    inputs: Sequence[Input],
    texts: Mapping[str, str],
    *,
    refuse: type[BadFields] = BadFields,
    faults: Mapping[str, str] | None = None,
    **more: Any,
) -> Made:
    """Make a dataclass of what was sent, whose own rules are asked as well, and of what else it needs.

    faults are those found already, by name of the field.

    Raises
    ------
    BadFields
        As `refuse`, with every fault at once. A field that cannot be read is taken as usual for the rules on others.
    """
    values, found = read(inputs, texts)
    found |= faults or {}
    usual = {one.name: one.usual if one.stand_in is None else one.stand_in for one in inputs}
    try:
        done = make(**nested(inputs, usual | values), **more)
    except BadFields as error:
        found = error.faults | found
    if found:
        raise refuse(found)
    return done
