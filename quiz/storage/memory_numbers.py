"""The constants and priors that a data file's memory works with: the shipped ones, or those that it adopted.

Every version that was adopted stays in the file, so that any learner's memory can be worked out as it was then.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import cache

import msgspec

from quiz.errors import QuizError
from quiz.learning.parameters import MODEL, NUMBERS, Numbers, Prior
from quiz.lru_cache import LockedCache
from quiz.storage.store import Store

NAME = "memory numbers"
SHIPPED = "shipped"


class UnknownVersion(QuizError):
    """No such version of the numbers is in the data file."""

    def __init__(self, given: str, known: tuple[str, ...]) -> None:
        super().__init__(f"version “{given[:40]}”: give one of {', '.join((SHIPPED, *known))}")


class BadNumbers(QuizError):
    """The adopted numbers in the data file cannot be read."""

    def __init__(self, why: Exception) -> None:
        super().__init__(
            f"the memory's adopted numbers cannot be read ({why}): go back to the shipped ones with "
            "`python -m quiz refit --use shipped`"
        )


@dataclass(frozen=True)
class Version:
    """Numbers that were adopted at one time."""

    numbers: Numbers
    adopted_at: float
    """Seconds since 1970."""
    why: str
    """What they won by."""
    model: int = MODEL
    """Which memory they are for: another one cannot use them."""

    @property
    def id(self) -> str:
        """A short name that follows from the numbers."""
        return name_of(self.numbers)[:8]


@dataclass(frozen=True)
class Versions:
    """All that were adopted, the latest last, and which is in use."""

    adopted: tuple[Version, ...] = ()
    used: str = SHIPPED
    """The id of a version, or "shipped"."""

    @property
    def current(self) -> Numbers:
        """The numbers in use; the shipped ones where those are for another memory."""
        return next((one.numbers for one in self.adopted if one.id == self.used and one.model == MODEL), NUMBERS)


@dataclass(frozen=True)
class Current:
    """Numbers, and the name that states folded with them bear."""

    numbers: Numbers = NUMBERS
    name: str = field(default_factory=lambda: name_of(NUMBERS))


def name_of(numbers: Numbers) -> str:
    """Name numbers, and the memory that they are for: a state that was folded under another name is folded again."""
    # Without a class's rates of slips the name is what it was before there were any: nothing is folded otherwise.
    named = {name: value for name, value in vars(numbers).items() if name != "slips" or value}
    text = msgspec.json.encode([MODEL, named], order="sorted")
    return hashlib.sha256(text).hexdigest()[:16]


@cache
def _shipped() -> Current:
    return Current()


_read: LockedCache[str, Current] = LockedCache(8)
_personal: LockedCache[tuple[str, str], Numbers] = LockedCache(500)


def personal(found: Current, priors: str | None) -> Numbers:
    """Return the numbers with what one learner said of themselves beforehand, JSON of mean and variance by step."""
    if not priors or priors == "{}":
        return found.numbers
    key = found.name, priors
    kept = _personal.get(key)
    if kept is None:
        own = msgspec.json.decode(priors, type=dict[str, tuple[float, float]])
        steps = {step: Prior(mean, variance) for step, (mean, variance) in own.items()}
        kept = replace(found.numbers, steps={**found.numbers.steps, **steps})
        _personal.keep(key, kept)
    return kept


def current(store: Store) -> Current:
    """Return the numbers that this data file's memory works with."""
    text = store.app_value(NAME)
    if text is None:
        return _shipped()
    found = _read.get(text)
    if found is None:
        numbers = _versions(text).current
        found = Current(numbers, name_of(numbers))
        _read.keep(text, found)
    return found


def versions(store: Store) -> Versions:
    """Return all that were adopted."""
    text = store.app_value(NAME)
    return Versions() if text is None else _versions(text)


def _versions(text: str) -> Versions:
    try:
        return msgspec.json.decode(text, type=Versions)
    except msgspec.MsgspecError as error:
        raise BadNumbers(error) from error


def adopt(store: Store, numbers: Numbers, *, now: float, why: str) -> Version:
    """Keep numbers as a new version and use them from now on."""
    new = Version(numbers, now, why)
    with store.writing():
        before = versions(store)
        others = tuple(one for one in before.adopted if one.id != new.id)
        _keep(store, Versions((*others, new), new.id))
    return new


def use(store: Store, version: str) -> None:
    """Use a version that was adopted before, or the shipped numbers.

    Raises
    ------
    UnknownVersion
        When there is none of this name.
    """
    with store.writing():
        try:
            before = versions(store)
        except BadNumbers:
            before = Versions()
        known = tuple(one.id for one in before.adopted if one.model == MODEL)
        if version not in (SHIPPED, *known):
            raise UnknownVersion(version, known)
        _keep(store, replace(before, used=version))


def _keep(store: Store, found: Versions) -> None:
    store.keep_app_value(NAME, msgspec.json.encode(found).decode())
