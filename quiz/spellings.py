"""Every way in which a right answer is commonly written, for platforms that only compare texts.

Each is read back by the core's own reader and compared as a lens, so that none is listed that would not be credited.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from cases.casetype import Case
from cases.errors import CaseError
from cases.fields import Field, Several
from cases.kinds import Cross, Lens, Power, Scalar, Size
from cases.lens import SphCyl
from cases.notation import write_power

MOST = 400
"""Spellings of one thing asked; lists longer than this are refused by some platforms."""


def spellings(case: Case, ask: Field[Any]) -> tuple[str, ...]:
    """Return the ways of writing the right answer to one thing asked, the trade's own way first."""
    truth = case.truth[ask.name]
    found: dict[str, None] = {}
    for text in (ask.kind.write(truth), *_ways(ask.kind, truth, form_matters=case.type.form_matters)):
        if len(found) < MOST and _reads_right(ask, text, truth):
            found.setdefault(text)
    return tuple(found)


def _reads_right(ask: Field[Any], text: str, truth: Any) -> bool:
    try:
        return ask.kind.close(ask.kind.read(text), truth)
    except CaseError:
        return False


def _ways(kind: object, truth: Any, *, form_matters: bool) -> Iterable[str]:
    match kind:
        case Lens():
            return _lens(truth, form_matters=form_matters)
        case Cross():
            return _cross(kind.write(truth))
        case Size():
            return _with_units(_size(truth), ("", " D", "D"))
        case Power():
            return _with_units(_power(truth), ("", " D", "D", " DS", "DS"))
        case Several():
            return (between.join(_plain(kind.of.write(one)) for one in truth) for between in ("; ", ";"))
        case Scalar():
            return _scalar(kind, truth)
        case _:
            return ()


def _plain(text: str) -> str:
    """Write with the marks of an ordinary keyboard."""
    return text.replace("−", "-").replace("×", "x")


def _power(value: float) -> list[str]:
    """Write a power with its sign: two decimals, no needless noughts, a decimal comma, a typographer's minus."""
    two = _plain(write_power(value))
    ways = [two, *_shorter(two)]
    if value > 0:
        ways += [one.removeprefix("+") for one in list(ways)]
    ways += [one.replace(".", ",") for one in list(ways) if "." in one]
    ways += [one.replace("-", "−") for one in list(ways) if one.startswith("-")]
    if abs(value) < 0.005:
        ways += ["plano", "pl", "0.00", "0"]
    return list(dict.fromkeys(ways))


def _size(value: float) -> list[str]:
    """Write a size, which needs no sign and bears a plus."""
    ways = [one for one in _power(value) if one[0] not in "+p"]
    return ways + [f"+{one}" for one in ways if value > 0]


def _shorter(two: str) -> list[str]:
    short = two.rstrip("0").rstrip(".") if "." in two else two
    ways = [short] if short != two else []
    ways += [one.replace("0.", ".", 1) for one in (two, short) if one[1:3] == "0." or one.startswith("0.")]
    return ways


def _with_units(ways: Iterable[str], units: Iterable[str]) -> Iterator[str]:
    units = tuple(units)
    for one in ways:
        yield from (one + unit for unit in units)


def _scalar(kind: Scalar, value: float) -> Iterator[str]:
    written = _plain(kind.write(value))
    number = written.split(" ")[0].rstrip("°")
    tenth = f"{value:.1f}"
    for one in dict.fromkeys((number, tenth, tenth.removesuffix(".0"), f"{value:.2f}")):
        for each in dict.fromkeys((one, one.replace(".", ","))):
            yield each
            yield each + (kind.unit if kind.unit else "")
            yield each + kind.unit.strip()


def _lens(truth: SphCyl, *, form_matters: bool) -> Iterator[str]:
    forms = ("minus",) if form_matters and truth.cylinder <= 0 else ("plus",) if form_matters else ("minus", "plus")
    for form in forms:
        lens = truth.in_form(form)
        if abs(lens.cylinder) < 0.005:
            yield from _with_units(_power(lens.sphere), (" DS", "DS", "", " D"))
            continue
        axis = f"{round(lens.axis):d}"
        for sphere, cylinder in _pairs(lens.sphere, lens.cylinder):
            for slash in ("/", " / ", " "):
                for times in (" x ", "x", " × ", "×", " "):
                    yield f"{sphere}{slash}{cylinder}{times}{axis}"
            yield f"{sphere} DS / {cylinder} DC x {axis}"


def _pairs(sphere: float, cylinder: float) -> Iterator[tuple[str, str]]:
    """Write sphere and cylinder alike: nobody mixes a decimal comma with a point, or long with short."""
    yield from zip(_styles(sphere), _styles(cylinder), strict=True)
    if abs(sphere) < 0.005:
        yield from ((word, one) for word in ("plano", "pl") for one in dict.fromkeys(_styles(cylinder)))


def _styles(value: float) -> list[str]:
    two = _plain(write_power(value)) if abs(value) >= 0.005 else "0.00"
    short = two.rstrip("0").rstrip(".") if "." in two else two
    return [two, short, two.replace(".", ","), short.replace(".", ","), two.replace("-", "−")]


def _cross(written: str) -> Iterator[str]:
    """Write a power cross in either order, from the trade's own way, "+1.00 @ 180, −0.50 @ 90"."""
    pairs = [tuple(part.split(" @ ")) for part in _plain(written).split(", ")]
    if any(len(pair) != 2 for pair in pairs):
        return
    for order in (pairs, pairs[::-1]):
        for at in (" @ ", "@", " at "):
            for between in (", ", "; ", " "):
                yield between.join(f"{power}{at}{meridian}" for power, meridian in order)
