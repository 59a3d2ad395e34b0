"""A doubtful case: reported once, seen by its class's preceptor and nobody else, in a file that draws it again."""

from __future__ import annotations

import json

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.practice import case_cache, learners
from quiz.storage import doubt_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import answer, learner, make_class, preceptor, set_drill, waiting_in


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def test_a_doubt_goes_to_the_preceptor_and_into_two_files(app: Flask, store: Store, clock: Clock) -> None:
    marit, other = preceptor(app, store), preceptor(app, store, "Aino Berg")
    number, code = make_class(marit)
    ada = learner(app, code, "Ada")
    set_drill(marit, number)
    ada.post("/drill/1/begin")
    _, case = waiting_in(ada.get("/drill/1"), store)
    answer(ada, store, "/drill/1")
    (given,) = store.answers_of(1)
    assert "Report a doubtful case" in ada.get(f"/case/{given.dealt}").text
    assert ada.post(f"/case/{given.dealt}/doubt", {"note": " is 67 cm\n<exact>? "}).status_code == 303
    ada.post(f"/case/{given.dealt}/doubt", {"note": "again"})
    assert "Reported: “is 67 cm &lt;exact&gt;?”" in ada.get(f"/case/{given.dealt}").text

    page = marit.get(f"/class/{number}").text
    assert "“is 67 cm &lt;exact&gt;?”" in page
    assert f"/class/{number}/answer/{given.dealt}" in page
    file = marit.get(f"/class/{number}/doubts.jsonl")
    (line,) = file.text.splitlines()
    row = json.loads(line)
    assert "Ada" not in line
    assert (row["note"], row["verdict"], row["given"]) == ("is 67 cm <exact>?", given.verdict, given.given)
    again = case_cache.case(row["type"], row["seed"], row["findings"])
    assert (again.findings, again.truth) == (case.findings, case.truth), "and makes it again"
    assert other.get(f"/class/{number}/doubts.jsonl").status_code == 404
    assert '"kind":"doubt"' in ada.get("/progress/everything.jsonl").text.replace(" ", "")

    learners.remove(store, 1, now=clock())
    assert doubt_queries.doubts_of(store, [1]) == []
