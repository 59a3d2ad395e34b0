"""Retinoscopy cases with computed answers, workings and slips, for other people's scripts.

>>> import cases
>>> cases.read_prescription("+1.00 -1.50 x 90")
SphCyl(sphere=1.0, cylinder=-1.5, axis=90.0)
>>> case = cases.draw("net-sphere", seed=1)
>>> cases.mark(case, "+1.00").verdict in ("right", "near", "slip", "wrong")
True

Powers are in D, distances in cm and axes in degrees from 1 to 180 throughout; errors are `CaseError`, whose message is
meant for a person to read. What stands in `__all__` is the public interface; all else may move between versions.
Loaded when it is asked for: `import cases` by itself brings neither numpy nor a single case type.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cases.errors import CaseError
    from cases.interface import draw, mark, work
    from cases.notation.prescription import read_prescription
    from cases.optics.lens import SphCyl
    from cases.procedure.case_type import Case
    from cases.procedure.marking import Mark
    from cases.procedure.settings import Settings

DISTRIBUTION = "two-meridians"
"""Whose package this is, for two_meridians.py: others have one of this name too."""

__all__ = ["Case", "CaseError", "Mark", "Settings", "SphCyl", "draw", "mark", "read_prescription", "work"]

_FROM = {
    "Case": "cases.procedure.case_type",
    "CaseError": "cases.errors",
    "Mark": "cases.procedure.marking",
    "Settings": "cases.procedure.settings",
    "SphCyl": "cases.optics.lens",
    "draw": "cases.interface",
    "mark": "cases.interface",
    "read_prescription": "cases.notation.prescription",
    "work": "cases.interface",
}


if not TYPE_CHECKING:  # or a type checker would take any name for one that is there

    def __getattr__(name: str) -> Any:
        if name not in _FROM:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(import_module(_FROM[name]), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
