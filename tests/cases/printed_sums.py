"""The sums that a working prints, found in its sentences and worked out again from the figures as they stand there."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

_N = r"([+−-]?\d+(?:\.\d+)?)"
_ABOUT = r"(about )?"


@dataclass(frozen=True)
class Sum:
    """One printed sum: its words, what its terms come out at, and what is printed as the result."""

    words: str
    worked: float
    result: Decimal
    about: bool
    exact: bool
    """Whether only terms are added or taken off, so that not even the last digit may be out."""

    @property
    def adds_up(self) -> bool:
        """Whether the result is the one that the printed terms give, to the last digit printed."""
        exponent = int(self.result.as_tuple().exponent)
        slack = 0 if self.exact else 0.5 * 10.0**exponent
        return self.about or abs(self.worked - float(self.result)) <= slack + 1e-9


_SIZE = r"[+−]?(\d+(?:\.\d+)?)"
_WORDED: tuple[tuple[str, Callable[..., float]], ...] = (
    (rf"{_N} with {_N} makes {_ABOUT}{_N}", lambda a, b: a + b),
    (rf"{_N} with {_N} of {_N} makes {_ABOUT}{_N}", lambda a, share, b: a + share * b),
    (rf"From {_N} to {_N} is {_ABOUT}{_SIZE}: the cylinder", lambda a, b: abs(a - b)),
    (rf"{_N} less the correction {_N} is {_ABOUT}{_N}", lambda a, b: a - b),
    (rf"is {_N} D and \S+ cm is {_N} D: {_ABOUT}{_N} D too", lambda a, b: abs(a - b)),
    (rf"is {_N} D and \S+ cm is {_N} D: a change of {_ABOUT}{_N}", lambda a, b: a - b),
    (rf"Asked {_N}, and {_N} short of it: {_ABOUT}{_N} D", lambda a, b: a - b),
    (rf"Asked {_N}, and {_N} beyond it: {_ABOUT}{_N} D", lambda a, b: a + b),
    (rf"asks for {_N} D; the eye answers {_N} D, where it is neutral: {_ABOUT}{_N}", lambda a, b: abs(a - b)),
    (rf"{_N} with \S+ allowed: {_N} D at the near limit, {_ABOUT}{_N} D at the far", lambda a, near: 2 * a - near),
    (rf"minus form {_N} and {_N} at one axis: {_ABOUT}{_N} D apart", lambda a, b: abs(a - b)),
)
_PART = rf"(?:{_N[1:-1]}|√|sin²|tan²|²|[()°\s+−×÷])"
_LEFT, _RIGHT = re.compile(rf"(?:{_PART})+$"), re.compile(rf"\s*{_ABOUT}((?:{_PART})+)")


def sums(sentence: str) -> Iterator[Sum]:
    """Find every sum of a sentence: those in words, and those with a sign of equality."""
    for pattern, work in _WORDED:
        for found in re.finditer(pattern, sentence):
            *figures, about, result = found.groups()
            worked = work(*(float(_plain(one)) for one in figures))
            yield Sum(found[0], worked, Decimal(_plain(result)), bool(about), " of " not in found[0])
    yield from _equations(sentence)


def _equations(sentence: str) -> Iterator[Sum]:
    sides = sentence.split("=")
    for place, side in enumerate(sides[:-1]):
        # Of a chain, as in 2 × 3 ÷ 4 = 6 ÷ 4 = 1.5, the last side has the result.
        last = next(one for one in range(place + 1, len(sides)) if one + 1 == len(sides) or not _whole(sides[one]))
        left, right = _LEFT.search(side.rstrip().removesuffix(" D")), _RIGHT.match(sides[last])
        result = re.match(_N, right[2].strip()) if right else None
        if not left or not right or not result or not re.search(r"\d", left[0]) or not _balanced(left[0]):
            continue
        words = f"{left[0].strip()} = {right[0].strip()}"
        exact = not re.search("[×÷√]", left[0])
        yield Sum(words, _worked(left[0]), Decimal(_plain(result[1])), bool(right[1]), exact)


def _whole(side: str) -> bool:
    return _LEFT.fullmatch(side) is not None


def _balanced(side: str) -> bool:
    return side.count("(") == side.count(")")


def _plain(figure: str) -> str:
    return figure.replace("−", "-")


def _worked(side: str) -> float:
    terms = _plain(side).split()
    if all(re.fullmatch(r"[+-]?[\d.]+", term) for term in terms):
        return math.fsum(map(float, terms))
    code = " ".join(terms).replace("×", "*").replace("÷", "/").replace("²", "**2").replace("√", "sqrt")
    code = re.sub(r"(sin|tan)\*\*2([\d.]+)°", r"\1(\2*pi/180)**2", code)
    return float(eval(code, {"__builtins__": {}}, vars(math)))  # noqa: S307 our own sentences
