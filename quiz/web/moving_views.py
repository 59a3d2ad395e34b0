"""What the moving picture of a case or a mark receives: its views for the script, and the same as stills and words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cases.curriculum.bench_stage import View, instrument, seen, still
from quiz.storage.rows import write_json
from quiz.web.pictures import Picture, picture


@dataclass(frozen=True)
class Still:
    """One view as a still, with what is seen in words where it may be told."""

    name: str
    picture: Picture | None
    words: tuple[str, ...]


@dataclass(frozen=True)
class MovingPage:
    """A moving picture on a page."""

    views: str
    """JSON for the script."""
    instrument: str
    stills: tuple[Still, ...]
    side_by_side: bool = False
    """Whether the stills bear no lettering, so that they may be small; what their arrows mean is said once."""


def moving_in_case(views: Sequence[View]) -> MovingPage | None:
    """Show what moves in an open case, where something does: the case has its still, and what is seen is not told."""
    return _page(views, ()) if views else None


def moving_in_mark(views: Sequence[View]) -> MovingPage | None:
    """Show what moves beside a mark, with stills and words, where something does."""
    side_by_side = len(views) > 1
    stills = tuple(
        Still(
            view.name,
            picture(still(view.bench, uid=f"moving-{place}", bare=side_by_side)),
            # Where the edge of the pupil differs, the words are of all of it, and the case is about its middle.
            () if view.bench.margin else view.words or seen(view.bench)[1:],
        )
        for place, view in enumerate(views)
    )
    return replace(_page(views, stills), side_by_side=side_by_side) if views else None


def _page(views: Sequence[View], stills: tuple[Still, ...]) -> MovingPage:
    return MovingPage(
        views=write_json([{"name": view.name, "bench": view.bench.as_json()} for view in views]),
        instrument=write_json(instrument() | {"limits": {}}),
        stills=stills,
    )
