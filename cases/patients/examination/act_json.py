"""Acts as JSON and back, so that an examination that was kept can be replayed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from cases.optics.lens import SphCyl
from cases.patients.examination.acts import Act, BadAct, Value, What
from cases.patients.patient import SIDES, Side

_WHATS: dict[str, What] = {name: name for name in get_args(What)}


def value_document(value: Value) -> dict[str, Any]:
    """Return what an act was done with for JSON: an object with one name that says which kind it is."""
    match value:
        case None:
            return {}
        case str():
            return {"word": value}
        case SphCyl():
            return {"lens": _lens(value)}
        case (str(cell), SphCyl() as lens):
            return {"cell": cell, "lens": _lens(lens)}
        case (str(name), str(text)):
            return {"entry": [name, text]}
        case tuple():
            return {"numbers": list(value)}
    return {"number": value}


def read_act(minute: float, what: str, document: Mapping[str, Any], side: str | None) -> Act:
    """Make an act of what `value_document` wrote.

    Raises
    ------
    BadAct
        When it is of no known sort, or its value of none that `value_document` writes.
    """
    eye = next((one for one in SIDES if one == side), None)
    if what not in _WHATS:
        raise BadAct(Act(minute, "note", what, eye), "no act has this name")
    return Act(minute, _WHATS[what], _value(minute, document, eye), eye)


def _value(minute: float, document: Mapping[str, Any], side: Side | None) -> Value:
    try:
        match document:
            case {"cell": str(cell), "lens": lens}:
                return cell, SphCyl(*map(float, lens))
            case {"lens": lens}:
                return SphCyl(*map(float, lens))
            case {"word": str(word)}:
                return word
            case {"entry": [str(name), str(text)]}:
                return name, text
            case {"numbers": numbers}:
                return tuple(map(float, numbers))
            case {"number": number}:
                return float(number)
            case _:
                return None
    except (TypeError, ValueError) as error:
        raise BadAct(Act(minute, "note", f"{dict(document)}"[:60], side), "its value cannot be read") from error


def _lens(lens: SphCyl) -> list[float]:
    return [lens.sphere, lens.cylinder, lens.axis]
