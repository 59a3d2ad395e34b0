"""The pages of a drill's scores, its cases, its learners, its report, the score sheet, and two drills compared."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from collections import Counter
from typing import Any

import pytest
from flask import Flask

from cases.procedure.vocabulary import CREDITED
from quiz.app import create_app
from quiz.storage import class_queries, item_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from quiz.web.results import drill_results_routes
from tests.conftest import Clock, lots, slipped, written
from tests.quiz.class_people import Browser, answer, case_page, learner, make_class, preceptor, set_drill, waiting_in

SET: dict[str, Any] = {"cases": "3", "type": ["net-sphere"], "title": "=First"}
NAMES = ("Ada", "Bo", "Cy")


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def words(page: str) -> str:
    """Return a page's text, tags and spaces tidied."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def give(one: Browser, store: Store, url: str, *, slip: bool) -> None:
    _, case = waiting_in(case_page(one, url), store)
    answer(one, store, url, slipped(case, "distance-left-in") if slip else None)


@pytest.fixture
def owner(app: Flask, store: Store, clock: Clock) -> Browser:
    """Set a drill that Ada does wholly right and Bo with slips, and its copy, which both do right; Cy begins none."""
    one = preceptor(app, store)
    number, code = make_class(one)
    drill = set_drill(one, number, **{**SET, "pass_mark": "70"})
    people = [learner(app, code, name) for name in NAMES]
    for who, slips in zip(people, (0, 2), strict=False):
        who.post("/drill/1/begin")
        for place in range(3):
            clock.move(seconds=10)
            give(who, store, "/drill/1", slip=place < slips)
    copied = one.post(f"{drill}/copy").location.removesuffix("/edit")
    one.post(f"{copied}/open")
    for who in people[:2]:
        who.post("/drill/2/begin")
        for _ in range(3):
            give(who, store, "/drill/2", slip=False)
    return one


def test_scores_say_how_they_are_spread_and_which_case_was_missed(owner: Browser) -> None:
    page = owner.get("/class/1/drill/1/scores").text
    told = words(page)
    assert "finished 2 of 3 passed 1 mean right 2.0 median 2 SD 1.4" in told
    assert "2 right" not in told
    assert "1 not begun" in told
    assert "Scores of 2 learners" in page
    assert re.search(r"1 Gross to net, one sphere 1 of 2 9 % to 91 %", told)
    assert "did not subtract the working distance" in told
    behind = words(owner.get("/class/1/answers?drill=1&place=1").text)
    assert "=First; the whole class; case 1; Gross to net, one sphere. " in behind
    assert "2 answers" in behind, "of the one case, though all three are of one type"
    assert "Look at it again" not in told, "two learners show nothing"
    assert re.search(r"Ada .*Ada, answers: 3 of 3 0:\d\d passed", told)
    assert re.search(r"Bo .*Bo, answers: 1 of 3 0:\d\d not passed", told)


def test_learners_are_sorted_searched_and_those_not_begun_found(owner: Browser) -> None:
    def order(query: str) -> list[str]:
        page = owner.get(f"/class/1/drill/1/scores?{query}").text
        return re.findall(r'<th scope="row"><a class="target" href="/class/1/learner/\d+">([^<]+)</a>', page)

    assert order("sort=-score") == ["Ada", "Bo", "Cy"]
    assert order("sort=score") == ["Cy", "Bo", "Ada"]
    assert order("q=b") == ["Bo"]
    assert order("show=not-begun") == ["Cy"]
    assert order("sort=nothing&page=7") == []
    page = owner.get("/class/1/drill/1/scores?sort=-score&cases=-right").text
    assert page.count('aria-sort="descending"') == 2


def test_a_case_that_was_looked_at_is_worked_out_again_after_another_answer(app: Flask, store: Store) -> None:
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="1", type=["net-sphere"])
    for right, name in enumerate(NAMES, 1):
        who = learner(app, code, name)
        who.post("/drill/1/begin")
        give(who, store, "/drill/1", slip=False)
        assert f"Gross to net, one sphere {right} of {right}" in words(one.get("/class/1/drill/1/scores").text)
    who.post("/class/mine/remove", {"sure": "yes"})
    assert "Gross to net, one sphere 2 of 2" in words(one.get("/class/1/drill/1/scores").text)


def test_the_report_has_everyone_and_no_forms(owner: Browser) -> None:
    page = owner.get("/class/1/drill/1/report").text
    assert all(f"<span>{name}</span>" in page for name in NAMES)
    assert "<form" not in page


def test_the_score_sheet_has_a_row_a_learner_and_a_column_a_drill(owner: Browser) -> None:
    reply = owner.get("/class/1/scores.csv")
    assert reply.data.startswith(b"\xef\xbb\xbflearner,")
    rows = list(csv.reader(io.StringIO(reply.data.decode("utf-8-sig"))))
    assert rows == [
        ["learner", "number", "groups", "'=First (of 3)", "'=First (copy) (of 3)"],
        ["Ada", "", "", "3", "3"],
        ["Bo", "", "", "1", "3"],
        ["Cy", "", "", "", ""],
    ]


def test_before_and_after_are_paired_by_learner_and_slips_are_of_where_they_could_show(owner: Browser) -> None:
    told = words(owner.get("/class/1/compare?before=1&after=2").text)
    assert "2 learners answered in both." in told
    assert re.search(r"2 67 % 100 % \+33 −390 to \+457", told), "mean 33 points, t(1) 12.706 times SD / sqrt(2)"
    assert "better" not in told.replace("“Better”", "")
    assert re.search(r"Did not subtract the working distance\. Step: [^.]+\. 2 of 6 0 of 6", told)
    assert "Two drills" not in told
    assert "outside the 95 % interval" in told
    assert "no doubt" not in told
    same = owner.get("/class/1/compare?before=1&after=1")
    assert same.status_code == 422
    assert "the same drill is chosen twice" in words(same.text)
    assert "answered in both" not in words(same.text)
    chosen = re.findall(r'value="([^"]+)" selected', owner.get("/class/1/compare").text)
    assert chosen == ["1", "2"], "offered are the drill before the newest, and the newest"
    assert owner.get("/class/1/compare?before=1&after=99").status_code == 404


def test_each_their_own_cases_are_not_compared(app: Flask, store: Store) -> None:
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="1", type=["net-sphere"], same="own")
    ada = learner(app, code, "Ada")
    assert "Nobody is found" in words(one.get("/class/1/drill/1/scores?q=none").text)
    ada.post("/drill/1/begin")
    give(ada, store, "/drill/1", slip=False)
    told = words(one.get("/class/1/drill/1/scores").text)
    assert "Each learner had their own cases" in told
    assert "finished 1 of 1 mean right 1.0 median 1" in told
    assert class_queries.is_begun(store, 1)
    assert "Two drills are needed" in words(one.get("/class/1/compare").text)


def test_a_late_answer_is_in_no_number_until_it_is_let_count(app: Flask, store: Store, clock: Clock) -> None:
    """Scores, cases, the report, the score sheet and the comparison, as everywhere else."""
    one = preceptor(app, store)
    number, code = make_class(one)
    people = [learner(app, code, name) for name in NAMES[:2]]
    drill = set_drill(one, number, cases="1", type=["net-sphere"], feedback="end", limit_minutes="5")
    waits = []
    for who in people:
        who.post("/drill/1/begin")
        waits.append(waiting_in(case_page(who, "/drill/1"), store))
    give(people[0], store, "/drill/1", slip=False)
    clock.move(seconds=311)
    dealt, case = waits[1]
    late = {f"answer-{name}": text for name, text in slipped(case, "distance-left-in").items()}
    assert people[1].post(f"/case/{dealt}/answer", late).status_code == 303
    scores, results, sheet = f"{drill}/scores", f"/class/{number}/results?drill=1", "/class/1/scores.csv"
    for page in (words(one.get(scores).text), words(one.get(f"{drill}/report").text)):
        assert "finished 2 of 2" in page
        assert "Gross to net, one sphere 1 of 1" in page
        assert "did not subtract the working distance" not in page
    assert re.search(r"Bo .*0 of 1.* 1 late", words(one.get(scores).text))
    assert "1 answer of 1 learner" in words(one.get(results).text)
    assert "Did not subtract the working distance" not in words(one.get(results).text)
    assert max(item_queries.could_show(store, 1).values()) == 1, "what the comparison counts of"
    assert one.get(sheet).text.splitlines()[1:] == ["Ada,,,1", "Bo,,,0"]
    assert "1 answer." in words(one.get("/class/1/answers?drill=1&place=1").text)

    one.post(f"{drill}/late", {"case": dealt, "counts": "yes"})
    assert "Gross to net, one sphere 1 of 2" in words(one.get(scores).text)
    assert "did not subtract the working distance" in words(one.get(scores).text)
    assert "2 answers of 2 learners" in words(one.get(results).text)
    assert max(item_queries.could_show(store, 1).values()) == 2
    assert "2 answers." in words(one.get("/class/1/answers?drill=1&place=1").text)


def test_of_who_left_the_class_no_answer_is_shown_or_counted_there(app: Flask, store: Store, clock: Clock) -> None:
    """What late answers they have, and in how many a slip could show, goes with them."""
    one = preceptor(app, store)
    number, code = make_class(one)
    other, _ = make_class(one, "Autumn 1")
    people = [learner(app, code, name) for name in NAMES]
    drill = set_drill(one, number, cases="1", type=["net-sphere"], feedback="end", limit_minutes="5")
    waits = []
    for who in people:
        who.post("/drill/1/begin")
        waits.append(waiting_in(case_page(who, "/drill/1"), store))
    for who in people[:2]:
        give(who, store, "/drill/1", slip=True)
    clock.move(seconds=311)
    dealt, case = waits[2]
    people[2].post(f"/case/{dealt}/answer", {f"answer-{name}": text for name, text in written(case).items()})
    assert max(item_queries.could_show(store, 1).values()) == 2, "what the comparison counts of"
    assert re.search(r"\bCy\b", words(one.get(f"{drill}/late").text))
    assert one.post(f"/class/{number}/people/move", {"learner": ["2", "3"], "to_class": str(other)}).status_code == 303
    assert max(item_queries.could_show(store, 1).values()) == 1
    for page in (drill, f"{drill}/late", f"{drill}/scores", "/class/1/results?drill=1"):
        assert not re.search(r"\bCy\b", words(one.get(page).text))
        assert "1 late" not in words(one.get(page).text)
    assert one.post(f"{drill}/late", {"case": dealt, "counts": "yes"}).status_code == 409


def test_a_remark_on_an_answer_is_read_by_its_learner_alone(app: Flask, store: Store, data_file: DataFile) -> None:
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="1", type=["net-sphere"], feedback="end")
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    ada.post("/drill/1/begin")
    give(ada, store, "/drill/1", slip=True)
    dealt = store.answers_of(1)[0].dealt
    url = f"/class/1/answer/{dealt}"
    assert "A remark that Ada will read" in one.get(url).text
    assert one.post(f"{url}/remark", {"note": "  Take the  distance off <first>. "}).location == f"{url}#remark"
    assert "“Take the distance off <first>.”" in words(ada.get(f"/case/{dealt}").text)
    assert "Marit Osei, " in words(ada.get("/class").text)
    assert f'href="/case/{dealt}#remark"' in ada.get("/class").text
    assert bo.get(f"/case/{dealt}").status_code == 404
    assert "Remarks" not in words(bo.get("/class").text)
    lines = ada.get("/progress/everything.jsonl").text
    assert "Take the distance off <first>." in lines
    assert bo.post(f"{url}/remark", {"note": "mine"}).status_code in (303, 403, 404)
    assert one.post("/class/1/answer/none/remark", {"note": "x"}).status_code == 404
    one.post(f"{url}/remark", {"note": " "})
    assert "“Take" not in words(ada.get(f"/case/{dealt}").text)
    one.post(f"{url}/remark", {"note": "Once more"})
    ada.post("/class/mine/remove", {"sure": "yes"})
    assert store.fetch("SELECT * FROM remarks") == []
    assert [each.words for each in check(data_file.where) if not each.good] == []


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0"), (-0.0004, "0"), (0.004, "+0.4"), (-0.0996, "−10"), (0.005, "+0.5"), (1.0, "+100")]
)
def test_points_have_no_sign_where_they_are_nothing(share: float, words: str) -> None:
    assert drill_results_routes._points(share) == words


def test_a_view_reads_only_the_answers_that_came_since_the_last(app: Flask, store: Store) -> None:
    """In a class of 500 answers come every second: each used to be read with fifty thousand others at the next view."""
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="2", type=["net-sphere"])
    set_drill(one, number, cases="2", type=["net-sphere"])
    people = [learner(app, code, name) for name in NAMES]
    views = ("/class/1/drill/1/scores", "/class/1/compare?before=1&after=2")
    for drill in ("/drill/1", "/drill/2"):
        for who in people:
            who.post(f"{drill}/begin")
            give(who, store, drill, slip=True)
    read: list[int] = []
    extend = item_queries._DrillAnswers._extend

    def counting(self: item_queries._DrillAnswers, *what: Any) -> None:
        before = self.read
        extend(self, *what)
        read.append(self.read - before)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(item_queries._DrillAnswers, "_extend", counting)
        for url in views:
            one.get(url)
        assert max(read) == len(people), "the first view reads all"
        read.clear()
        give(people[0], store, "/drill/1", slip=True)
        told = [words(one.get(url).text) for url in views]
        assert sum(read) == 1
        assert "Did not subtract the working distance" in told[1]
        assert "4 of 4 3 of 3" in told[1]
        people[2].post("/class/mine/remove", {"sure": "yes"})
        read.clear()
        assert "3 of 3 2 of 2" in words(one.get(views[1]).text), "who is gone is in no number"
        assert max(read) == 3, "all was read again"


def test_what_is_held_of_a_drill_is_what_its_log_says(app: Flask, store: Store) -> None:
    """Against a plain count over the log, after answers, a slip, a late answer that counts, and a deletion."""
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="3", type=["net-sphere", "two-spheres"])
    people = [learner(app, code, name) for name in NAMES]

    def agrees() -> None:
        log = store.fetch("SELECT * FROM answers WHERE drill = 1 ORDER BY id")
        at = {(row["type"], row["seed"]): row["place"] for row in store.fetch("SELECT * FROM drill_cases")}
        assert item_queries.answers_by_case(store, 1) == {
            (row["learner"], at[row["type"], row["seed"]]): (row["verdict"] in CREDITED, row["seconds"]) for row in log
        }
        shown = Counter(tuple(each) for row in log for each in json.loads(row["could_show"]))
        assert item_queries.could_show(store, 1) == shown
        wrong = item_queries.wrong_answers(store, 1, [1, 2, 3])
        assert sum(each.learners for each in wrong) == sum(row["verdict"] not in CREDITED for row in log)

    for place in range(3):
        for who in people:
            who.post("/drill/1/begin")
            give(who, store, "/drill/1", slip=place == 1)
            agrees()
    people[1].post("/class/mine/remove", {"sure": "yes"})
    agrees()
    assert len(item_queries.answers_by_case(store, 1)) == 6
