"""What is folded or compared does not hang on how a Python adds floats: `sum` changed in 3.12, `math.fsum` did not.

`python -m tests.pythons` folds one log on every Python of a machine, and lets each check the data files of all.
"""

from __future__ import annotations

import ast
import builtins
import json
import math
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from quiz.learning import model
from quiz.learning.state import Answered, LearnerState, same_to_twelve_digits
from quiz.storage import projection
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Learner, Store
from tests import pythons
from tests.quiz.storage.test_projection import live

ROOT = Path(__file__).resolve().parents[3]
FOLDED = (
    *("learning/*.py", "storage/projection.py", "storage/checks.py", "storage/result_queries.py"),
    "practice/recall_prompts.py",
)
"""Modules of `quiz` that fold or compare; all of `cases` does, since cases are to be the same on every machine."""


def as_before_3_12(values: Iterable[float], start: float = 0.0) -> float:
    for value in values:
        start += value
    return start


def as_since_3_12(values: Iterable[float], start: float = 0.0) -> float:
    """Add as `sum` does since Python 3.12: compensated (Neumaier 1974, from memory; "What's new in Python 3.12")."""
    lost = 0.0
    for value in values:
        total = start + value
        lost += (start - total) + value if abs(start) >= abs(value) else (value - total) + start
        start = total
    return start + lost


def test_the_two_ways_of_adding_differ() -> None:
    tenths = [0.1] * 10
    assert as_before_3_12(tenths) != as_since_3_12(tenths) == math.fsum(tenths) == 1.0
    assert builtins.sum(tenths) in (as_before_3_12(tenths), as_since_3_12(tenths))


def moved(text: str, by: float) -> str:
    """Move every float of a state by a share of itself, as another way of adding does; times stay."""

    def one(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: each if name in ("at", "seen") else one(each) for name, each in value.items()}
        if isinstance(value, list):
            return [one(each) for each in value]
        return value * (1 + by) if isinstance(value, float) else value

    return json.dumps(one(json.loads(text)), sort_keys=True)


def _keep_moved(store: Store, learner: Learner, by: float) -> None:
    kept = store.states(learner.id)
    assert kept is not None
    with store.writing():
        store.keep_states(
            learner.id,
            state=moved(kept.state, by),
            recall_state=moved(kept.recall_state, by),
            folded_with=kept.folded_with,
        )


def test_a_data_file_is_good_to_twelve_digits_and_bad_beyond(
    data_file: DataFile, store: Store, learner: Learner
) -> None:
    live(store, learner, 40)
    _keep_moved(store, learner, 3e-14)
    assert [one.words for one in check(data_file.where) if not one.good] == []
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    _keep_moved(store, learner, 1e-10)
    assert [one.words for one in check(data_file.where) if not one.good] == [
        "memory differs from the log of Imre: run `python -m quiz rebuild`"
    ]
    assert [one.as_kept for one in projection.rebuild(store)] == [False]
    assert [one.words for one in check(data_file.where) if not one.good] == []


@pytest.mark.parametrize("older", [as_before_3_12, as_since_3_12])
def test_a_data_file_that_an_older_version_folded_is_good(
    data_file: DataFile,
    store: Store,
    learner: Learner,
    monkeypatch: pytest.MonkeyPatch,
    older: Callable[[Iterable[float]], float],
) -> None:
    """Older versions added by `sum`; which of its two ways depended on the Python that wrote the file."""
    live(store, learner, 40)
    with monkeypatch.context() as patched:
        patched.setattr(model, "sum", older, raising=False)
        patched.setattr(math, "fsum", older)
        with store.writing():
            projection.keep(store, learner.id, projection.refolded(store, learner.id))
    assert [one.words for one in check(data_file.where) if not one.good] == []
    assert [one.as_kept for one in projection.rebuild(store)] == [True]


def golden() -> tuple[list[Answered], str]:
    kept = json.loads(pythons.GOLDEN.read_text(encoding="utf-8"))
    return [Answered.from_row(row) for row in kept["log"]], json.dumps(kept["state"])


def test_the_golden_log_folds_into_the_golden_state() -> None:
    log, state = golden()
    assert len(log) > 100
    assert any(len(one.explanations) > 2 for one in log), "shares of three are where sums differ"
    assert any(one.probe_of for one in log)
    assert same_to_twelve_digits(model.replay(log).to_json(), state), (
        "a rule or number of the memory has changed: if that was meant, run `python -m tests.pythons keep`"
    )


def test_a_log_folds_to_the_same_bytes_however_this_python_adds(monkeypatch: pytest.MonkeyPatch) -> None:
    log, _ = golden()
    texts = set()
    for way in (as_before_3_12, as_since_3_12):
        monkeypatch.setattr(model, "sum", way, raising=False)
        texts.add(model.replay(log).to_json())
    assert len(texts) == 1


def test_a_state_that_was_put_down_after_every_answer_is_the_one_folded_at_once() -> None:
    """What is read back has its slips in the order of their names, and not in that in which they were made."""
    log, _ = golden()
    state = LearnerState()
    for event in log:
        state = model.fold(LearnerState.from_json(state.to_json()), event)
    assert state.to_json() == model.replay(log).to_json()


# --- no bare sum of floats ---------------------------------------------------------------------------------------


def counts(node: ast.expr) -> bool:
    """Say whether what is added is surely whole: yes or no, or how many."""
    match node:
        case ast.GeneratorExp() | ast.ListComp():
            return counts(node.elt)
        case ast.Compare() | ast.BoolOp() | ast.UnaryOp(op=ast.Not()) | ast.Constant(value=int()):
            return True
        case ast.Call(func=ast.Name(id="len")) | ast.Call(func=ast.Attribute(attr="count")):
            return True
        case ast.Call(func=ast.Name(id="map"), args=[ast.Name(id="len"), *_]):
            return True
        case ast.Attribute(attr="for_drill"):
            return True
        case ast.Call(func=ast.Name(id="rounded_power")):  # a Decimal, which adds up exactly
            return True
    return False


def bare_sums(text: str, *, arrays: bool = True) -> list[int]:
    return [
        node.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call)
        and (
            (isinstance(node.func, ast.Name) and node.func.id == "sum" and not counts(node.args[0]))
            or (
                arrays
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("sum", "mean", "fmean", "average")
            )
        )
    ]


REPORTS = ("prediction_scores.py", "rivals.py", "comparison.py", "light.py", "ledger.py")
"""`replay`, what is seen at the bench, an error ledger: numpy adds, and nothing is compared to the last bit."""


def folded_modules() -> Iterator[Path]:
    core = sorted((ROOT / "cases").rglob("*.py"))
    yield from (path for path in core if path.name not in REPORTS)
    every = (path for pattern in FOLDED for path in sorted((ROOT / "quiz").glob(pattern)))
    yield from (path for path in every if path.name not in REPORTS)


def test_no_bare_sum_of_floats_is_folded_or_compared() -> None:
    found = {str(path.relative_to(ROOT)): bare_sums(path.read_text(encoding="utf-8")) for path in folded_modules()}
    assert {name: lines for name, lines in found.items() if lines} == {}, "add floats by math.fsum"


def test_claims_of_the_accuracy_log_rest_on_no_bare_sum() -> None:
    """Numpy adds alike on every Python; `sum` gave 3.11 and 3.12 other last digits, and p is compared with 0.05."""
    every = sorted((ROOT / "quiz" / "accuracy").glob("*.py"))
    found = {path.name: bare_sums(path.read_text(encoding="utf-8"), arrays=False) for path in every}
    assert {name: lines for name, lines in found.items() if lines} == {}, "add floats by math.fsum"


def test_a_bare_sum_would_be_noticed() -> None:
    assert bare_sums("sum(one.share for one in found)\nsum(values)\nnp.mean(x)\nx.sum()") == [1, 2, 3, 4]
    assert bare_sums("sum(a > b for a in c)\nsum(map(len, logs))\nmath.fsum(values)\nsum(not a for a in b)") == []


def test_the_pythons_of_this_machine_are_found_this_one_among_them() -> None:
    import sys

    found = pythons.pythons()
    assert ".".join(map(str, sys.version_info[:2])) in {version.rpartition(".")[0] for version in found}
    assert all(tuple(map(int, version.split("."))) >= pythons.LEAST for version in found)
