"""Sums in a sentence, with as many decimals as it takes for them to add up as printed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cases.notation.prescription import LARGEST, rounded_power, write_power, write_size

ABOUT = "about "


@dataclass(frozen=True)
class Digits:
    """How the powers of one sum are written: `decimals` as `write_power` takes them, `about` before the result."""

    decimals: int | None = None
    about: str = ""

    def signed(self, power: float) -> str:
        """Write a term of the sum with its sign."""
        return write_power(power, self.decimals)

    def size(self, power: float) -> str:
        """Write a term of the sum without its sign."""
        return write_size(power, self.decimals)

    def result(self, power: float) -> str:
        """Write what the sum comes out at, with "about" where no digits make it add up."""
        return self.about + self.signed(power)

    def result_size(self, power: float) -> str:
        """Write without its sign what the sum comes out at."""
        return self.about + self.size(power)


def adding_up(result: float, *terms: float) -> Digits:
    """Find the digits with which the terms (in D, each as it counts, so −1.50 for what is taken off) give the result.

    Two decimals (three for an eighth) do for most sums; of rounded values a third is shown, or "about" is said.
    """
    for decimals in (None, 3):
        if sum(rounded_power(term, decimals) for term in terms) == rounded_power(result, decimals):
            return Digits(decimals)
    return Digits(about=ABOUT)


def added(first: float, second: float, result: float) -> str:
    """Write "−4.25 with +0.875 makes −3.375"; powers in D."""
    digits = adding_up(result, first, second)
    return f"{digits.signed(first)} with {digits.signed(second)} makes {digits.result(result)}"


def less_signed(first: float, second: float, result: float) -> str:
    """Write "+0.375 − (−0.50) = +0.875"; powers in D."""
    digits = adding_up(result, first, -second)
    return f"{digits.signed(first)} − ({digits.signed(second)}) = {digits.result(result)}"


def less(power: float, size: float, result: float) -> str:
    """Write "+1.25 − 1.50 = −0.25", `size` being plus and written without a sign; powers in D."""
    digits = adding_up(result, power, -size)
    return f"{digits.signed(power)} − {digits.size(size)} = {digits.result(result)}"


def together(terms: Sequence[float], result: float) -> str:
    """Write "+1.25 −0.50 +0.875 = +1.625"; powers in D."""
    digits = adding_up(result, *terms)
    return f"{' '.join(map(digits.signed, terms))} = {digits.result(result)}"


def about(value: float, printed: float, decimals: int | None = None) -> str:
    """Return "about " where a result, rounded as it is written, is not what its `printed` factors give; else "".

    value: the result in D. printed: what a reader gets who works with the factors as they stand in the sentence.
    """
    if not max(abs(value), abs(printed)) < LARGEST:
        return ABOUT
    result = rounded_power(value, decimals)
    return "" if abs(printed - float(result)) <= 0.5 * 10.0 ** int(result.as_tuple().exponent) + 1e-9 else ABOUT


def root_of_squares(first: float, second: float, result: float) -> str:
    """Write what the root of two squares comes out at, "2.70", with "about " where the rounded two give another."""
    shown = math.hypot(rounded_power(first), rounded_power(second))
    return f"{about(result, shown)}{write_size(result)}"


def three_figures(value: float) -> str:
    """Write a number to three figures, and never with a power of ten: nobody reckons with 1.02e+03 cm."""
    return f"{float(f'{value:.3g}'):.15g}"
