"""What memory takes in, one answer, and what it keeps of one learner, with its JSON.

Pure data: how answers move the state is model.py's. Strengths are log-odds, times are seconds since 1970 (UTC), spans
are days. A "day" is a UTC day.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, get_type_hints

import msgspec

from cases.procedure.vocabulary import CREDITED, MISSED
from quiz.errors import QuizError
from quiz.learning.parameters import NUMBERS, Numbers

DAY = 86400.0

SlipKey = tuple[str, str]
"""A slip where it happens: (step id, slip id)."""


class BadAnswer(QuizError):
    """An answer that memory cannot take."""


class BadState(QuizError):
    """A kept state that cannot be read; the log can rebuild it."""


@dataclass(frozen=True)
class Weighed:
    """One explanation of an answer with its probability, as the log keeps it."""

    kind: str
    """"slip", "pair", "arithmetic", "reading", "typing", "copying" or "none"."""
    slips: tuple[SlipKey, ...]
    """Of a slip or a pair; else none."""
    probability: float
    step: str | None = None
    """Of an arithmetic slip: the step whose number most probably came out wrong. Older answers have none."""

    def __post_init__(self) -> None:
        _finite(self.probability)


@dataclass(frozen=True)
class Answered:
    """One row of the answer log, as far as memory needs it."""

    at: float
    type: str
    steps: tuple[str, ...]
    """The steps that this case called for, in order; a type without steps counts as one step of its own name."""
    verdict: str
    """One of "right", "equivalent", "near" (credited) or "slip", "wrong"."""
    explanations: tuple[tuple[SlipKey, ...], ...] = ()
    """What the diagnosis found: each entry is one set of slips that leads to the learner's answer."""
    hints: tuple[str, ...] = ()
    """Steps whose line was shown before the answer."""
    confidence: int | None = None
    seconds: float | None = None
    options: int | None = None
    """Choices offered, None when the answer was typed."""
    working_shown: bool = True
    probe_of: tuple[SlipKey, SlipKey] | None = None
    source: str = "practice"
    could_show: tuple[SlipKey, ...] | None = None
    """Slips that would have changed the answer to this case; None means every slip of the steps."""
    shares: tuple[float, ...] | None = None
    """The probability (0..1) of each of `explanations`; what they leave of 1 is no slip that is known. None: the miss
    is one of the explanations, and memory shares it out."""
    weight: float = 1.0
    """How much of an answer it is (0..1): of one given again because the first was mistyped, a half."""

    def __post_init__(self) -> None:
        if self.verdict not in CREDITED + MISSED:
            raise BadAnswer(f"verdict “{self.verdict}”: memory takes {', '.join(CREDITED + MISSED)}")
        if not math.isfinite(self.at):
            raise BadAnswer(f"answered at {self.at}: give seconds since 1970 in UTC")

    @property
    def right(self) -> bool:
        """Whether the answer was credited."""
        return self.verdict in CREDITED

    @property
    def diagnosed(self) -> bool:
        """Whether a miss was explained by slips."""
        return not self.right and bool(self.explanations)

    @property
    def unexplained(self) -> float:
        """How much of a miss (0..1) no slip explains; 0 for what was credited."""
        if self.right or (self.diagnosed and self.shares is None):
            return 0.0
        return max(0.0, 1.0 - math.fsum(self.shares or ()))

    @property
    def chain(self) -> tuple[str, ...]:
        """The steps exercised and any other step that a slip was found at, each once, in order."""
        slipped = [step for one in self.explanations for step, _ in one] if self.diagnosed else []
        return tuple(dict.fromkeys([*self.steps, *slipped])) or (self.type,)

    @property
    def unaided(self) -> tuple[str, ...]:
        """The steps of the chain whose line was not shown beforehand."""
        return tuple(step for step in self.chain if step not in self.hints)

    def could_have_shown(self, key: SlipKey) -> bool:
        """Say whether this slip would have changed the answer, its step being exercised."""
        return self.could_show is None or key in self.could_show

    @classmethod
    def from_row(cls, row: Mapping[str, Any]) -> Answered:
        """Make it from a log row or its JSON: lists become tuples, unknown fields are passed over.

        Where explanations were weighed, every one of them that is a slip or a pair counts by its probability.
        """
        weighed = msgspec.convert(row.get("weighed"), tuple[Weighed, ...] | None)
        if weighed is not None:
            slips = [one for one in weighed if one.slips]
            explanations, shares = [one.slips for one in slips], [one.probability for one in slips]
            row = {**row, "explanations": explanations, "shares": shares}
        return msgspec.convert(row, cls)


Log = Sequence[Answered]
"""One learner's answers, the oldest first."""


def _finite(*numbers: float) -> None:
    # msgspec writes what is no number as null: it must never come to that.
    if not all(map(math.isfinite, numbers)):
        raise BadState("a number of the learner's state is not finite")


NIGHT = DAY / 3
"""Two answers on different days have a night between them when they are at least so far apart."""


@dataclass(frozen=True)
class Days:
    """On how many different days something was right unaided, each at least a night after the one before.

    Counted no further than is asked for; `first` and `last` are the first and the latest of those answers.
    """

    count: int = 0
    first: float = 0.0
    last: float = 0.0

    def and_of(self, at: float, enough: int) -> Days:
        """Return the count with the day of `at` among them."""
        if not self.count:
            return Days(1, float(at), float(at))
        if at - self.last < NIGHT or at // DAY == self.last // DAY:
            return self
        return Days(min(self.count + 1, enough), self.first, float(at))


@dataclass(frozen=True)
class StepMemory:
    """What is remembered of one step."""

    strength: float
    variance: float
    log_fading: float
    """Natural logarithm of the fading time in days."""
    log_fading_variance: float
    at: float
    misses: float = 0.0
    """Blame gathered since the step was last right."""
    days: Days = Days()

    def __post_init__(self) -> None:
        _finite(self.strength, self.variance, self.log_fading, self.log_fading_variance, self.at, self.misses)


@dataclass(frozen=True)
class TypeMemory:
    """What is remembered of one case type beside its steps."""

    at: float
    variance: float
    term: float = 0.0
    """Log-odds by which the type is easier (+) or harder (−) than its steps make it."""
    answered: int = 0
    right: int = 0
    days: Days = Days()

    def __post_init__(self) -> None:
        _finite(self.at, self.variance, self.term)


@dataclass(frozen=True)
class SlipMemory:
    """How often a slip was made recently: a count that fades, as it stood at `at`, and the last few times."""

    count: float
    at: float
    seen: tuple[float, ...] = ()
    evidence: float = 0.0
    """Log-odds gathered for a belief that recurs and against chance; they fade as the count does."""
    recurs: bool = False
    """Whether it was made more often than now and then, and has not gone since."""
    left_out: int = 0
    """Right answers in a row that would have shown it."""
    left_out_since: float = 0.0
    """When the first of them came."""

    def __post_init__(self) -> None:
        _finite(self.count, self.at, self.evidence, *self.seen, self.left_out_since)

    def without(self, at: float, gone_after: int) -> SlipMemory:
        """Return it after a right answer that would have shown it: gone after enough of them, over two days."""
        first = self.left_out_since if self.left_out else float(at)
        times = min(self.left_out + 1, gone_after)
        gone = times >= gone_after and at // DAY > first // DAY
        return replace(self, recurs=self.recurs and not gone, left_out=times, left_out_since=first)


@dataclass(frozen=True)
class Suspects:
    """Two slips that one answer could not tell apart, each with its share of the blame; a probe is due."""

    at: float
    slips: tuple[tuple[str, str, float], ...]

    def __post_init__(self) -> None:
        _finite(self.at, *(share for _, _, share in self.slips))

    @property
    def pair(self) -> tuple[SlipKey, SlipKey]:
        """The two, the likelier first."""
        (a_step, a_slip, _), (b_step, b_slip, _) = self.slips
        return (a_step, a_slip), (b_step, b_slip)

    def worn(self, key: SlipKey, left: float) -> Suspects:
        """Return them with what a clean case leaves of one's share: its count is worn by as much."""
        slips = tuple((step, slip, share * (left if (step, slip) == key else 1.0)) for step, slip, share in self.slips)
        return Suspects(self.at, slips)


@dataclass(frozen=True)
class SittingMemory:
    """The sitting under way, or the last one: at most `sitting_cases` answers, `sitting_gap_hours` apart or less."""

    number: int = 0
    """From 1; 0 before the first answer."""
    at: float = 0.0
    """Of its last answer."""
    answers: int = 0
    right: int = 0
    new: int = 0
    """Types met in it for the first time."""
    before: float | None = None
    """The share (0..1) of right answers in the sitting before; None in the first."""

    def __post_init__(self) -> None:
        _finite(self.at, 0.0 if self.before is None else self.before)


@dataclass
class LearnerState:
    """Everything that is remembered of one learner: a fold over the answer log, as large as the catalogue at most.

    What stands in it is replaced and never changed, so that copies may share it.
    """

    offset: float = 0.0
    """How much stronger this learner is at every step than others are, log-odds."""
    offset_variance: float = NUMBERS.offset_variance
    form: float = 0.0
    """How much better they did at the last answer than on the whole, log-odds; it goes within hours."""
    form_variance: float = 0.0
    form_at: float = 0.0
    answers: int = 0
    sitting: SittingMemory = SittingMemory()
    steps: dict[str, StepMemory] = field(default_factory=dict)
    types: dict[str, TypeMemory] = field(default_factory=dict)
    slips: dict[str, dict[str, SlipMemory]] = field(default_factory=dict)
    """Step id to slip id to its memory."""
    suspects: Suspects | None = None
    numbers: Numbers = field(default=NUMBERS, compare=False, repr=False)
    """The constants that it is folded and read with. They are kept beside the state and not in it."""

    @classmethod
    def new(cls, numbers: Numbers = NUMBERS) -> LearnerState:
        """Return the state of a learner who has answered nothing."""
        return cls(offset_variance=numbers.offset_variance, numbers=numbers)

    def copy(self) -> LearnerState:
        """Return the same state, to be folded on by itself."""
        return LearnerState(
            **vars(self)
            | {
                "steps": self.steps.copy(),
                "types": self.types.copy(),
                "slips": {step: slips.copy() for step, slips in self.slips.items()},
            }
        )

    def to_json(self) -> str:
        """Write the state so that the same state gives the same text, floats to the last bit.

        Raises
        ------
        BadState
            When a number is not finite.
        """
        _finite(self.offset, self.offset_variance, self.form, self.form_variance, self.form_at)
        return _WRITER.encode({name: value for name, value in vars(self).items() if name != "numbers"}).decode()

    @classmethod
    def from_json(cls, text: str, numbers: Numbers = NUMBERS) -> LearnerState:
        """Read what `to_json` wrote of a state that was folded with these numbers.

        Raises
        ------
        BadState
            When it is something else.
        """
        try:
            return cls(**msgspec.structs.asdict(_READER.decode(text)), numbers=numbers)
        except ValueError as error:
            raise BadState(f"the learner's state is unreadable ({error}): rebuild it from the log") from error


_WRITER = msgspec.json.Encoder(order="deterministic")
_READER = msgspec.json.Decoder(
    msgspec.defstruct(
        "_Kept",
        [one for one in get_type_hints(LearnerState).items() if one[0] != "numbers"],
        forbid_unknown_fields=True,
    )
)
"""Reads what a state is made of, every part of which has to be there: what is lost is no memory of nothing."""


def same_to_twelve_digits(a: str, b: str) -> bool:
    """Say whether two states written as JSON are the same, floats to twelve significant digits, or 1e-12 about 0.

    False where one is no JSON at all.
    """
    try:
        return a == b or _same(msgspec.json.decode(a), msgspec.json.decode(b))
    except ValueError:
        return False


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(value, b[key]) for key, value in a.items())
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(_same, a, b))
    if isinstance(a, float) and isinstance(b, float):
        return math.isclose(a, b, rel_tol=1e-12, abs_tol=1e-12)
    return type(a) is type(b) and bool(a == b)
