"""Progress: its sums against a plain count, its words, one's own data out and back in, and gone when deleted."""

from __future__ import annotations

import csv
import io
import json
import random
import re
from collections import Counter
from datetime import UTC, date, datetime

import msgspec
import pytest
from scipy.stats import binomtest

from cases.procedure.settings import Settings
from cases.procedure.vocabulary import CREDITED
from quiz.app import create_app
from quiz.learning import forecast, model, scheduler, words
from quiz.learning.intervals import share_interval
from quiz.learning.state import DAY, Answered
from quiz.practice import dealing, learners, progress, recall_prompts, today
from quiz.practice.progress_charts import DRAWN_AT_MOST, fading_chart, sureness_chart, weeks_charts
from quiz.practice.settings import BadSetting, LearnerSettings
from quiz.practice.type_catalogue import catalogue
from quiz.storage import progress_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.progress_queries import Sureness, Week
from quiz.storage.store import Answer, Learner, Store
from quiz.web.progress.views import MEANS, progress_page
from quiz.web.typography import unbroken
from tests.conftest import NOON, Clock, deal, lots, slipped, written
from tests.quiz.class_people import Browser, make_class, preceptor, set_drill, waiting_in
from tests.quiz.class_people import answer as answer_in_class
from tests.quiz.class_people import learner as join

LEFT_IN = ("take-distance-off", "distance-left-in")


@pytest.fixture
def practised(store: Store, learner: Learner) -> Learner:
    """Make a learner of six weeks: right, slipped, helped, unexplained, sure and not."""
    rng, now, chance = random.Random(11), NOON - 42 * DAY, lots(6)
    for number in range(70):
        one = dealing.waiting(store, learner, now=now, lots=chance)
        if number % 7 == 3:
            dealing.show_line(store, learner, one.dealt.id, 1)
        case = one.case
        wrong = rng.choice(case.singles).answer if case.singles and number % 3 == 0 else None
        if case.type.form_matters:
            wrong = None
        sure = rng.choice([1, 2, 3, None])
        dealing.take(store, learner, one.dealt.id, written(case, wrong), sure, now=now + rng.uniform(5, 60))
        now += DAY * 0.6
    return learners.get(store, learner.id)


def slip_twice(store: Store, learner: Learner, now: float = NOON) -> None:
    for number in range(2):
        case = deal(store, learner, "two-spheres", seed=30 + number, now=now + 60 * number)
        waiting = store.open_case(learner.id)
        assert waiting is not None
        texts = slipped(case, "distance-left-in")
        dealing.take(store, learner, waiting.id, texts, 3, now=now + 60 * number + 20)


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> Browser:
    return Browser(create_app(data_file, clock=clock, lots=lots()))


# --- sums --------------------------------------------------------------------------------------------------------


def credit(answer: Answer, step: str) -> bool | None:
    """Say whether a step went right in an answer; None where that is not known, or its line was shown."""
    if step in answer.hints:
        return None
    if answer.verdict in CREDITED:
        return True
    if not answer.explanations:
        return False if len(answer.steps) == 1 else None
    if answer.verdict != "slip":
        return False if len(answer.steps) == 1 else None
    named = [any(step == where for where, _ in one) for one in answer.explanations]
    return False if all(named) else None if any(named) else True


def test_weeks_agree_with_a_plain_count(store: Store, practised: Learner) -> None:
    since = progress.since(NOON)
    answers = store.answers_of(practised.id)
    whole, right = Counter[int](), Counter[int]()
    by_step, right_by_step = Counter[tuple[int, str]](), Counter[tuple[int, str]]()
    for one in answers:
        week = int((one.at - since) // (7 * DAY))
        whole[week] += 1
        right[week] += one.verdict in CREDITED
        for step in set(one.steps):
            went = credit(one, step)
            if went is not None:
                by_step[week, step] += 1
                right_by_step[week, step] += went
    found = progress_queries.weeks(store, practised.id, since=since)
    assert {one.number: (one.met, one.right) for one in found} == {week: (whole[week], right[week]) for week in whole}
    steps = progress_queries.weeks_by_step(store, practised.id, since=since)
    assert {(one.number, one.step): (one.met, one.right) for one in steps} == {
        key: (by_step[key], right_by_step[key]) for key in by_step
    }
    assert {credit(one, step) for one in answers for step in one.steps} == {True, False, None}, "all three occur"
    seconds = sum(one.seconds / len(one.steps) for one in answers if one.seconds is not None)
    assert sum(one.seconds for one in found) == pytest.approx(seconds)


def test_sureness_agrees_with_a_plain_count(store: Store, practised: Learner) -> None:
    answers = [one for one in store.answers_of(practised.id) if one.confidence is not None]
    for one in progress_queries.sureness(store, practised.id):
        same = [each for each in answers if each.confidence == one.confidence]
        assert (one.answered, one.right) == (len(same), sum(each.verdict in CREDITED for each in same))


@pytest.mark.of_the_file("asks SQLite how it would look")
def test_every_question_goes_by_an_index(store: Store, learner: Learner) -> None:
    """No question walks through the answers of others, or through more of one's own than the latest."""
    asked = (
        progress_queries._WEEKS,
        progress_queries._BY_STEP,
        progress_queries._SURENESS,
        progress_queries._WITH_SLIP,
    )
    for question in asked:
        sql = f"EXPLAIN QUERY PLAN {progress_queries._LATEST}{question}"
        values = (learner.id, 10, 0.0, 1.0)[: max(map(int, re.findall(r"\?(\d)", sql)))]
        plan = [row["detail"] for row in store.fetch(sql, *values)]
        assert any("SEARCH answers USING INDEX answers_learner (learner=?)" in line for line in plan), plan
        assert not any(re.fullmatch(r"SCAN answers.*", line) for line in plan), plan


@pytest.mark.parametrize(("right", "of"), [(0, 3), (5, 5), (8, 11), (140, 163)])
def test_the_interval_of_a_share(right: int, of: int) -> None:
    """Against scipy.stats, binomtest(...).proportion_ci(method="wilson")."""
    other = binomtest(right, of).proportion_ci(0.95, "wilson")
    found = share_interval(right, of)
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-6)


def test_weeks_begin_on_a_monday_twelve_weeks_back() -> None:
    first = progress.first_monday(NOON)
    today = datetime.fromtimestamp(NOON, UTC).date()
    assert first.weekday() == 0
    assert 77 <= (today - first).days < 84


# --- charts ------------------------------------------------------------------------------------------------------


def test_charts_carry_title_description_and_no_style(store: Store, practised: Learner) -> None:
    state = projection.states_of(store, practised.id).cases
    ahead = forecast.forward_look(state, catalogue(), NOON)
    first = progress.first_monday(NOON)
    weeks = progress_queries.weeks(store, practised.id, since=progress.since(NOON))
    sure = sureness_chart(progress_queries.sureness(store, practised.id), {1: "a", 2: "b", 3: "c"})
    assert sure is not None
    drawn = [fading_chart(ahead, date(2026, 11, 18), date(2026, 12, 1)), *weeks_charts(weeks, first, 12, "All"), sure]
    for chart in drawn:
        svg = chart.figure.svg
        assert re.search(r'role="img" aria-labelledby="([\w-]+)-title \1-desc"', svg)
        assert "<title" in svg
        assert "<desc" in svg
        assert "style" not in svg
        assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) <= {"none", "currentColor"}
        assert all(table.rows and all(len(row) == len(table.headings) for row in table.rows) for table in chart.tables)
    assert len(drawn[0].tables[0].rows) == len(ahead)
    lettered = re.findall(r'<text class="label"', drawn[0].figure.svg)
    assert DRAWN_AT_MOST <= len(lettered) <= 2 * DRAWN_AT_MOST


def test_today_and_progress_name_the_same_step_and_day(store: Store, practised: Learner) -> None:
    """One rule for what may be forgotten: the sentence on Today, the heading of Progress and its figure."""
    usual = learners.settings_of(practised).length
    for days in (1, 4, 9):
        now = NOON + days * DAY
        ahead = forecast.forward_look(projection.told_of(store, practised), catalogue(), now)
        steps = {one.title: one.doubtful_in for one in ahead if one.kind == "step"}
        found = today.today(store, practised, usual, now=now)
        if found.slips_next is not None:
            title, at = found.slips_next
            drawn = at <= now + 28 * DAY  # as far as Progress looks ahead
            assert steps[title] == (int(at // DAY) - int(now // DAY) if drawn else None)
        page = progress_page(store, practised, now=now)
        assert page.heading.startswith("Least sure today: ") is (0 in steps.values())
        if found.slipping:
            assert 0 in steps.values()


def test_a_week_without_answers_leaves_a_gap() -> None:
    weeks = [Week(1, "", 9, 8, 10.0, 9), Week(2, "", 9, 8, 10.0, 9), Week(4, "", 2, 1, 0.0, 0)]
    share, _ = weeks_charts(weeks, date(2026, 9, 7), 12, "All answers")
    assert share.figure.svg.count("<path") == 1, "weeks 1 and 2 are joined, 4 stands alone"
    assert share.figure.svg.count('<circle class="ink"') == 2, "filled where enough was answered"
    assert share.figure.svg.count("<circle") == 3
    assert share.figure.description == "All answers: 17 of 20 right in 3 weeks."
    assert weeks_charts([], date(2026, 9, 7), 12, "All answers") == ()
    assert sureness_chart([], {}) is None
    assert sureness_chart([Sureness(3, 4, 4)], {3: "sure"}) is not None


# --- words -------------------------------------------------------------------------------------------------------


def test_the_empty_page_teaches_the_words(client: Browser) -> None:
    page = client.get("/progress").text
    assert "Nothing answered yet" in page
    for word, means in MEANS.items():
        assert word in page
        assert means in page


def test_bands_in_words_and_never_a_chance_in_per_cent(store: Store, practised: Learner, client: Browser) -> None:
    state = projection.states_of(store, practised.id).cases
    page = client.get("/progress/steps").text
    assert not re.search(r"<h3>[^<]*\d", page), "nothing is counted by the word in which it stands"
    page += client.get("/progress").text + client.get("/progress/weeks").text + client.get("/progress/sureness").text
    for one in progress.held_steps(state, NOON, Settings()):
        assert one.title.replace("'", "&#39;") in page
        assert one.word == words.word(state, (one.id,), NOON)
    assert set(re.findall(r"[\d.]+ ?%", page)) <= {"95 %"}, "the interval of what was counted, never a chance"


def test_a_step_that_no_case_of_the_settings_calls_for_is_not_listed_as_new(store: Store, practised: Learner) -> None:
    """At the novice level a second correction is drawn along the axis of the first: nothing is resolved there."""
    state = projection.states_of(store, practised.id).cases
    crossed = {"resolve-cylinders", "add-components", "cylinder-from-components", "axis-from-components"}
    novice, expert = (
        {one.id for one in progress.held_steps(state, NOON, Settings(level=level))} for level in ("novice", "expert")
    )
    assert not crossed & (novice - state.steps.keys())
    assert crossed <= expert


def test_one_step_is_looked_at_by_itself(store: Store, practised: Learner, client: Browser) -> None:
    weeks = progress_queries.weeks_by_step(store, practised.id, since=progress.since(NOON))
    step = Counter(one.step for one in weeks).most_common(1)[0][0]
    page = client.get(f"/progress/weeks?step={step}").text
    title = catalogue().step_titles[step].replace("'", "&#39;")
    own = [one for one in weeks if one.step == step]
    met, right = sum(one.met for one in own), sum(one.right for one in own)
    assert f"{title}: {right} of {met} right in" in page
    assert client.get("/progress/weeks?step=nothing").status_code == 200
    old = client.get(f"/progress?step={step}")
    assert (old.status_code, old.location) == (301, f"/progress/weeks?step={step}")


def test_a_slip_that_stands_shows_ones_own_line_beside_the_right_one(
    store: Store, learner: Learner, client: Browser
) -> None:
    slip_twice(store, learner)
    state = projection.states_of(store, learner.id).cases
    (one,) = progress.standing_slips(store, learner, state, NOON + 200)
    assert one.title == "did not subtract the working distance"
    assert one.line is not None
    last = store.answers_of(learner.id)[-1]
    assert one.line.dealt == last.dealt
    assert one.line.given == tuple(last.given.values())
    assert one.line.own_line != one.line.right_line
    page = client.get("/progress").text
    assert "You did not subtract the working distance." in page
    assert one.line.own_line in page
    assert unbroken(one.line.right_line) in page
    assert f"/case/{last.dealt}" in page


def test_what_was_chosen_is_told_by_its_label(store: Store, learner: Learner) -> None:
    """The ids of options are for the file; a learner saw labels, in a choice and in an order alike."""
    case = deal(store, learner, "near-or-far", wanted=lambda one: one.shows("against-as-farther"))
    waiting = store.open_case(learner.id)
    assert waiting is not None
    dealing.take(store, learner, waiting.id, slipped(case, "against-as-farther"), None, now=NOON + 20)
    line = progress.last_wrong_line(store, learner, ("look-to-distance-from-neutral", "against-as-farther"))
    assert line is not None
    # Of several answers each says what it was given for: two axes side by side would not.
    order = r"The reflexes, the one nearest to neutral first: reflex [ABC]; reflex [ABC]; reflex [ABC]"
    lens = r".+: (plus|minus), (a quarter or a half dioptre|one dioptre or more)"
    for told in (line.given, line.right):
        assert re.fullmatch(order, told[0])
        assert re.fullmatch(lens, told[1])


def test_what_was_slipped_twice_and_stands_no_more_is_gone(store: Store, learner: Learner) -> None:
    slip_twice(store, learner)
    state = projection.states_of(store, learner.id).cases
    later = NOON + 20 * DAY
    assert len(progress.standing_slips(store, learner, state, later)) == 1, "no wait mends a wrong rule"
    for day in (21, 21.1, 22.5):
        assert progress.past_slips(projection.states_of(store, learner.id).cases, NOON + day * DAY) == ()
        case = deal(store, learner, "net-sphere", seed=int(day * 10), now=NOON + day * DAY)
        waiting = store.open_case(learner.id)
        assert waiting is not None
        dealing.take(store, learner, waiting.id, written(case), None, now=NOON + day * DAY + 20)
    state, later = projection.states_of(store, learner.id).cases, NOON + 23 * DAY
    assert progress.standing_slips(store, learner, state, later) == ()
    assert [one.title for one in progress.past_slips(state, later)] == ["did not subtract the working distance"]


# --- the exam ----------------------------------------------------------------------------------------------------


def test_practice_is_chosen_for_the_day_of_the_exam(
    store: Store, learner: Learner, monkeypatch: pytest.MonkeyPatch
) -> None:
    days: list[float | None] = []
    choose = scheduler.choose

    def told(*args: object, **more: object) -> scheduler.Choice:
        days.append(more.get("exam_day"))  # type: ignore[arg-type]
        return choose(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(scheduler, "choose", told)
    learners.keep_settings(store, learner.id, LearnerSettings(exam_day="2026-12-24"))
    dealing.waiting(store, learner, now=NOON, lots=lots())
    assert days == [datetime(2026, 12, 24, 12, tzinfo=UTC).timestamp()]


@pytest.mark.parametrize("text", ["20261224", "24.12.2026", "2026-13-01", "soon", 7])
def test_an_exam_day_is_a_day_of_the_calendar(text: object) -> None:
    with pytest.raises(BadSetting, match="year-month-day"):
        LearnerSettings(exam_day=text)  # type: ignore[arg-type]
    assert LearnerSettings.from_json({"exam_day": text, "form": "plus"}) == LearnerSettings(form="plus")


def test_an_exam_is_set_told_of_and_refused_when_over(store: Store, practised: Learner, client: Browser) -> None:
    client.get("/")
    assert client.post("/settings", {"exam_day": "2026-11-30"}).status_code == 303
    page = client.get("/progress").text
    assert "30 Nov 2026" in page
    assert "Without practice until then" in page
    reply = client.post("/settings", {"exam_day": "2026-11-01"})
    assert reply.status_code == 422
    assert "that day is over" in reply.text
    assert learners.settings_of(learners.get(store, practised.id)).exam_day == "2026-11-30"


# --- one's own data ----------------------------------------------------------------------------------------------


def test_everything_comes_out_and_folds_to_the_same_memory(store: Store, practised: Learner, client: Browser) -> None:
    prompt = recall_prompts.waiting(store, practised, "distance", now=NOON, lots=lots())
    recall_prompts.show(store, practised, prompt.id, "one over it")
    recall_prompts.mark(store, practised, prompt.id, had=True, now=NOON + 9)
    reply = client.get("/progress/everything.jsonl")
    assert reply.mimetype == "application/x-ndjson"
    lines = [json.loads(line) for line in reply.text.splitlines()]
    assert [line["kind"] for line in lines] == ["learner", *["answer"] * 70, "recall mark"]
    assert lines[0]["name"] == practised.name
    answers = [msgspec.convert({**line, "learner": practised.id}, Answer) for line in lines[1:71]]
    assert answers == store.answers_of(practised.id)
    again = model.replay(Answered.from_row(line) for line in lines if line["kind"] == "answer")
    kept = store.states(practised.id)
    assert kept is not None
    assert again.to_json() == kept.state


def test_answers_come_out_as_csv(store: Store, practised: Learner, client: Browser) -> None:
    reply = client.get("/progress/answers.csv")
    assert reply.mimetype == "text/csv"
    assert reply.data.startswith(b"\xef\xbb\xbf"), "without the mark a spreadsheet garbles − and ×"
    rows = list(csv.DictReader(io.StringIO(reply.data.decode("utf-8-sig"))))
    assert [(row["type"], row["verdict"]) for row in rows] == [
        (one.type, one.verdict) for one in store.answers_of(practised.id)
    ]


def test_a_drill_that_tells_at_its_end_tells_nothing_before(data_file: DataFile, store: Store, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, feedback="end", cases="3")
    ada = join(app, code, "Ada")
    ada.post("/drill/1/begin")
    for _ in range(2):
        clock.move(seconds=30)
        _, case = waiting_in(ada.get("/drill/1"), store)
        answer_in_class(ada, store, "/drill/1", slipped(case, "distance-left-in"))
    assert [one.verdict for one in store.answers_of(1)] == ["slip", "slip"]
    assert len(ada.get("/progress/everything.jsonl").text.splitlines()) == 1
    assert len(ada.get("/progress/answers.csv").text.splitlines()) == 1
    assert progress_queries.weeks(store, 1, since=0.0) == []
    assert "Your line" not in ada.get("/progress").text
    for url in ("/drill/1", "/progress", "/progress/steps", "/progress/weeks?step=take-off-distance"):
        assert "did not subtract the working distance" not in ada.get(url).text
    ada.get("/practise")
    waiting = store.open_case(1)
    assert waiting is not None
    assert waiting.why == dealing.WHY_LATER
    answer_in_class(ada, store, "/drill/1")
    assert "You did not subtract the working distance: twice." in ada.get("/drill/1").text
    assert len(ada.get("/progress/everything.jsonl").text.splitlines()) == 4
    assert sum(one.met for one in progress_queries.weeks(store, 1, since=0.0)) == 3


def left_of(store: Store, learner_id: int) -> list[str]:
    """Name every table in which a learner has a row."""
    tables = [row[0] for row in store.fetch("SELECT name FROM sqlite_master WHERE type = 'table'")]
    left = []
    for table in tables:
        columns = {row["name"] for row in store.fetch(f"SELECT name FROM pragma_table_info('{table}')")}  # noqa: S608
        column = "id" if table == "learners" else "learner"
        if column in columns and store.fetch(f"SELECT 1 FROM {table} WHERE {column} = ?", learner_id):  # noqa: S608
            left.append(table)
    return left


def test_deleting_asks_first_and_leaves_nothing(store: Store, practised: Learner, client: Browser) -> None:
    other = learners.add(store, "Bea", now=NOON)
    client.post(f"/people/{practised.id}/pick")
    assert {"learners", "sittings", "dealt", "answers"} <= set(left_of(store, practised.id))
    page = client.get("/progress/delete").text
    assert "70 answers" in page
    assert client.post("/progress/delete").status_code == 422
    assert store.count_answers(practised.id) == 70
    assert client.post("/progress/delete", {"sure": "yes"}).status_code == 303
    assert left_of(store, practised.id) == ["gone_learners"], "a number and a day, so that a backup brings nobody back"
    (gone,) = store.fetch("SELECT * FROM gone_learners")
    assert set(gone.keys()) == {"learner", "created_at", "on_day", "by_whom"}
    assert [one.id for one in store.learners()] == [other.id]


def test_deleting_oneself_from_a_class(data_file: DataFile, store: Store, clock: Clock) -> None:
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    owner = preceptor(app, store)
    _, code = make_class(owner)
    ada = join(app, code, "Ada")
    answer_in_class(ada, store, "/practise")
    assert {"members", "tallies", "sign_ins"} <= set(left_of(store, 1))
    reply = ada.post("/progress/delete", {"sure": "yes"})
    assert (reply.status_code, reply.headers["Location"]) == (303, "/door")
    assert left_of(store, 1) == ["gone_learners"]
