"""Answers typed in from paper: read, marked and counted as any, said to be from paper everywhere, and taken back."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from contextlib import suppress
from typing import Any

import pytest
from flask import Flask

from cases.curriculum.case_list import in_version
from cases.procedure.case_type import Case
from quiz.app import create_app
from quiz.classroom import drills, on_paper
from quiz.storage import class_queries, projection
from quiz.storage.classroom import paper_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots, slipped, written
from tests.quiz.class_people import Browser, answer, case_page, learner, make_class, preceptor, set_drill, waiting_in

URL = "/class/1/drill/1/paper"
SET: dict[str, Any] = {"cases": "3", "type": ["net-sphere"], "pass_mark": "60"}


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def words(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def people(app: Flask, store: Store) -> tuple[Browser, Browser, Browser]:
    """Give a preceptor with a drill of three cases, Ada, who works on the screen, and Bo, who has a sheet."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, **SET)
    return owner, learner(app, code, "Ada"), learner(app, code, "Bo")


def sheet(store: Store, version: str = "") -> list[tuple[int, Case]]:
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    return on_paper.sheet(store, drill, version)


def form(texts: dict[int, dict[str, str]]) -> dict[str, str]:
    return {f"answer-{number}-{name}": text for number, each in texts.items() for name, text in each.items()}


def typed(store: Store, version: str = "") -> dict[str, str]:
    """Give what is on Bo's sheet: the first case right, the second with the distance left in, the third empty."""
    cases = dict(sheet(store, version))
    return {**form({1: written(cases[1]), 2: slipped(cases[2], "distance-left-in")}), "version": version}


def test_a_sheet_is_shown_as_it_reads_and_then_saved(
    people: tuple[Browser, Browser, Browser], store: Store, clock: Clock
) -> None:
    owner, _, _ = people
    assert "Bo" in words(owner.get(URL).text)
    assert owner.get(f"{URL}/2").text.count('class="written"') == 3
    shown = owner.post(f"{URL}/2", {**typed(store), "do": "check"})
    told = words(shown.text)
    assert "1 right of 2 answered. Nothing is saved yet." in told
    assert re.search(
        r"1 [+−]?\d+\.\d\d D right 2 [+−]?\d+\.\d\d D slipped: did not subtract the working distance 3", told
    )
    assert store.answers_of(2) == []
    clock.move(seconds=3600)
    saved = owner.post(f"{URL}/2", {**typed(store), "do": "save"})
    assert saved.location == f"{URL}?done=2"
    assert "The sheet of Bo is saved." in words(owner.get(saved.location).text)
    first, second = store.answers_of(2)
    assert (first.verdict, second.verdict) == ("right", "slip")
    assert (first.source, first.seconds, first.late, first.confidence) == ("paper", None, False, None)
    run = class_queries.run_of(store, 1, 2)
    assert run is not None
    assert run.ended_at == clock.at
    assert paper_queries.run_of(store, run.id) == paper_queries.PaperRun(run.id, "Marit Osei", "")
    assert all(one.good for one in check(store._file.where))


def test_it_is_marked_and_counted_as_on_the_screen_and_said_to_be_from_paper(
    people: tuple[Browser, Browser, Browser], store: Store, clock: Clock
) -> None:
    """Ada gives on the screen what Bo wrote: verdict, explanations and score are the same."""
    owner, ada, bo = people
    ada.post("/drill/1/begin")
    for slip in ("", "distance-left-in", "distance-left-in"):
        _, case = waiting_in(case_page(ada, "/drill/1"), store)
        clock.move(seconds=20)
        answer(ada, store, "/drill/1", slipped(case, slip) if slip else None)
    cases = dict(sheet(store))
    all_three = form({n: slipped(cases[n], "distance-left-in") if n > 1 else written(cases[n]) for n in cases})
    assert owner.post(f"{URL}/2", {**all_three, "do": "save"}).status_code == 303
    mine, hers = store.answers_of(2), store.answers_of(1)
    assert [one.given for one in mine] == [one.given for one in hers]
    assert [(one.verdict, one.explanations, one.truth) for one in mine] == [
        (one.verdict, one.explanations, one.truth) for one in hers
    ]
    drill = words(owner.get("/class/1/drill/1").text)
    assert re.search(r"Ada Ada, answers: 3 1 33 % 20 s finished, not passed", drill)
    assert re.search(r"Bo Bo, answers: 3 1 33 % not known finished, not passed, from paper, typed in by Marit", drill)
    scores = words(owner.get("/class/1/drill/1/scores").text)
    assert re.search(r"Bo .{0,40}1 of 3 not passed, from paper", scores)
    assert "2 Gross to net, one sphere 0 of 2" in scores
    assert re.search(r"Bo 1 of 3 from paper", words(owner.get("/class/1/drill/1/report").text))
    listed = words(owner.get("/class/1/answers?drill=1&learner=2").text)
    assert listed.count("from paper") == 3
    behind = words(owner.get(f"/class/1/answer/{mine[1].dealt}").text)
    assert "From paper. A preceptor typed this answer in from a sheet." in behind
    # Bo reads it
    over = words(bo.get("/drill/1").text)
    assert "1 of 3 right: 33 %. You worked on paper, and a preceptor typed your answers in." in over
    assert over.count(", from paper") == 3
    mark = words(bo.get(f"/case/{mine[1].dealt}").text)
    assert "From paper." in mark
    assert "You did not subtract the working distance." in mark
    assert "I mistyped" not in mark
    # exports
    rows = list(csv.DictReader(io.StringIO(owner.get("/class/1/answers.csv").data.decode("utf-8-sig"))))
    assert [one["source"] for one in rows] == ["practice"] * 3 + ["paper"] * 3
    lines = [json.loads(line) for line in owner.get("/class/1/statements.jsonl").text.splitlines()]
    marks = [one["result"]["extensions"].get("https://two-meridians.invalid/on-paper") for one in lines]
    assert marks == [None] * 3 + [True] * 3
    scores_csv = list(csv.DictReader(io.StringIO(owner.get("/class/1/scores.csv").data.decode("utf-8-sig"))))
    assert [one["from paper"] for one in scores_csv] == ["", "Net from gross"]
    assert '"source":"paper"' in bo.get("/progress/everything.jsonl").text
    # memory is what its log folds into
    kept = store.states(2)
    assert kept is not None
    assert projection.as_folded(store, 2, projection.refolded(store, 2))


def test_a_sheet_of_the_other_version_is_read_by_its_own_numbers(
    people: tuple[Browser, Browser, Browser], store: Store
) -> None:
    owner, _, _ = people
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    order = [case.seed for case in in_version(drills.cases_on_paper(store, drill), "B").cases]
    assert [case.seed for _, case in sheet(store, "B")] == order != [case.seed for _, case in sheet(store)]
    owner.post(f"{URL}/2", {**typed(store, "B"), "do": "save"})
    assert [one.seed for one in store.answers_of(2)] == order[:2]
    assert [one.verdict for one in store.answers_of(2)] == ["right", "slip"]


def test_what_cannot_be_read_is_sent_back_at_its_field_and_nothing_is_saved(
    people: tuple[Browser, Browser, Browser], store: Store
) -> None:
    owner, _, _ = people
    page = owner.post(f"{URL}/2", {**typed(store), "answer-3-power": "plus one?", "do": "save"})
    assert page.status_code == 422
    assert page.text.count('aria-invalid="true"') == 1
    assert 'value="plus one?"' in page.text
    assert store.answers_of(2) == []


def test_an_empty_sheet_is_none_right(people: tuple[Browser, Browser, Browser], store: Store) -> None:
    owner, _, bo = people
    assert owner.post(f"{URL}/2", {"do": "save"}).status_code == 303
    assert store.answers_of(2) == []
    assert "0 of 3 right: 0 %" in words(bo.get("/drill/1").text)


def test_late_closed_or_timed_it_counts(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, cases="3", type=["net-sphere"], limit_minutes="5")
    learner(app, code, "Ada")
    bo = learner(app, code, "Bo")
    owner.post("/class/1/drill/1/close")
    clock.move(seconds=3600)
    assert owner.post(f"{URL}/2", {**typed(store), "do": "save"}).status_code == 303
    assert "1 of 3 right: 33 %" in words(bo.get("/drill/1").text)


def test_the_lens_as_it_stood_is_not_right_on_paper(app: Flask, store: Store) -> None:
    """On the screen it is sent back to be turned; on paper nobody can be asked again."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, cases="1", type=["transpose"])
    learner(app, code, "Ada")
    _, case = sheet(store)[0]
    lens = case.findings["rx"]
    text = f"{lens.sphere:+.2f}/{lens.cylinder:+.2f}x{lens.axis:.0f}"
    owner.post(f"{URL}/1", {"answer-1-prescription": text, "do": "save"})
    (one,) = store.answers_of(1)
    assert one.verdict == "wrong"
    assert owner.get(f"/class/1/answer/{one.dealt}").status_code == 200


def test_it_is_taken_back_and_typed_again_and_no_other_answer_is(
    people: tuple[Browser, Browser, Browser], store: Store
) -> None:
    owner, ada, bo = people
    answer(bo, store, "/practise")
    owner.post(f"{URL}/2", {**typed(store), "do": "save"})
    assert owner.post(f"{URL}/2/take-back").status_code == 422
    assert owner.post(f"{URL}/2/take-back", {"sure": "yes"}).status_code == 303
    assert [one.drill for one in store.answers_of(2)] == [None]
    assert projection.as_folded(store, 2, projection.refolded(store, 2))
    assert all(one.good for one in check(store._file.where))
    assert "0 answers" not in words(owner.get("/class/1/results").text)
    assert owner.post(f"{URL}/2/take-back", {"sure": "yes"}).status_code == 409
    assert owner.post(f"{URL}/2", {**typed(store), "do": "save"}).status_code == 303
    assert "1 of 3 right" in words(bo.get("/drill/1").text)
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    assert owner.post(f"{URL}/1/take-back", {"sure": "yes"}).status_code == 409
    with suppress(Exception), store.writing():
        store.change("DELETE FROM answers WHERE source <> 'paper'")
    assert len(store.answers_of(1)) == 1


@pytest.mark.parametrize(
    ("plan", "why"),
    [
        ({"opened": False}, "this drill is a draft: open it first"),
        ({"same": "own"}, "each learner has their own cases on the screen"),
        ({"type": ["bench-sphere", "net-sphere"], "cases": "2"}, "one of its cases is at the bench"),
    ],
)
def test_a_drill_that_no_sheet_can_be_of_is_refused(
    app: Flask, store: Store, plan: dict[str, object], why: str
) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    opened = bool(plan.pop("opened", True))
    set_drill(owner, number, opened=opened, **{"type": ["net-sphere"], "cases": "3", **plan})
    learner(app, code, "Ada")
    assert why in words(owner.get(URL).text)
    assert owner.get(f"{URL}/1").status_code == 409
    assert owner.post(f"{URL}/1", {"do": "save"}).status_code == 409
    assert class_queries.run_of(store, 1, 1) is None


def test_whoever_has_begun_on_the_screen_has_no_sheet(people: tuple[Browser, Browser, Browser]) -> None:
    owner, ada, bo = people
    ada.post("/drill/1/begin")
    assert "has begun the drill on the screen" in words(owner.get(f"{URL}/1").text)
    owner.post(f"{URL}/2", {"do": "save"})
    assert "was typed in already" in words(owner.post(f"{URL}/2", {"do": "save"}).text)
    assert "Begin" not in words(bo.get("/drill/1").text)


def test_removing_the_learner_removes_it(people: tuple[Browser, Browser, Browser], store: Store) -> None:
    owner, _, bo = people
    owner.post(f"{URL}/2", {**typed(store), "do": "save"})
    bo.post("/class/mine/remove", {"sure": "yes"})
    assert paper_queries.runs_in(store, 1) == {}
    assert "were deleted by their owner" in words(owner.get("/class/1/drill/1").text)
