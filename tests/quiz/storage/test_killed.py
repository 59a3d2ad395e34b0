"""The real server is killed in the middle of its work: every answer that it acknowledged is there, field by field.

The same on PostgreSQL, and PostgreSQL killed itself, is `kills_on_postgres.py`, run by name.
"""

from __future__ import annotations

import random
from contextlib import closing
from pathlib import Path

import pytest

from quiz.storage import projection
from quiz.storage.datafile import DataFile, Where
from quiz.storage.engines.opening import open_engine
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.quiz.hands import Hand, at_work, nothing_lost, total, wait_for
from tests.quiz.web.test_server import serving

LEARNERS = 4


@pytest.fixture
def runs(request: pytest.FixtureRequest) -> int:
    return int(request.config.getoption("--kills"))


def test_every_acknowledged_answer_survives_a_kill(tmp_path: Path, runs: int) -> None:
    """One data file through several servers (`--kills 20` for twenty), each killed at a moment that chance names.

    What one kill leaves the next server must start from at once, so damage would add up.
    """
    path = tmp_path / "a.sqlite3"
    DataFile.open(path).close()
    app_killed(path, path, runs)


def app_killed(where: Where, given: Path | str, runs: int) -> None:
    chance = random.Random(8)
    all_hands: list[Hand] = []
    for run in range(runs):
        # Twenty, as `.ci/run` asks for, are all of two processes; a few are of one and of two by turns.
        processes = "2" if runs >= 20 or run % 2 else "1"
        with (
            serving("--data", given, "--processes", processes) as (child, host, port),
            closing(open_engine(where)) as file,
        ):
            hands = [Hand(host, port, f"Hand {run}.{number}") for number in range(LEARNERS)]
            with at_work(hands, file):
                wait_for(hands, chance.randint(1, 10))
                # A moment more, so that the kill falls anywhere within a request.
                hands[0].stop.wait(chance.uniform(0, 0.05))
                child.kill()
                child.wait(10)
                for hand in hands:
                    hand.stop.wait(0.05)
        assert any(hand.cut_off for hand in hands), "the kill landed in the middle of the work"
        all_hands += hands
    all_there(where, all_hands, runs)


def all_there(where: Where, all_hands: list[Hand], runs: int) -> None:
    """See that nothing that was acknowledged is lost or there twice, and that memory stands where the log stands."""
    with closing(open_engine(where)) as file, closing(Store(file)) as store:
        kept = nothing_lost(store, all_hands)
        assert total(all_hands) >= runs
        assert kept - total(all_hands) <= LEARNERS * runs, "at most one a learner was kept without being acknowledged"
        assert all(one.as_kept for one in projection.rebuild(store)), "and memory stands where the log stands"
    assert [one.words for one in check(where) if not one.good] == []
