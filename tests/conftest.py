"""What tests of the app share: a data file, a clock that is told the time, and a way to put a certain case next."""

from __future__ import annotations

import random
import socket
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from inspect import signature
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from hypothesis import HealthCheck, settings

from cases.curriculum.register import case_type
from cases.procedure.case_type import Case, CaseType, draw
from cases.procedure.chain import Values
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings
from quiz.practice import dealing, learners
from quiz.practice.forms import form_text
from quiz.practice.randomness import Lots
from quiz.storage import desk_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.engines.postgres_schema import tables
from quiz.storage.engines.seam import Engine
from quiz.storage.store import Dealt, Learner, Store
from quiz.web.front.web_server import WebServer

# How long a draw takes says how busy the machine is, and nothing about what is tested.
settings.register_profile("any machine", deadline=None, suppress_health_check=(HealthCheck.too_slow,))
settings.register_profile("few", settings.get_profile("any machine"), max_examples=25)
"""For tests.mutation and tests.release, which run the same tests again and again."""
settings.load_profile("any machine")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--kills", type=int, default=4, help="how often a real server is killed in the midst of its work")
    parser.addoption("--draws", type=int, default=120, help="how many cases of each type the law of slips is held to")
    parser.addoption("--engine", choices=("embedded", "postgres"), default="embedded", help="what holds the data")
    parser.addoption("--late", type=float, default=0, metavar="SECONDS", help="let pages of browser tests come late")
    parser.addoption("--slow-cpu", type=float, default=1, metavar="TIMES", help="let browsers of tests be so slow")


NOT_TAKEN: tuple[type[Exception], ...] = (sqlite3.IntegrityError,)
"""What the engines raise where a rule of the schema forbids a change."""
with suppress(ImportError):  # the extra for PostgreSQL need not be there
    from psycopg import IntegrityError

    NOT_TAKEN += (IntegrityError,)
OF_THE_FILE = "of_the_file"
"""Marks what is about the data file itself, and so is not run on PostgreSQL."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """With `--engine postgres` run only what asks for data, and can ask PostgreSQL; say how much was left out."""
    if config.getoption("engine") == "embedded":
        return
    left = [one for one in items if _is_left_out(one)]
    items[:] = [one for one in items if not _is_left_out(one)]
    config.hook.pytest_deselected(items=left)


def is_of_the_file(item: pytest.Item, function: Callable[..., Any]) -> bool:
    """Say whether a test is about the data file, by a mark or by asking for its path."""
    return item.get_closest_marker(OF_THE_FILE) is not None or "data_path" in signature(function).parameters


def _is_left_out(item: pytest.Item) -> bool:
    if not isinstance(item, pytest.Function):
        return False
    return "data_file" not in item.fixturenames or is_of_the_file(item, item.function)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", f"{OF_THE_FILE}(why): about the data file itself, whatever the engine is")
    seconds, slower = config.getoption("late"), config.getoption("slow_cpu")
    if seconds or slower > 1:
        from tests.late import late  # the tests of an installed wheel have no browser, and so not what it needs

        late.seconds, late.slower = seconds, slower
        late.install()
        ANSWERING.append(late.answering)


ANSWERING: list[Callable[[Flask], Any]] = []
"""What lets an app answer late, where it is to (`--late`)."""


NOON = 1_795_000_000.0
"""A moment in 2026, in seconds since 1970."""


@dataclass
class Clock:
    """A clock that stands until it is moved on."""

    at: float = NOON

    def __call__(self) -> float:
        return self.at

    def move(self, *, seconds: float = 0, days: float = 0) -> None:
        self.at += seconds + 86400 * days


@contextmanager
def serving(app: Flask, **front: Any) -> Iterator[str]:
    """Serve an app from this process while the block runs; yields its address, without a slash at the end.

    front: what the web server is told beside, such as the address of one before it.
    """
    served = ANSWERING[0](app) if ANSWERING else app
    with socket.create_server(("127.0.0.1", 0)) as listening:
        server, ready = WebServer(served, listening, most=100, **front), threading.Event()
        thread = threading.Thread(target=server.run, args=(ready.set,), daemon=True)
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        thread.start()
        try:
            assert ready.wait(10)
            yield address
        finally:
            server.stop()
            thread.join(10)


def lots(seed: int = 1) -> Lots:
    """Chance that falls alike in every run."""
    rng = random.Random(seed)
    return Lots(new_id=lambda: f"case-{rng.getrandbits(60):x}", new_seed=lambda: rng.randrange(2**31), rng=rng)


def deal(
    store: Store,
    learner: Learner,
    type_id: str,
    *,
    seed: int = 3,
    now: float = NOON,
    settings: Settings | None = None,
    wanted: Callable[[Case], bool] = lambda _: True,
) -> Case:
    """Make a certain case the one that waits, in place of the one that the choice brought."""
    was = dealing.waiting(store, learner, now=now, lots=lots(seed)).dealt
    case = draw(case_type(type_id), seed, settings or Settings(), wanted=wanted)
    findings = case.type.findings.to_json(case.findings)
    with store.writing():
        store.close_case(was.id, now=now)
        kept = {**vars(was), "id": f"{was.id}-{seed}-{type_id}", "type": type_id, "seed": seed, "findings": findings}
        store.deal(Dealt(**{**kept, "must_show": None, "probe_of": None, "dealt_at": now}))
        if not projection.was_asked(store, learner.id):
            store.change("UPDATE learners SET priors = '{}' WHERE id = ?", learner.id)
        desk_queries.keep_worked(store, learner.id, type_id, 2, now=now)  # so that it is asked at once
    return case


def all_rows(store: Store) -> list[str]:
    """Return every row of every table as a line, whichever engine holds them."""
    found = []
    for table in tables():
        rows = store.fetch(f"SELECT * FROM {table}")  # noqa: S608 - names of ours
        found += sorted(f"{table} {tuple(row)!r}" for row in rows)
    return found


@contextmanager
def drawn_otherwise(*type_ids: str) -> Iterator[None]:
    """Let types give other cases for the same seeds while the block runs, as after a change in how they are drawn."""

    def other(one: CaseType) -> Callable[[Chance, Settings], dict[str, Any]]:
        before = one.draw

        def second(chance: Chance, settings: Settings) -> dict[str, Any]:
            before(chance, settings)
            return before(chance, settings)

        return second

    kept = [(one, one.draw) for one in map(case_type, type_ids)]
    for one, _ in kept:
        object.__setattr__(one, "draw", other(one))
    try:
        yield
    finally:
        for one, was in kept:
            object.__setattr__(one, "draw", was)


def written(case: Case, values: Values | None = None) -> dict[str, str]:
    """Write an answer as the form sends it, typed or chosen: the right one unless other values are given."""
    given = case.truth if values is None else values
    return {ask.name: form_text(ask.kind, given[ask.name]) for ask in case.type.asks}


def slipped(case: Case, slip_id: str) -> dict[str, str]:
    """Write the answer that one slip leads to."""
    return written(case, next(one.answer for one in case.singles if one.slips[0].slip == slip_id))


@pytest.fixture
def data_path(tmp_path: Path) -> Path:
    return tmp_path / "answers.sqlite3"


@pytest.fixture
def engine(request: pytest.FixtureRequest) -> str:
    """Which engine holds the data of a test."""
    return str(request.config.getoption("engine"))


@pytest.fixture
def data_file(data_path: Path, engine: str) -> Iterator[Any]:
    """Open the data of one test, in a new file or a new database."""
    if engine == "postgres":
        from tests.postgres_server import opened  # the tests of an installed wheel may be without it

        with opened() as database:
            yield database
    else:
        with closing(DataFile.open(data_path)) as file:
            yield file


@pytest.fixture
def store(data_file: Engine) -> Iterator[Store]:
    with closing(Store(data_file)) as one:
        yield one


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def learner(store: Store) -> Learner:
    return learners.add(store, "Imre", now=NOON)
