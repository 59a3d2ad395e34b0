"""The app is killed over PostgreSQL, and PostgreSQL under the app: nothing acknowledged is lost, or there twice.

Run by name, since it takes minutes: pytest -n 0 tests/quiz/storage/kills_on_postgres.py --kills 20
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from contextlib import closing

import pytest

from quiz.storage.engines.postgres import PostgresData
from tests.postgres_server import SAFE, PostgresServer
from tests.quiz.hands import Hand, at_work, wait_for
from tests.quiz.storage.test_killed import LEARNERS, all_there, app_killed, runs
from tests.quiz.web.test_server import get, serving

__all__ = ["runs"]


@pytest.fixture(scope="module")
def own_server() -> Iterator[PostgresServer]:
    """Start a server that holds to its promises, as one of a school does."""
    one = PostgresServer(SAFE)
    yield one
    one.close()


def test_every_acknowledged_answer_survives_a_kill_of_the_app_on_postgres(
    own_server: PostgresServer, runs: int
) -> None:
    """The same with a database: what a process that is gone had begun is undone, and its locks are free at once."""
    address = own_server.new()
    app_killed(address, address.with_password, runs)


def test_every_acknowledged_answer_survives_a_kill_of_the_database(own_server: PostgresServer, runs: int) -> None:
    """One app over a database that is killed again and again; it says that it is away, and comes back."""
    chance = random.Random(9)
    address = own_server.new()
    all_hands: list[Hand] = []
    with serving("--data", address.with_password, "--processes", "2") as (_, host, port):
        for run in range(runs):
            hands = [Hand(host, port, f"Hand {run}.{number}") for number in range(LEARNERS)]
            with closing(PostgresData.open(address)) as data, at_work(hands, data):
                wait_for(hands, chance.randint(1, 10))
                hands[0].stop.wait(chance.uniform(0, 0.05))
                own_server.kill()
                for hand in hands:
                    hand.stop.set()
            own_server.start()
            back = time.monotonic()
            while get(host, port, "/healthz") != 200:
                assert time.monotonic() < back + 30, "the app comes back by itself"
                time.sleep(0.1)
            statuses = {status for hand in hands for _, status in hand.other}
            assert statuses <= {0, 303, 409, 503}, statuses
            all_hands += hands
    all_there(address, all_hands, runs)
