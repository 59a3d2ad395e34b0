"""A timed test: what is closed beside it, cases put back, orders, a start together, extra time, late answers decided.

The race at its end is run on a real server, by clients whose answers arrive in its last second and after it.
"""

from __future__ import annotations

import html
import json
import re
import threading
import time
from contextlib import closing
from http.client import HTTPConnection
from typing import Any
from urllib.parse import urlencode

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import drills
from quiz.practice import sittings
from quiz.storage import class_queries, projection, result_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots, serving, written
from tests.quiz.class_people import Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

TEST: dict[str, Any] = {"test": "yes", "limit_minutes": "10", "feedback": "end", "cases": "3", "type": ["net-sphere"]}


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def words(page: str) -> str:
    """Return a page's text, tags and spaces tidied."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def begun(app: Flask, store: Store, **more: object) -> tuple[Browser, str, Browser]:
    """Set a test and begin it; its preceptor, its address, a learner."""
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada = learner(app, code, "Ada")
    url = set_drill(owner, number, **{**TEST, **more})
    assert ada.post("/drill/1/begin").status_code == 303
    return owner, url, ada


def test_nothing_else_is_open_until_the_test_has_ended(app: Flask, store: Store) -> None:
    owner, _, ada = begun(app, store)
    page = ada.get("/drill/1").text
    assert "Hand in this answer" in page
    assert "10 min left of 10 min" in words(page)
    assert "Return to this one" not in page
    assert "Marked right within 0.125 D." in page, "the tolerance that marks is in the question here too"
    closed = ("/", "/bench", "/work-one-out", "/recall", "/reference", "/progress", "/look-up", "/settings", "/class")
    for url in closed:
        reply = ada.get(url)
        assert (reply.status_code, reply.location) == (303, "/drill/1"), url
    told = ada.post("/recall/prompt/none/show", Accept="application/json")
    assert (told.status_code, (told.json or {}).get("go")) == (409, "/drill/1")
    assert owner.get("/reference").status_code == 200, "to others they are open"
    for _ in range(3):
        answer(ada, store, "/drill/1")
    assert "3 of 3 right: 100 %." in words(ada.get("/drill/1").text)
    assert ada.get("/").status_code == 200


def test_the_aids_that_the_preceptor_allows_stay_open(app: Flask, store: Store) -> None:
    _, _, ada = begun(app, store, aid=["reference", "work"])
    assert "Open beside it: Reference , Work one out" in words(ada.get("/drill/1").text)
    assert [ada.get(url).status_code for url in ("/reference", "/work-one-out", "/bench")] == [200, 200, 303]


def test_the_bench_of_its_case_is_open_in_a_test_and_no_other(app: Flask, store: Store) -> None:
    _, _, ada = begun(app, store, type=["bench-sphere"])
    dealt, _ = waiting_in(ada.get("/drill/1"), store)
    assert ada.get(f"/bench/case/{dealt}/seen?view=0").status_code == 200
    assert ada.get("/bench/case/none").location == "/drill/1"
    assert ada.get("/bench/guide/1").location == "/drill/1"


def test_the_server_ends_a_test_and_all_is_open_again(app: Flask, store: Store, clock: Clock) -> None:
    _, _, ada = begun(app, store)
    answer(ada, store, "/drill/1")
    clock.move(seconds=611)
    assert ada.get("/reference").status_code == 200
    assert "1 of 3 right: 33 %." in words(ada.get("/drill/1").text)


def test_a_case_is_put_back_and_returned_to(app: Flask, store: Store) -> None:
    _, _, ada = begun(app, store, may_return="yes")
    first, _ = waiting_in(ada.get("/drill/1"), store)
    ada.post("/drill/1/put-back", {"case": first})
    page = ada.get("/drill/1")
    second, _ = waiting_in(page, store)
    assert second != first
    assert "2 of 3" in words(page.text)
    assert "Case 1" in words(page.text), "the way back"
    assert waiting_in(ada.get(f"/drill/1?case={first}"), store)[0] == first
    answer(ada, store, "/drill/1")
    answer(ada, store, "/drill/1")
    assert waiting_in(ada.get("/drill/1"), store)[0] == first, "it comes when all others are handed in"
    assert "1 of 3" in words(ada.get("/drill/1").text), "at its own place"
    answer(ada, store, "/drill/1")
    assert "3 of 3 right" in words(ada.get("/drill/1").text)
    assert ada.post("/drill/1/put-back", {"case": second}).status_code in (303, 404)
    assert ada.post("/drill/1/put-back", {"case": "none"}).status_code == 404


def test_it_is_finished_early_after_a_question(app: Flask, store: Store) -> None:
    _, _, ada = begun(app, store)
    answer(ada, store, "/drill/1")
    assert "1 of 3 handed in. What is not handed in is not right." in words(ada.get("/drill/1/end").text)
    ada.post("/drill/1/finish")
    assert "1 of 3 right: 33 %." in words(ada.get("/drill/1").text)
    assert ada.get("/").status_code == 200


def test_each_learner_has_the_same_cases_in_an_order_of_their_own(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, **{**TEST, "cases": "6", "shuffled": "yes"})
    met = []
    for name in ("Ada", "Bo", "Cy"):
        one = learner(app, code, name)
        one.post("/drill/1/begin")
        seeds = []
        for _ in range(6):
            dealt, _ = waiting_in(one.get("/drill/1"), store)
            kept = store.dealt(dealt)
            assert kept is not None
            seeds.append(kept.seed)
            answer(one, store, "/drill/1")
        met.append(seeds)
    assert len({tuple(sorted(one)) for one in met}) == 1, "the same cases"
    assert len({tuple(one) for one in met}) > 1, "not in the same order"


def test_the_order_of_a_learner_is_the_same_on_every_machine() -> None:
    """Pinned: of the project's own making, no outside source."""
    assert drills.order_for(37, 6, 1) == [3, 1, 4, 5, 0, 2]
    assert drills.order_for(37, 6, 2) == [3, 4, 5, 2, 0, 1]


def test_a_start_together_runs_for_all_from_the_same_moment(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    url = set_drill(owner, number, **TEST, together="yes")
    assert "It begins for everyone when your preceptor starts it." in words(ada.get("/drill/1").text)
    assert ada.get("/drill/1/started").json == {"started": False}
    assert ada.post("/drill/1/begin").status_code == 404
    clock.move(seconds=60)
    owner.post(f"{url}/start")
    assert ada.get("/drill/1/started").json == {"started": True}
    ada.post("/drill/1/begin")
    clock.move(seconds=300)
    bo.post("/drill/1/begin")
    runs = [class_queries.run_of(store, 1, who) for who in (1, 2)]
    assert len({one.due_at for one in runs if one}) == 1, "they end together"
    assert "5 min left of 10 min" in words(bo.get("/drill/1").text)
    assert owner.post(f"{url}/start").status_code == 303, "once more changes nothing"
    clock.move(seconds=311)
    assert "data-case" not in bo.get("/drill/1").text


def test_extra_time_and_an_extension_move_the_end_of_one_run(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    owner.post(f"/class/{number}/people/extra-time", {"learner": "1", "extra_time": "25"})
    url = set_drill(owner, number, **TEST)
    assert "You have 12.5 minutes." in words(ada.get("/drill/1").text)
    for one in (ada, bo):
        one.post("/drill/1/begin")
    clock.move(seconds=590)
    owner.post(f"{url}/extensions", {"learner": "2", "extra_minutes": "5"})
    assert "Ada: 25 % extra time; Bo: 5 minutes more." in words(owner.get(url).text)
    clock.move(seconds=100)  # 690 s: past ten minutes and the grace
    for one in (ada, bo):
        assert answer(one, store, "/drill/1").status_code == 303
    assert [store.answers_of(who)[0].late for who in (1, 2)] == [False, False]
    clock.move(seconds=300)
    ada.get("/class")
    refused = owner.post(f"{url}/extensions", {"learner": "1", "extra_minutes": "5"})
    assert refused.status_code == 422
    assert "what was handed in cannot be changed" in refused.text


def test_a_late_answer_counts_when_the_preceptor_says_so_which_is_kept(
    app: Flask, store: Store, clock: Clock, data_file: DataFile
) -> None:
    owner, url, ada = begun(app, store)
    dealt, case = waiting_in(ada.get("/drill/1"), store)
    clock.move(seconds=625)
    form = {f"answer-{name}": text for name, text in written(case).items()}
    ada.post(f"/case/{dealt}/answer", {**form, "held": "40"})
    assert "0 of 3 right" in words(ada.get("/drill/1").text)
    page = words(owner.get(f"{url}/late").text)
    assert "arrived 25 s after the end" in page
    assert "The browser says that the line held it for 40 s: handed in 15 s before the end." in page
    owner.post(f"{url}/late", {"case": dealt, "counts": "yes"})
    assert "Marit Osei let it count" in words(owner.get(f"{url}/late").text)
    assert "1 of 3 right" in words(ada.get("/drill/1").text)
    assert "late: counted by your preceptor" in words(ada.get("/drill/1").text)
    assert "your preceptor let it count." in words(ada.get(f"/case/{dealt}").text)
    assert owner.get("/class/1/answers.csv").text.splitlines()[1].endswith(",counted")
    extensions = json.loads(owner.get("/class/1/statements.jsonl").text.splitlines()[0])["result"]["extensions"]
    assert (
        extensions["https://two-meridians.invalid/late"] is extensions["https://two-meridians.invalid/counted"] is True
    )
    assert result_queries.class_sums(store, 1, "all", drill=1)[0].right == 1
    list(projection.rebuild(store))
    assert [one.words for one in check(data_file.where) if not one.good] == []
    owner.post(f"{url}/late", {"case": dealt, "counts": "no"})
    assert result_queries.class_sums(store, 1, "all", drill=1) == []
    assert len(result_queries.decisions_in(store, 1)[dealt]) == 2
    assert owner.post(f"{url}/late", {"case": "none", "counts": "yes"}).status_code == 409
    assert [one.words for one in check(data_file.where) if not one.good] == []


@pytest.mark.parametrize(
    ("form", "why"),
    [
        ({"limit_minutes": ""}, "a test, and the same start for all, need a time"),
        ({"feedback": "once"}, "a test shows its marks at the end"),
        ({"limit_minutes": "500"}, "a time of 500 minutes: give 1 to 180"),
        ({"same": "own", "shuffled": "yes"}, "another order needs a number of cases that are the same for all"),
    ],
)
def test_a_test_that_cannot_be_is_refused_in_words(app: Flask, store: Store, form: dict[str, str], why: str) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    sent = {"level": "competent", "form": "minus", "distance_cm": "67", "same": "same", "title": "x", **TEST, **form}
    reply = owner.post(f"/class/{number}/drill", sent)
    assert reply.status_code == 422
    assert why in words(reply.text)


def test_the_race_at_the_end_of_a_test_on_a_real_server(data_file: DataFile, store: Store) -> None:
    """Twelve clients over real sockets by the real clock: one early, seven in the last second, four after it.

    Each answer is kept once and judged by its own arrival; nobody is given a case after the end, and all runs end.
    """
    app = create_app(data_file, lots=lots(), hosts=None, beyond=True)
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, **TEST)
    people = [learner(app, code, f"Learner {place}") for place in range(12)]
    waits = []
    for one in people:
        one.post("/drill/1/begin")
        waits.append(waiting_in(one.get("/drill/1"), store))
    end = time.time() + 3.5
    with store.writing():
        store.change("UPDATE sittings SET due_at = ? WHERE drill = 1", end - sittings.GRACE_S)
    statuses: list[int] = []
    with serving(app) as url:
        host = url.removeprefix("http://")

        def hand_in(place: int) -> None:
            dealt, case = waits[place]
            body = urlencode({f"answer-{name}": text for name, text in written(case).items()})
            cookie = people[place].client.get_cookie("two-meridians")
            headers = {
                "Cookie": f"two-meridians={cookie.value if cookie else ''}",
                "Origin": url,
                "Content-Type": "application/x-www-form-urlencoded",
            }
            with closing(HTTPConnection(host, timeout=60)) as line:
                line.connect()
                arrives = end + (-3.0 if place == 0 else -0.9 if place < 8 else 0.4)
                time.sleep(max(0.0, arrives - time.time()))
                line.request("POST", f"/case/{dealt}/answer", body, headers)
                statuses.append(line.getresponse().status)

        threads = [threading.Thread(target=hand_in, args=(place,)) for place in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert statuses == [303] * 12
    kept = {who: store.answers_of(who) for who in range(1, 13)}
    assert [len(one) for one in kept.values()] == [1] * 12
    for (kept_one,) in kept.values():
        assert kept_one.late == (kept_one.at > end), "judged by its own arrival, and by nothing else"
    late = [who for who, each in kept.items() if each[0].late]
    assert set(late) >= {9, 10, 11, 12}
    assert 1 not in late, "three seconds before the end"
    assert sum(each.answered for each in result_queries.learner_sums(store, number, "all", drill=1)) == 12 - len(late)
    people[0].get("/class")
    assert all(run.ended_at is not None for run in class_queries.runs_of(store, 1))
    assert len(store.fetch("SELECT 1 FROM dealt WHERE drill = 1")) == 12, "no case after the end"
    assert [one.words for one in check(data_file.where) if not one.good] == []
