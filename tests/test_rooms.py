"""What DEVELOPERS.md draws is so: rooms import each other as drawn, and an answer goes the way that is drawn."""

from __future__ import annotations

import re
import sys
from types import FrameType

import pytest

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Learner, Store
from tests import rooms
from tests.conftest import Clock, deal, lots, slipped
from tests.rooms import WAY, Stop


def test_the_drawing_in_developers_is_of_this_code() -> None:
    assert rooms.drawn() == rooms.drawing(), "run `python -m tests.rooms --write`"


def test_no_room_imports_one_that_imports_it() -> None:
    """No dot above the diagonal: each room stands behind all that it imports."""
    order = rooms.in_order()
    assert [
        (room, one) for room, ones in rooms.imports().items() for one in ones if one not in order[: order.index(room)]
    ] == []


def test_a_function_that_is_gone_is_named() -> None:
    with pytest.raises(LookupError, match=r"quiz\.practice\.dealing has no not_there"):
        rooms.says(Stop(0, "quiz.practice.dealing", "not_there"))


def test_an_answer_goes_the_way_that_is_drawn(data_file: DataFile, store: Store, learner: Learner) -> None:
    app = create_app(data_file, clock=Clock(), lots=lots())
    browser = app.test_client()
    # A seed that no other test draws: a line that was said before is kept with its case.
    case = deal(store, learner, "net-sphere", seed=90_909)
    found = re.search(r'action="(/case/[^"]+)/answer"', browser.get("/").text)
    assert found
    texts = {f"answer-{name}": text for name, text in slipped(case, "distance-left-in").items()}

    stops = {(stop.module, stop.function) for stop in WAY}
    above: list[tuple[str, str]] = []
    met: list[tuple[tuple[str, str], tuple[tuple[str, str], ...]]] = []

    def note(frame: FrameType, event: str, _: object) -> None:
        if event == "call":
            called = (frame.f_globals.get("__name__", ""), frame.f_code.co_qualname)
            if called in stops:
                met.append((called, tuple(above)))
            above.append(called)
        elif event == "return" and above:
            above.pop()

    sys.setprofile(note)
    try:
        sent = browser.post(f"{found[1]}/answer", data=texts, headers={"Sec-Fetch-Site": "same-origin"})
        shown = browser.get(found[1])
    finally:
        sys.setprofile(None)
    assert (sent.status_code, shown.status_code) == (303, 200)

    later = iter(met)
    within: list[tuple[str, str]] = []
    for stop in WAY:
        wanted = (stop.module, stop.function)
        del within[stop.depth :]
        assert any(one == wanted and set(within) <= set(callers) for one, callers in later), (
            f"no answer comes by {stop.module}.{stop.function} here: say in WAY of tests/rooms.py where it goes now"
        )
        within.append(wanted)
