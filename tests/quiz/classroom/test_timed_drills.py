"""Drills of minutes: the server ends the run, and every place that gives a score gives the same one."""

from __future__ import annotations

import csv
import html
import io
import json
import re
import threading
from contextlib import closing
from typing import Any

import pytest
from flask import Flask

from cases.procedure.case_type import Case
from quiz.app import create_app
from quiz.practice import dealing
from quiz.storage import class_queries, projection, result_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots, slipped, written
from tests.quiz.class_people import Browser, answer, learner, make_class, preceptor, set_drill, waiting_in


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def timed(app: Flask, store: Store, **more: Any) -> tuple[Browser, str, Browser]:
    """Set a drill of five minutes; its preceptor, its address, and a learner who has begun it."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada = learner(app, code, "Ada")
    url = set_drill(owner, number, cases="", minutes="5", type=["net-sphere"], **more)
    ada.post("/drill/1/begin")
    return owner, url, ada


def hand_in(browser: Browser, dealt: str, case: Case, slip: str | None = None) -> int:
    form = {f"answer-{name}": text for name, text in (slipped(case, slip) if slip else written(case)).items()}
    return browser.post(f"/case/{dealt}/answer", dict(form)).status_code


def words(page: str) -> str:
    """Return a page's text, tags and spaces tidied."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_an_answer_after_the_minutes_is_kept_shown_as_late_and_counted_nowhere(
    app: Flask, store: Store, clock: Clock
) -> None:
    """The end page, the preceptor's pages, the sums, both exports and the learner's own data say the same."""
    owner, url, ada = timed(app, store)
    answer(ada, store, "/drill/1")
    left = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=311)
    assert hand_in(ada, *left) == 303, "kept"
    assert "This answer came after the drill’s time" in ada.get(f"/case/{left[0]}").text

    own = words(ada.get("/drill/1").text)
    assert "1 right in 5 minutes. You answered 1." in own
    assert "One answer came after the time and is not counted." in own
    assert "late: not counted" in own

    whole = words(owner.get(url).text)
    assert "Ada Ada, answers: 1 1 1 right in 5 minutes" in whole
    assert "finished, 1 late by Ada , not counted" in whole
    sums = words(owner.get("/class/1/results?drill=1").text)
    assert "1 answer of 1 learner, 1 right." in sums
    assert "1 late after the time of the drill" in sums
    assert owner.get("/class/1/answers?drill=1").text.count('<th scope="row">') == 1
    assert owner.get("/class/1/answers?drill=1&late=yes").text.count('<th scope="row">') == 1
    assert result_queries.class_sums(store, 1, "all", drill=1)[0].answered == 1

    for browser, address in ((owner, "/class/1/answers.csv?drill=1"), (ada, "/progress/answers.csv")):
        rows = list(csv.DictReader(io.StringIO(browser.get(address).data.decode("utf-8-sig"))))
        assert [row["late"] for row in rows] == ["", "yes"]
    statements = [json.loads(line) for line in owner.get("/class/1/statements.jsonl?drill=1").text.splitlines()]
    assert ["late" in "".join(one["result"]["extensions"]) for one in statements] == [False, True]
    own_lines = [json.loads(line) for line in ada.get("/progress/everything.jsonl").text.splitlines()]
    assert [one["late"] for one in own_lines if one["kind"] == "answer"] == [False, True]


def test_the_sums_worked_out_anew_leave_a_late_answer_out_too(
    app: Flask, store: Store, data_file: DataFile, clock: Clock
) -> None:
    _, _, ada = timed(app, store)
    answer(ada, store, "/drill/1")
    left = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=400)
    hand_in(ada, *left, "distance-left-in")
    assert [one.words for one in check(data_file.where) if not one.good] == []
    list(projection.rebuild(store))
    assert [one.words for one in check(data_file.where) if not one.good] == []
    assert result_queries.class_sums(store, 1, "all", drill=1)[0].answered == 1
    assert result_queries.class_sums(store, 1, "slip", drill=1) == []
    assert result_queries.class_sums(store, 1, "all")[0].answered == 2, "it was practice all the same"


def test_who_answered_only_after_the_time_is_not_said_to_have_not_begun(app: Flask, store: Store, clock: Clock) -> None:
    owner, url, ada = timed(app, store)
    left = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=400)
    hand_in(ada, *left)
    for page in (url, "/class/1/results?drill=1"):
        assert "Not begun" not in owner.get(page).text
    assert "Ada Ada, answers: 0 0 0 right in 5 minutes" in words(owner.get(url).text)


def test_the_case_left_on_the_table_costs_nobody_the_pass(app: Flask, store: Store, clock: Clock) -> None:
    owner, url, ada = timed(app, store, least="2", pass_mark="100")  # noqa: S106 - no password
    for _ in range(2):
        answer(ada, store, "/drill/1")
    left = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=311)
    hand_in(ada, *left, "distance-left-in")
    assert "2 of 2 right: 100 %." in ada.get("/drill/1").text
    assert "That reaches the pass mark of 100 %." in ada.get("/drill/1").text
    assert "finished, passed" in owner.get(url).text


def test_one_right_answer_is_no_hundred_per_cent(app: Flask, store: Store, clock: Clock) -> None:
    """The share is of the least number of cases; without one there is none, and no pass mark."""
    owner, url, ada = timed(app, store, least="10", pass_mark="50")  # noqa: S106 - no password
    assert "of 10 cases at least" in Browser.get(learner(app, code_of(store), "Bo"), "/drill/1").text
    answer(ada, store, "/drill/1")
    ada.get("/drill/1")
    clock.move(seconds=311)
    assert "1 of 10 right: 10 %. You answered 1." in ada.get("/drill/1").text
    assert "That is under the pass mark of 50 %." in ada.get("/drill/1").text
    assert "finished, not passed" in owner.get(url).text
    again = owner.post(f"{url}/copy").location
    form = {"type": ["net-sphere"], "minutes": "5", "title": "x", "level": "novice", "form": "minus"}
    refused = owner.post(again, {**form, "distance_cm": "67", "feedback": "once", "pass_mark": "50"})
    assert refused.status_code == 422
    assert "give the least number of cases, or no pass mark" in refused.text


def code_of(store: Store) -> str:
    one = class_queries.class_of_id(store, 1)
    assert one is not None
    assert one.code is not None
    return one.code


@pytest.mark.parametrize(("after", "counted"), [(299, 1), (309, 1), (311, 0)])
def test_the_network_has_ten_seconds_by_arrival_at_the_server(
    app: Flask, store: Store, clock: Clock, after: float, counted: int
) -> None:
    _, _, ada = timed(app, store)
    dealt, case = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=after)
    hand_in(ada, dealt, case)
    assert f"{counted} right in 5 minutes. You answered {counted}." in ada.get("/drill/1").text or after < 300
    assert store.answers_of(1)[0].late is not bool(counted)


def test_no_case_is_given_after_the_minutes_and_no_working_while_an_answer_is_on_its_way(
    app: Flask, store: Store, clock: Clock
) -> None:
    """Else one who waits for the end reads the working of the open case and hands it in within the ten seconds."""
    _, _, ada = timed(app, store, feedback="end")
    dealt, case = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=305)
    assert waiting_in(ada.get("/drill/1"), store)[0] == dealt
    assert ada.post(f"/case/{dealt}/line", {"lines": "1"}).location == "/drill/1"
    assert store.dealt(dealt).lines_shown == 0  # type: ignore[union-attr]
    hand_in(ada, dealt, case)
    assert "data-case" not in ada.get("/drill/1").text
    assert len(store.fetch("SELECT * FROM dealt WHERE drill = 1")) == 1


def test_the_run_of_someone_who_went_away_has_ended_for_all_who_look(app: Flask, store: Store, clock: Clock) -> None:
    """Marks at the end are told at the end, on Progress too, though its learner never came back to the drill."""
    owner, url, ada = timed(app, store, feedback="end")
    answer(ada, store, "/drill/1")
    ada.get("/drill/1")
    done = store.answers_of(1)[0].dealt
    assert done not in ada.get("/progress/answers.csv").text
    assert "net-sphere" not in ada.get("/progress/answers.csv").text
    assert "under way" in owner.get(url).text
    clock.move(seconds=311)
    assert "under way" not in owner.get(url).text
    assert "finished" in owner.get(url).text
    assert "net-sphere" in ada.get("/progress/answers.csv").text
    run = store.sitting(1)
    assert run is not None
    assert run.ended_at == run.started_at + 300, "when its time was over, not when someone looked"


def test_an_answer_after_closing_is_not_counted_in_a_drill_of_cases_either(
    app: Flask, store: Store, clock: Clock
) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number, pass_mark="50", type=["net-sphere"])  # noqa: S106 - no password
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    left = waiting_in(ada.get("/drill/1"), store)
    owner.post(f"{url}/close")
    clock.move(seconds=11)
    hand_in(ada, *left)
    assert "1 of 4 right: 25 %. One answer came after the time" in ada.get("/drill/1").text
    assert "not finished when it closed, 1 late by Ada , not counted" in words(owner.get(url).text)


def test_answers_that_race_for_the_end_are_judged_one_by_one(data_file: DataFile, store: Store, clock: Clock) -> None:
    """Twelve learners at once, half of them late by arrival: each is kept once, and six are counted."""
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, cases="", minutes="5", type=["net-sphere"])
    people = [learner(app, code, f"Learner {place}") for place in range(12)]
    for one in people:
        one.post("/drill/1/begin")
    left = [waiting_in(one.get("/drill/1"), store) for one in people]
    arrivals = [309.0 if place % 2 else 311.0 for place in range(12)]
    begun = clock.at

    def send(place: int) -> None:
        with closing(Store(data_file)) as own:
            who, (dealt, case) = own.learner(place + 1), left[place]
            assert who is not None
            dealing.take(own, who, dealt, written(case), None, now=begun + arrivals[place])

    threads = [threading.Thread(target=send, args=(place,)) for place in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [len(store.answers_of(place + 1)) for place in range(12)] == [1] * 12
    assert sum(one.answered for one in result_queries.learner_sums(store, 1, "all", drill=1)) == 6
    assert result_queries.late_answers(store, 1) == {place + 1: 1 for place in range(0, 12, 2)}


def test_the_time_left_is_on_the_page_of_a_case(app: Flask, store: Store, clock: Clock) -> None:
    _, _, ada = timed(app, store)
    clock.move(seconds=65)
    assert "Time left: 3 min 55 s" in words(ada.get("/drill/1").text)


def test_a_pass_mark_set_before_a_least_number_was_asked_for_is_said_to_be_unused(
    app: Flask, store: Store, clock: Clock
) -> None:
    owner, url, ada = timed(app, store)
    with store.writing():
        store.change("UPDATE drills SET pass_mark = 50")
    answer(ada, store, "/drill/1")
    clock.move(seconds=311)
    assert "1 right in 5 minutes." in ada.get("/drill/1").text
    assert "pass mark" not in ada.get("/drill/1").text
    page = owner.get(url).text
    assert "50 %, not used: the drill sets no least number of cases" in page
    assert "passed" not in page
    assert owner.post(f"{url}/copy").status_code == 303
