"""Results: every sum against a plain count over the log, every number against the answers that it leads to."""

from __future__ import annotations

import html
import random
import re
from collections import Counter

import pytest
from flask import Flask

from cases.curriculum.register import case_type
from cases.procedure.choices import Choice
from cases.procedure.vocabulary import CREDITED
from quiz.app import create_app
from quiz.storage import projection, result_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Answer, Store
from tests.conftest import Clock, lots, slipped, written
from tests.quiz.class_people import Browser, answer, case_page, learner, make_class, preceptor, set_drill, waiting_in


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@pytest.fixture
def owner(app: Flask, store: Store, clock: Clock) -> Browser:
    """Fill a class of three: two with answers in a drill and outside it, wrong in many ways; one who has not begun."""
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="8")
    rng = random.Random(4)
    for name in ("Ada", "Bo"):
        browser = learner(app, code, name)
        browser.post("/drill/1/begin")
        for url in ["/drill/1"] * 8 + ["/practise"] * 12:
            page = case_page(browser, url)
            clock.move(seconds=rng.randrange(5, 60))
            _, case = waiting_in(page, store)
            wrong = [*case.singles, *case.doubles][:20]
            texts = written(case, rng.choice(wrong).answer) if wrong and rng.random() < 0.5 else None
            answer(browser, store, url, texts)
    learner(app, code, "Cy")
    return one


def log(store: Store) -> list[Answer]:
    return [one for who in (1, 2) for one in store.answers_of(who)]


def counted(answers: list[Answer]) -> dict[str, Counter[str]]:
    """Count as result_queries.py says, but straight from the log."""
    names = ("type", "step", "slip", "type missed", "step missed", "slip surely")
    out: dict[str, Counter[str]] = {name: Counter() for name in names}
    for one in answers:
        missed = one.verdict not in CREDITED
        explained = {(step, slip) for each in one.explanations for step, slip in each} if missed else set()
        out["type"][one.type] += 1
        out["type missed"][one.type] += missed
        for step in {*one.steps, *(step for step, _ in explained)}:
            out["step"][step] += 1
            out["step missed"][step] += step in {each for each, _ in explained}
        for step, slip in explained:
            out["slip"][f"{step} {slip}"] += 1
            out["slip surely"][f"{step} {slip}"] += one.verdict == "slip" and len(one.explanations) == 1
    return out


@pytest.mark.usefixtures("owner")
@pytest.mark.parametrize("drill", [result_queries.EVERYTHING, 1])
@pytest.mark.parametrize("who", [None, 1, 2])
def test_sums_are_what_the_log_says(store: Store, drill: int, who: int | None) -> None:
    answers = [one for one in log(store) if drill in (0, one.drill) and who in (None, one.learner)]
    plain = counted(answers)
    for kind, second in (("type", "type missed"), ("step", "step missed"), ("slip", "slip surely")):
        found = result_queries.class_sums(store, 1, kind, drill=drill, learner=who)
        assert {one.key: one.answered for one in found} == dict(plain[kind])
        assert {one.key: one.missed for one in found} == dict(plain[second])
    whole = result_queries.class_sums(store, 1, "all", drill=drill, learner=who)[0]
    assert whole.answered == len(answers)
    assert whole.right == sum(one.verdict in CREDITED for one in answers)
    assert whole.seconds == pytest.approx(sum(one.seconds or 0 for one in answers))
    assert any(plain["slip"].values()), "an empty table would prove nothing"


@pytest.mark.usefixtures("owner")
def test_the_answers_behind_a_number_are_as_many_as_it_says(store: Store) -> None:
    for drill in (result_queries.EVERYTHING, 1):
        for one in result_queries.class_sums(store, 1, "slip", drill=drill):
            step, slip = one.key.split(" ")
            assert len(result_queries.answers_behind(store, 1, drill=drill, step=step, slip=slip)) == one.answered
        for one in result_queries.class_sums(store, 1, "type", drill=drill):
            behind = result_queries.answers_behind(store, 1, drill=drill, type_id=one.key)
            missed = result_queries.answers_behind(store, 1, drill=drill, type_id=one.key, missed_only=True)
            assert (len(behind), len(missed)) == (one.answered, one.missed)
        for one in result_queries.class_sums(store, 1, "step", drill=drill):
            behind = result_queries.answers_behind(store, 1, drill=drill, step=one.key)
            missed = result_queries.answers_behind(store, 1, drill=drill, step=one.key, missed_only=True)
            assert len(missed) == one.missed
            assert one.answered - len(behind) in range(one.missed + 1), "a slip may lie at a step that was passed over"


LINK = r'href="(/class/1/answers\?[^"]+)">(?:<span class="unseen">[^<]*</span>)?(\d+)</a>'


def test_every_link_of_the_results_leads_to_as_many_rows_as_its_number(owner: Browser) -> None:
    tried = 0
    for url in ("/class/1/results", "/class/1/results?drill=1&by=step", "/class/1/learner/1"):
        text = owner.get(url).text
        for link, number in re.findall(LINK, text):
            page = owner.get(html.unescape(link)).text
            rows = page.count('<th scope="row">')
            assert rows == int(number) or ("step=" in link and "missed" not in link and rows <= int(number)), link
            tried += 1
    assert tried > 20


def test_a_slip_is_shown_with_the_line_in_which_it_was_made(owner: Browser, store: Store) -> None:
    text = owner.get("/class/1/results").text
    slips = result_queries.class_sums(store, 1, "slip")
    for one in sorted(slips, key=lambda each: (-each.answered, -each.missed, each.key))[:3]:
        example = result_queries.answer_numbered(store, one.last_answer)
        assert example is not None
        assert f"/class/1/answer/{example.dealt}" in text


def test_who_has_not_begun_is_named(owner: Browser) -> None:
    assert "Not begun: Cy." in owner.get("/class/1/results").text
    assert "Not begun: Cy (joined after it opened, on" in owner.get("/class/1/drill/1").text
    assert "1 of 3 have not begun: Cy." in owner.get("/class/1").text


def test_what_was_chosen_is_listed_by_its_label(owner: Browser, store: Store) -> None:
    """A preceptor never met the ids of options: "against" may pass for a word, "with-slow" does not."""
    shown = 0
    for one in log(store):
        if one.did_not_know:
            continue
        chosen = [(ask.kind, one.given[ask.name]) for ask in case_type(one.type).asks if isinstance(ask.kind, Choice)]
        told = [(kind.write(kind.read(text)), text) for kind, text in chosen]
        if any(label != text for label, text in told):
            page = owner.get(f"/class/1/answers?learner={one.learner}&type={one.type}").text
            cells = [html.unescape(cell).split("; ") for cell in re.findall(r'<td class="given">([^<]*)</td>', page)]
            assert any(all(label in cell for label, _ in told) for cell in cells)
            assert not any(text in cell for cell in cells for label, text in told if label != text)
            shown += 1
    assert shown


@pytest.mark.usefixtures("owner")
def test_sums_worked_out_anew_are_the_sums_that_were_kept(store: Store) -> None:
    kept = [tuple(row) for row in store.fetch("SELECT * FROM tallies ORDER BY 1, 2, 3, 4")]
    slipped = [tuple(row) for row in store.fetch("SELECT * FROM slipped ORDER BY 1, 2, 3, 4")]
    with store.writing():
        for who in store.learners():
            result_queries.tally_anew(store, who)
    anew = [tuple(row) for row in store.fetch("SELECT * FROM tallies ORDER BY 1, 2, 3, 4")]
    assert [row[:6] + row[7:] for row in anew] == [row[:6] + row[7:] for row in kept]
    assert [row[6] for row in anew] == pytest.approx([row[6] for row in kept])
    assert [tuple(row) for row in store.fetch("SELECT * FROM slipped ORDER BY 1, 2, 3, 4")] == slipped


def test_an_answer_sent_twice_is_counted_once(app: Flask, store: Store) -> None:
    _, code = make_class(preceptor(app, store))
    ada = learner(app, code, "Ada")
    dealt, case = waiting_in(case_page(ada), store)
    form = {f"answer-{name}": text for name, text in written(case).items()}
    codes = [ada.post(f"/case/{dealt}/answer", dict(form), Accept="application/json").status_code for _ in range(3)]
    assert codes == [201, 200, 200]
    assert result_queries.class_sums(store, 1, "all")[0].answered == 1


def test_another_answer_to_a_case_is_refused_and_not_counted(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, type=["net-sphere"])
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    dealt, _ = waiting_in(ada.get("/drill/1"), store)
    codes = [
        ada.post(f"/case/{dealt}/answer", {"answer-power": text}, Accept="application/json").status_code
        for text in ("+1.00", "+2.00")
    ]
    assert codes == [201, 409]
    assert result_queries.class_sums(store, 1, "all", drill=1)[0].answered == 1


def test_a_learner_at_this_computer_leaves_no_sums(store: Store, data_file: DataFile, clock: Clock) -> None:
    home = Browser(create_app(data_file, clock=clock, lots=lots()))
    answer(home, store, "/practise")
    assert store.fetch("SELECT * FROM tallies") == []
    assert projection.refolded(store, 1).cases.steps


def test_a_wrong_answer_that_no_slip_explains_counts_against_no_step(app: Flask, store: Store) -> None:
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, type=["net-sphere"])
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    assert "No answer was wrong." in one.get(f"/class/{number}/results").text
    answer(ada, store, "/drill/1", {"power": "+19.25"})
    page = one.get(f"/class/{number}/results").text
    assert "No slip that is known here explains a wrong answer." in page
    assert "2 steps in which no known slip was made" in page
    assert "2 answers of 1 learner, 1 right." in page


def test_a_preceptor_reads_what_a_learner_did_by_name(app: Flask, store: Store) -> None:
    """“You” is the person who reads a page; a sentence that speaks to the learner all the same says so."""
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, cases="2", type=["net-sphere"])
    bo = learner(app, code, "Bo")
    bo.post("/drill/1/begin")
    _, case = waiting_in(case_page(bo, "/drill/1"), store)
    answer(bo, store, "/drill/1", slipped(case, "distance-left-in"))
    dealt, _ = waiting_in(case_page(bo, "/drill/1"), store)
    bo.post(f"/case/{dealt}/dont-know", {"unknown": "yes"})
    links = dict.fromkeys(re.findall(r'href="(/class/1/answer/[^"]+)"', one.get("/class/1/answers?drill=1").text))
    unknown, left_in = (re.sub(r"\s+", " ", html.unescape(one.get(url).text)) for url in links)
    assert "<strong>Bo did not subtract the working distance.</strong>" in left_in
    assert ">Bo’s line:</b>" in left_in
    assert "<dt>Given</dt>" in left_in
    assert "Bo chose “I don’t know”. Here is the working." in unknown
    for page in (left_in, unknown):
        mark = page.split(">Mark</p>", 1)[1].split("</section>", 1)[0]
        assert not re.search(r"\bYou\b|\bYours\b|\byou\b", re.sub(r"<[^>]+>", " ", mark))
    assert "Where this page says “you”, it speaks to Bo." in left_in, "its working and figures do"


def test_the_menu_of_a_preceptor_in_a_class_leads_to_pages_of_their_own(app: Flask, store: Store) -> None:
    """Nobody is a learner there without a code or a phrase: Practise myself and Settings only led back to the class."""
    one = preceptor(app, store)
    head = one.get("/class").text.split("<main", 1)[0]
    links = re.findall(r'<a href="([^"]+)"[^>]*>([^<]+)</a>', head)
    assert "Sign in or join" in [words for _, words in links]
    assert {url: one.get(url).status_code for url, _ in links} == dict.fromkeys((url for url, _ in links), 200)
