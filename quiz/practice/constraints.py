"""What a case is to show, and which types cannot show it at some settings: found out by drawing, and remembered.

A slip that a type has may still never show at a learner's level or distance: where two cylinders are drawn along one
axis, nobody can forget to double the angle between them.
"""

from __future__ import annotations

from collections.abc import Callable

from cases.procedure.case_type import CannotDraw, Case, CaseType, Pair, draw
from cases.procedure.chain import SlipRef
from cases.procedure.settings import Settings
from quiz.learning.catalogue import At, Wish, key_of_settings
from quiz.lru_cache import LockedCache

TRIES = 500
"""Draws, some 40 ms, before a type is held to be unable, for everyone at these settings until the app is started again:
a slip that shows in one case of a hundred is passed over so by 1 in 150 who look, one that shows in two hardly ever."""

# Where a bound or two threads at once make it forget, it is found out again.
_unable: LockedCache[At, frozenset[tuple[str, Wish]]] = LockedCache(500)


def case_for(one: CaseType, seed: int, settings: Settings, wish: Wish) -> Case:
    """Draw a case that shows a slip, or that tells two slips apart.

    Raises
    ------
    CannotDraw
        When the type gives none at these settings, which is remembered.
    """
    try:
        return draw(one, seed, settings, wanted=_granting(wish), tries=TRIES)
    except CannotDraw:
        _unable.keep(key_of_settings(settings), unable(settings) | {(one.id, wish)})
        raise


def can(one: CaseType, settings: Settings, wish: Wish) -> bool:
    """Say whether a type gives a case that shows a slip, or that tells two apart, at these settings."""
    try:
        case_for(one, 1, settings, wish)
    except CannotDraw:
        return False
    return True


def unable(settings: Settings) -> frozenset[tuple[str, Wish]]:
    """Return what types were found unable to show at these settings."""
    return _unable.get(key_of_settings(settings)) or frozenset()


def _granting(wish: Wish) -> Callable[[Case], bool]:
    if isinstance(wish, str):
        return lambda case: case.shows(wish)
    pair: Pair = (SlipRef(*wish[0]), SlipRef(*wish[1]))
    return lambda case: case.parts(pair)
