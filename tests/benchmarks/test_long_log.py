"""Choosing a case and folding an answer cost the same after a million answers: `pytest -o addopts= tests/benchmarks`.

One learner, the real data file, the app's own practice: deal a case, take its answer. The log grows from a hundred
answers to a million behind the same state, and the two are measured turn about, so that other work on the machine falls
on both. What is claimed is the ratio of the medians.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from quiz.app import create_app
from quiz.practice import dealing, dealt_cases, learners
from quiz.practice.randomness import Lots
from quiz.practice.settings import LearnerSettings
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.template_cache import keep_compiled
from tests.conftest import NOON, lots, written

SHORT, LONG = 100, 1_000_000
ROUNDS = 150
BUDGET = 1.2


@dataclass
class Desk:
    """A data file with one learner in practice."""

    store: Store
    learner: int
    file: DataFile
    lots: Lots
    rng: random.Random
    now: float = NOON

    def deal(self) -> dealt_cases.Waiting:
        self.now += 40
        return dealing.waiting(self.store, learners.get(self.store, self.learner), now=self.now, lots=self.lots)

    def answer(self, one: dealt_cases.Waiting) -> None:
        """Answer rightly, or with a slip in one case of three."""
        slips = one.case.singles
        wrong = self.rng.choice(slips).answer if slips and self.rng.random() < 1 / 3 else None
        who = learners.get(self.store, self.learner)
        dealing.take(self.store, who, one.dealt.id, written(one.case, wrong), None, now=self.now + 20)


def desk(file: DataFile, answers: int, stack: ExitStack) -> Desk:
    """Practise a hundred cases through the app, then let the log behind them grow to this many."""
    store = stack.enter_context(closing(Store(file)))
    made = Desk(store, learners.add(store, "Imre", now=NOON).id, file, lots(), random.Random(1))
    for _ in range(SHORT):
        made.answer(made.deal())
    _grow(store, made.learner, answers)
    return made


def _grow(store: Store, learner: int, answers: int) -> None:
    """Repeat the learner's own answers, as older rows of ended sittings, until there are this many."""
    with store.writing():
        have = store.fetch("SELECT count(*) FROM answers")[0][0]
        while have < answers:
            more = min(have, answers - have)
            for table, key in (("dealt", "id"), ("answers", "dealt")):
                names = [row[1] for row in store.fetch(f"PRAGMA table_info({table})")]
                taken = [name for name in names if (table, name) != ("answers", "id")]
                values = [f"{name} || '-{have}'" if name == key else name for name in taken]
                pick = "closed_at IS NOT NULL" if table == "dealt" else "1"
                store.change(
                    f"INSERT INTO {table} ({', '.join(taken)}) SELECT {', '.join(values)} FROM {table} "  # noqa: S608
                    f"WHERE learner = ? AND {pick} ORDER BY rowid LIMIT ?",
                    learner,
                    more,
                )
            have += more


@pytest.fixture(scope="module")
def desks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Desk, Desk]]:
    folder: Path = tmp_path_factory.mktemp("logs")
    with ExitStack() as stack:
        files = [stack.enter_context(closing(DataFile.open(folder / f"{size}.sqlite3"))) for size in (SHORT, LONG)]
        short, long = (desk(file, size, stack) for file, size in zip(files, (SHORT, LONG), strict=True))
        yield short, long


@pytest.mark.benchmark
def test_a_million_answers_make_neither_choosing_nor_folding_dearer(desks: tuple[Desk, Desk]) -> None:
    assert [one.store.count_answers(one.learner) for one in desks] == [SHORT, LONG]
    taken: dict[str, tuple[list[float], list[float]]] = {"choose and draw": ([], []), "mark and fold": ([], [])}
    for round_ in range(ROUNDS):
        # Both meet the same cases, and the person who comes second finds them made: they take turns at that.
        for which in (0, 1) if round_ % 2 else (1, 0):
            began = time.perf_counter()
            waiting = desks[which].deal()
            dealt = time.perf_counter()
            desks[which].answer(waiting)
            taken["choose and draw"][which].append(dealt - began)
            taken["mark and fold"][which].append(time.perf_counter() - dealt)
    for what, times in taken.items():
        a, b = map(statistics.median, times)
        print(f"{what}: {1000 * a:.2f} ms after {SHORT:,} answers, {1000 * b:.2f} ms after {LONG:,}: {b / a:.2f}")  # noqa: T201
        assert b / a <= BUDGET, what


DESK_MS = 40
"""Of processor for the page Today; the plan of the desk."""


@pytest.mark.benchmark
def test_the_page_today_after_a_million_answers(desks: tuple[Desk, Desk], tmp_path: Path) -> None:
    """A day later, with what has faded since, recurring mistakes and an exam ahead.

    The first page of the long log is that of a server that was started before, whose compiled templates are kept.
    """
    taken: tuple[list[float], list[float]] = ([], [])
    for which, one in enumerate(desks):
        learners.keep_settings(one.store, one.learner, LearnerSettings(exam_day="2027-01-20"))
        app = create_app(one.file, clock=lambda at=one.now + 86400: at, lots=lots(3))  # type: ignore[misc]
        keep_compiled(app, tmp_path)
        client = app.test_client()
        for _ in range(30):
            began = time.process_time()
            page = client.get("/")
            taken[which].append(time.process_time() - began)
            assert "Today" in page.text
    a, b = (1000 * statistics.median(times) for times in taken)
    first = 1000 * taken[1][0]
    print(f"Today: {a:.1f} ms after {SHORT:,} answers, {b:.1f} ms after {LONG:,} (the first time {first:.1f} ms)")  # noqa: T201
    assert max(first, b) < DESK_MS
