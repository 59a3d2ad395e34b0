"""The usual ways of typing a right answer, for platforms that only compare texts. Numeric fields would need none of it.

Only signs of a keyboard are used. Each text is read back by the core's own reader and compared as a value, so that none
is listed that the app would not credit. What is listed and what is left out, `BOUNDS` says to the preceptor.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import Any

from cases.errors import CaseError
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.crossed_cylinders import CrossedCylinders
from cases.procedure.fields import Field
from cases.procedure.kinds import Cross, Lens
from cases.procedure.quantities import Quantity

MOST = 2500
"""Texts for one thing asked; the longest lists have some 1,900, and a test sees that none is cut off."""

BOUNDS = (
    "A platform compares what is typed with a list, and takes upper and lower case for the same. The list of each "
    "question has the right answer as people usually type it. It may have or lack the plus of a sphere, a point or a "
    "comma, zeros that add nothing, and the usual units. Between sphere and cylinder it may have /, a space or "
    "nothing; "
    "before the axis x, *, ax, axis or a space; the axis also as 05 or 005. A "
    "prescription is listed in both cylinder forms where the form is free.",
    "For a single number the list has every value that counts as exactly right in the app. The steps are 0.01 D, "
    "0.1 cm, 0.1° or half a degree of axis.",
    "Some answers are not in the list, although the app gives credit. A value that is near and not exact (of a "
    "prescription, within "
    "0.125 D and with 0.25 D of cylinder left by its axis) is one. So is a prescription with a point in one power and "
    "a comma in "
    "the other, or with parts in an unusual order. So are words for signs and numbers, unusual spaces, and signs that "
    "are not "
    "on a keyboard, such as × and −. Tell learners to type x and -.",
)
LEFT_OUT = (
    "The right answer does not lie on the steps of trial lenses (0.125 D and whole degrees). People round it in "
    "different ways, the app gives credit for each, and a list cannot hold them all."
)

CHOSEN = (Choice, Marks, Order)
"""Kinds of answers that are chosen, which need no spelling."""


def keyboard(text: str) -> str:
    """Write with the signs of a keyboard."""
    return text.replace("−", "-").replace("×", "x")


def can_list(case: Case) -> bool:
    """Say whether the usual spellings of all that is asked can be listed."""
    return all(isinstance(ask.kind, CHOSEN) or _listable(ask.kind, case.truth[ask.name]) for ask in case.type.asks)


def _listable(kind: object, truth: Any) -> bool:
    if isinstance(kind, Lens | Cross):
        whole = abs(truth.axis - round(truth.axis)) < 1e-6 or not truth.cylinder
        # Where a reading near neutral is right as well, its spellings are too many to list.
        zone = isinstance(kind, Lens) and kind.zone is not None
        return (
            whole
            and not zone
            and all(abs(8 * power - round(8 * power)) < 1e-6 for power in (truth.sphere, truth.cylinder))
        )
    return isinstance(kind, Quantity)


def spellings(case: Case, ask: Field[Any]) -> tuple[str, ...]:
    """Return the usual ways of typing the right answer to one thing asked, the trade's own first.

    There is none where they cannot be listed.
    """
    truth = case.truth[ask.name]
    if not _listable(ask.kind, truth):
        return ()
    found: dict[str, None] = {}
    for text in (keyboard(ask.kind.write(truth)), *_ways(ask.kind, truth, form_matters=case.type.form_matters)):
        if text not in found and _reads_right(ask, text, truth):
            found[text] = None
    return tuple(found)[:MOST]


def _reads_right(ask: Field[Any], text: str, truth: Any) -> bool:
    try:
        return ask.kind.same(ask.kind.read(text), truth)
    except CaseError:
        return False


def _ways(kind: object, truth: Any, *, form_matters: bool) -> Iterable[str]:
    match kind:
        case Lens():
            return _lens(truth, form_matters=form_matters)
        case CrossedCylinders():
            return _crossed(truth)
        case Cross():
            return _cross(truth)
        case quantities.AXIS:
            return _axis(truth)
        case Quantity():
            return _scalar(kind, truth)
        case _:
            return ()


# --- single numbers ----------------------------------------------------------------------------------------------

_WITH_D = ("", " D", "D")
_WITH_DS = (*_WITH_D, " DS", "DS", " dioptres", " diopters")


def _scalar(kind: Quantity, truth: float) -> Iterator[str]:
    if math.isinf(truth):
        yield from ("infinite", "infinity", "inf")
        return
    units = _units(kind)
    exact = list(dict.fromkeys(round(truth, places) for places in (2, 1, 0, 3, 4)))
    for value in (*exact, *_values_near(kind, truth)):
        for number in _numbers(value, signed=_signs(kind, value)):
            yield from (number + unit for unit in units)
    if kind.eighths:
        for number in _numbers(round(truth, 2), signed=_signs(kind, truth)):
            yield from (number + unit for unit in _WITH_DS)
        yield from (f"{sign}{abs(truth) * 100:.0f}" for sign in _signs(kind, truth))
        yield from ("plano", "pl") if abs(truth) < 0.005 else ()
    if kind.id == "distance":
        for unit, per_cm, places in (("m", 0.01, (2, 3)), ("mm", 10.0, (0,))):
            for cm in exact:
                for number in (text for at in places for text in _numbers(round(cm * per_cm, at), signed=("",))):
                    yield from (f"{number} {unit}", f"{number}{unit}")


def _units(kind: Quantity) -> tuple[str, ...]:
    match kind:
        case quantities.POWER:
            return _WITH_D
        case quantities.ANGLE:
            return ("", "°", " °", " deg", " degrees")
        case _:
            return ("", kind.unit, kind.unit.strip()) if kind.unit else ("",)


def _signs(kind: Quantity, value: float) -> tuple[str, ...]:
    """Return the signs with which a value is typed: a minus always, a plus only where one may be left out or not."""
    if value < 0:
        return ("-",)
    if kind.id == "power":
        return ("+", "")
    return ("", "+") if kind.id == "size" or kind.low < 0 else ("",)


def _values_near(kind: Quantity, truth: float) -> Iterator[float]:
    """Yield every value, in the steps in which people write it, that may count as exactly right; nearest first."""
    step = 0.1 if kind.id in ("distance", "angle", "height") else 0.01
    middle = round(truth / step)
    for away in range(1, math.ceil(max(kind.exact, kind.exact * abs(truth)) / step) + 1):
        for place in (middle - away, middle + away):
            if kind.same(place * step, truth):
                yield round(place * step, 2)


def _numbers(value: float, *, signed: Iterable[str]) -> Iterator[str]:
    for number in _digits(abs(value)):
        for sign in signed:
            yield sign + number
            if "." in number:
                yield sign + number.replace(".", ",")


def _digits(size: float) -> list[str]:
    """Write a size of up to four decimals: to two, as short as it is, to one where that is exact, without its zero."""
    short = f"{size:.4f}".rstrip("0").rstrip(".")
    ways = [f"{size:.2f}", short, f"{size:.1f}"]
    ways = [one for one in ways if abs(float(one) - size) < 1e-9]
    ways += [one.removeprefix("0") for one in ways if one.startswith("0.") and size]
    return list(dict.fromkeys(ways))


def _axis(truth: float) -> Iterator[str]:
    for value in dict.fromkeys((round(truth), round(truth * 2) / 2, round(truth) - 0.5, round(truth) + 0.5)):
        for axis in _axes(value):
            yield from (axis, f"{axis}°", f"{axis} °", f"{axis} deg", f"{axis} degrees")
            yield from (before + axis for before in ("x", "x ", "*", "* ", "ax", "ax ", "axis ", "@", "@ ", "at "))
    yield from ("vertical", "horizontal")


def _axes(value: float) -> tuple[str, ...]:
    return tuple(dict.fromkeys(f"{value:g}".zfill(width) for width in (1, 2, 3)))


# --- lenses ------------------------------------------------------------------------------------------------------

_BETWEEN = ("/", " / ", " ", "")
_BEFORE_AXIS = ("x", " x ", " x", "*", " * ", " ", " ax ", "ax", " axis ")
_LAYOUTS = (
    "{s} / {c} x {a}",
    *(f"{{s}}{between}{{c}}{times}{{a}}" for between in _BETWEEN for times in _BEFORE_AXIS),
    "{s}, {c}, {a}",
    "{s}, {c} x {a}",
    "{s}; {c}; {a}",
    "{s}/{c}/{a}",
    "{s} / {c} / {a}",
    "{s}DS/{c}DCx{a}",
    "{s} DS / {c} DC x {a}",
    "{s} DS {c} DC x {a}",
    "{s}DS {c}DC x {a}",
    "{s}DS {c}DCx{a}",
    "{s}DS/{c}DC x {a}",
    "{s}D/{c}Dx{a}",
    "{s} D / {c} D x {a}",
    "{s} sph {c} cyl x {a}",
    "{s} sph {c} cyl ax {a}",
    "{s} sph / {c} cyl x {a}",
    "{s} sph / {c} cyl ax {a}",
)
"""For the two usual ways of writing powers: to two decimals, and as short as they are."""
_SHORTLIST = (
    "{s}/{c}x{a}",
    "{s} / {c} x {a}",
    "{s}/{c} x {a}",
    "{s} {c} x {a}",
    "{s} {c}x{a}",
    "{s} {c} x{a}",
    "{s} {c} {a}",
    "{s}{c}x{a}",
    "{s}/{c}*{a}",
    "{s} {c} * {a}",
    "{s} {c} ax {a}",
    "{s}/{c} ax {a}",
    "{s} / {c} ax {a}",
    "{s}DS/{c}DCx{a}",
)
"""For all others."""


def _lens(truth: SphCyl, *, form_matters: bool) -> Iterator[str]:
    if abs(truth.cylinder) < 0.005:
        signed = ("-",) if truth.sphere < 0 else ("+", "")
        words = ("plano", "pl") if abs(truth.sphere) < 0.005 else ()
        for number in (*_numbers(truth.sphere, signed=signed), *words):
            yield from (number + unit for unit in (" DS", *_WITH_DS, " sph"))
        return
    free = ("minus", "plus") if truth.cylinder <= 0 else ("plus", "minus")
    for form in free[:1] if form_matters else free:
        lens = truth.in_form(form)
        usual, others = _pairs(lens.sphere, lens.cylinder)
        axes = _axes(round(lens.axis))
        degrees = tuple(f"{axis}°" for axis in axes)
        for pairs, layouts, written in (
            (usual, _LAYOUTS, axes),
            (usual, _SHORTLIST, degrees),
            (others, _SHORTLIST, axes),
        ):
            for sphere, cylinder in pairs:
                for layout in layouts:
                    yield from (layout.format(s=sphere, c=cylinder, a=axis) for axis in written)


Pairs = list[tuple[str, str]]


def _pairs(sphere: float, cylinder: float) -> tuple[Pairs, Pairs]:
    """Write sphere and cylinder alike: both usual ways, then those with another mark, sign or length."""
    ways: Pairs = []
    for write in (_two, _short, _three, _one, _two_up, _bare, _bare_short):
        ways.append((write(sphere), write(cylinder)))
    ways += [(_short(sphere), _two(cylinder)), (_two(sphere), _short(cylinder))]
    usual, others = ways[:2], ways[2:]
    if sphere > 0:
        others += [(one.removeprefix("+"), other) for one, other in ways]
    others += [(one.replace(".", ","), other.replace(".", ",")) for one, other in (*usual, *others)]
    if sphere:
        others.append((_hundredths(sphere), _hundredths(cylinder)))
    else:
        others += [(word, write(cylinder)) for word in ("plano", "pl") for write in (_two, _short, _two_up, _bare)]
        others += [(word, write(cylinder).replace(".", ",")) for word in ("plano", "pl") for write in (_two, _short)]
    return list(dict.fromkeys(usual)), list(dict.fromkeys(others))


def _sign(value: float) -> str:
    return "-" if value < 0 else "+" if value > 0 else ""


def _two(value: float) -> str:
    """Write to two decimals, an eighth rounded down as trial lenses are marked: 0.125 as 0.12."""
    return f"{_sign(value)}{math.floor(abs(value) * 100 + 1e-6) / 100:.2f}"


def _two_up(value: float) -> str:
    return f"{_sign(value)}{math.ceil(abs(value) * 100 - 1e-6) / 100:.2f}"


def _short(value: float) -> str:
    return f"{_sign(value)}{abs(value):g}"


def _three(value: float) -> str:
    return f"{_sign(value)}{abs(value):.3f}"


def _one(value: float) -> str:
    text = f"{abs(value):.1f}"
    return _sign(value) + text if abs(float(text) - abs(value)) < 1e-9 else _two(value)


def _bare(value: float) -> str:
    return _two(value).replace("0.", ".", 1) if 0 < abs(value) < 1 else _two(value)


def _bare_short(value: float) -> str:
    return _short(value).replace("0.", ".", 1) if 0 < abs(value) < 1 else _short(value)


def _hundredths(value: float) -> str:
    return f"{_sign(value)}{math.floor(abs(value) * 100 + 1e-6)}"


# --- two powers --------------------------------------------------------------------------------------------------

_WRITERS = (_two, _short, _three, _two_up, _bare, _bare_short)
_BETWEEN_TWO = (", ", "; ", " / ", "/", " ", ",")


def _cross(truth: SphCyl) -> Iterator[str]:
    """Write a power cross in either order: each power at its meridian, or each meridian with its power."""
    principal = ((truth.sphere, truth.axis), (truth.sphere + truth.cylinder, across(truth.axis)))
    usual = ("{p} @ {m}", "{p}@{m}", "{p} at {m}", "{m}: {p}")
    return _two_of(principal, usual, ("{p} @ {m}°", "{p}@{m}°", "{p} D @ {m}", "{p}D@{m}", "{m}:{p}", "{m}° {p}"))


def _crossed(truth: SphCyl) -> Iterator[str]:
    """Write two crossed cylinders in either order: each power with its axis."""
    cylinders = ((truth.sphere + truth.cylinder, truth.axis), (truth.sphere, across(truth.axis)))
    usual = ("{p} x {m}", "{p}x{m}", "{p} * {m}", "{p}*{m}", "{p} ax {m}", "{p} {m}")
    others = ("{p} x{m}", "{p} axis {m}", "{p} @ {m}", "{p}@{m}", "{p} x {m}°", "{p}x{m}°")
    return _two_of(cylinders, usual, (*others, "{p} DC x {m}", "{p}DCx{m}", "{p}DC x {m}", "{p} D x {m}"))


def _two_of(two: Sequence[tuple[float, float]], usual: Sequence[str], others: Sequence[str]) -> Iterator[str]:
    """Write two powers, each with its direction: in the usual layouts in every way, in the others in the usual way."""
    ways = [*product(usual, _WRITERS, (1, 3), (False, True)), *product(others, _WRITERS[:2], (1,), (False,))]
    for layout, write, width, bare in ways:
        parts = [_part(layout, write(power), f"{round(at):d}".zfill(width), bare=bare) for power, at in two]
        for (one, other), between in product((parts, parts[::-1]), _BETWEEN_TWO):
            yield f"{one}{between}{other}"
            if between != ",":
                yield f"{one}{between}{other}".replace(".", ",")


def _part(layout: str, power: str, at: str, *, bare: bool) -> str:
    return layout.format(p=power.removeprefix("+") if bare else power, m=at)
