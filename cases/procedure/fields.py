"""Named quantities, alone, in groups and in lists: what is found and what is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from cases.errors import CaseError, OutOfRange
from cases.notation.tokens import hold_to_length
from cases.procedure.keys import Key, Keys, Part
from cases.procedure.kinds import BadFinding, Kind

T = TypeVar("T")
U = TypeVar("U")


@dataclass(frozen=True)
class Several(Kind[tuple[T, ...]]):
    """A list of one kind of thing, such as the lenses in a trial frame."""

    of: Kind[T]
    least: int = 1
    most: int = 8
    id = "list"

    @property
    def hint(self) -> str:  # type: ignore[override]
        """How it is typed."""
        return f"{self.of.hint}; with a semicolon between"

    def read(self, text: str) -> tuple[T, ...]:
        """Read several with semicolons between."""
        parts = self._counted([part for part in hold_to_length(text).split(";") if part.strip()])
        return tuple(self.of.read(part) for part in parts)

    def _counted(self, parts: Sequence[U]) -> Sequence[U]:
        if not self.least <= len(parts) <= self.most:
            raise OutOfRange("list", f"of {len(parts)}", f"give {self.least} to {self.most}, with semicolons between")
        return parts

    def write(self, value: Sequence[T]) -> str:
        """Write them with semicolons between."""
        return "; ".join(self.of.write(one) for one in value)

    def from_json(self, given: object) -> tuple[T, ...]:
        """Take them out of a JSON list."""
        if not isinstance(given, Sequence) or isinstance(given, str):
            raise BadFinding(given, "give a list")
        return tuple(self.of.from_json(one) for one in self._counted(given))

    def to_json(self, value: Sequence[T]) -> list[Any]:
        """Give a JSON list."""
        return [self.of.to_json(one) for one in value]

    def same(self, given: Sequence[T], truth: Sequence[T]) -> bool:
        """Compare one by one."""
        return len(given) == len(truth) and all(map(self.of.same, given, truth))

    def close(self, given: Sequence[T], truth: Sequence[T]) -> bool:
        """Compare one by one."""
        return len(given) == len(truth) and all(map(self.of.close, given, truth))


@dataclass(frozen=True)
class Field(Key[T]):
    """A named quantity: something that was found, or something that is asked for."""

    label: str
    kind: Kind[T]
    default: Any = None
    """What is taken when JSON leaves a finding out; None: it must be given."""

    def __getitem__(self, inner: Key[U]) -> Part[U]:
        """Name one of the quantities in a group, such as `FIRST[STREAK]`."""
        kind: Any = self.kind
        if not isinstance(kind, Group) or inner not in kind.fields:
            raise TypeError(f"field {self.name} is no group that has {inner.name}")
        whole: Key[Any] = self
        return Part(f"{self.name}.{inner.name}", whole, inner)


@dataclass(frozen=True)
class Group(Kind[Mapping[str, Any]]):
    """Several named quantities that belong together, such as a streak and the sphere that neutralised it."""

    fields: tuple[Field[Any], ...]
    id = "group"

    @property
    def hint(self) -> str:  # type: ignore[override]
        """How it is typed."""
        return "; ".join(field.label for field in self.fields)

    def read(self, text: str) -> dict[str, Any]:
        """Read the fields in order with semicolons between."""
        parts = [part for part in hold_to_length(text).split(";") if part.strip()]
        if len(parts) != len(self.fields):
            raise BadFinding(text, f"give {self.hint}, with a semicolon between")
        return {field.name: field.kind.read(part) for field, part in zip(self.fields, parts, strict=True)}

    def write(self, value: Mapping[str, Any]) -> str:
        """Write the fields in order with semicolons between."""
        return "; ".join(field.kind.write(value[field.name]) for field in self.fields)

    def from_json(self, given: object) -> dict[str, Any]:
        """Take the fields out of a JSON object; unknown names are refused and defaults filled in."""
        if not isinstance(given, Mapping):
            raise BadFinding(given, "give an object with " + ", ".join(field.name for field in self.fields))
        unknown = set(given) - {field.name for field in self.fields}
        if unknown:
            names = ", ".join(field.name for field in self.fields)
            raise BadFinding(sorted(map(str, unknown)), f"unknown here; the names are {names}")
        out = {}
        for field in self.fields:
            if field.name in given:
                try:
                    out[field.name] = field.kind.from_json(given[field.name])
                except CaseError as error:
                    raise BadFinding(given[field.name], f"{field.name}: {error}") from error
            elif field.default is not None:
                out[field.name] = field.default
            else:
                raise BadFinding(sorted(map(str, given)), f"{field.name} is missing: {field.label}")
        return out

    def to_json(self, value: Mapping[str, Any]) -> dict[str, Any]:
        """Give a JSON object."""
        return {field.name: field.kind.to_json(value[field.name]) for field in self.fields}

    def same(self, given: Mapping[str, Any], truth: Mapping[str, Any]) -> bool:
        """Compare field by field."""
        return all(field.kind.same(given[field.name], truth[field.name]) for field in self.fields)

    def close(self, given: Mapping[str, Any], truth: Mapping[str, Any]) -> bool:
        """Compare field by field."""
        return all(field.kind.close(given[field.name], truth[field.name]) for field in self.fields)

    def alike(self, given: Mapping[str, Any], slipped: Mapping[str, Any]) -> bool:
        """Compare field by field."""
        return all(field.kind.alike(given[field.name], slipped[field.name]) for field in self.fields)


def group(found: Keys[*tuple[Any, ...]]) -> Group:
    """Make the group of these fields.

    Raises
    ------
    TypeError
        When one of the keys is no field: it could be neither labelled nor read.
    """
    return Group(tuple(_field(key) for key in found.keys))


def _field(key: Key[Any]) -> Field[Any]:
    if not isinstance(key, Field):
        raise TypeError(f"{key.name} is no field, so it cannot be found: give it a label and a kind")
    return key
