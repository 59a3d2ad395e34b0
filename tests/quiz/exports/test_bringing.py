"""Own data brought in: the same memory on another computer, nothing doubled, nothing of it in a drill."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from cases.optics.lens import SphCyl
from quiz.accuracy.entries import Entry
from quiz.app import create_app
from quiz.exports import bringing, fading_calendar, own_data
from quiz.exports.bringing import BadData
from quiz.learning.state import same_to_twelve_digits
from quiz.practice import dealing, learners, recall_prompts
from quiz.storage import accuracy_queries, desk_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.rows import write_json
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, Clock, lots, written
from tests.quiz.class_people import Browser, make_class, preceptor
from tests.quiz.web.test_hostile_text import soon

DAY = 86400.0


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Store]:
    """Open a data file on another computer."""
    with closing(DataFile.open(tmp_path / "elsewhere.sqlite3")) as file, closing(Store(file)) as one:
        yield one


def practised(store: Store, learner: Learner, *, start: float = NOON, seed: int = 1, cases: int = 14) -> None:
    chance = lots(seed)
    for number in range(cases):
        at = start + number * DAY / 4
        one = dealing.waiting(store, learner, now=at, lots=chance)
        wrong = [single.answer for single in one.case.singles if not one.case.type.form_matters]
        texts = written(one.case, wrong[0] if wrong and number % 3 == 0 else None)
        dealing.take(store, learner, one.dealt.id, texts, 2, now=at + 20)
    put = recall_prompts.waiting(store, learner, "distance", now=start, lots=chance)
    recall_prompts.show(store, learner, put.id, "my words")
    recall_prompts.mark(store, learner, put.id, had=True, now=start + 9)
    with store.writing():
        desk_queries.keep_worked(store, learner.id, "lag-lens", 2, now=start)
    accuracy_queries.add(
        store,
        learner.id,
        [Entry("right", 1, SphCyl(1, -0.5, 90), SphCyl(1.25, -0.5, 85), 67, date(2026, 1, 5), False, False)],
    )


def text_of(store: Store, learner: Learner) -> str:
    return bringing.unpacked(bringing.packed(own_data.json_lines(store, learner)))


def bring(store: Store, learner: Learner, text: str) -> bringing.Bundle:
    found = bringing.read_bundle(store, learner, text)
    bringing.take_in(store, learner, found)
    return found


def states(store: Store, learner: Learner) -> tuple[str, str]:
    kept = store.states(learner.id)
    assert kept is not None
    return kept.state, kept.recall_state


def test_the_same_memory_on_another_computer(store: Store, learner: Learner, elsewhere: Store, data_path: Path) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far)
    found = bring(store, learner, text_of(elsewhere, far))
    assert (len(found.answers), found.known, found.elsewhere, found.unread) == (14, 0, 0, 0)
    for ours, theirs in zip(states(store, learner), states(elsewhere, far), strict=True):
        assert same_to_twelve_digits(ours, theirs)
    assert text_of(store, learner).count('"kind":"answer"') == 14
    again = bringing.read_bundle(store, learner, text_of(elsewhere, far))
    assert again.empty
    assert again.known == 14 + 1 + 1 + 1, "answers, a mark, an eye and a worked example: not doubled"
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    store.close()
    assert all(one.good for one in check(data_path))


def test_on_joining_a_class_own_answers_come_along(data_file: DataFile, store: Store, elsewhere: Store) -> None:
    """The page after joining leads there; the phrase of someone who has answers here does not."""
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far)
    file = bringing.packed(own_data.json_lines(elsewhere, far))
    app = create_app(data_file, clock=Clock(NOON + 30 * DAY), lots=lots(), beyond=True, hosts=None)
    _, code = make_class(preceptor(app, store))
    own = Browser(app)
    joined = own.join(code, "Imre").text
    assert 'href="/progress/bring"' in joined
    looked_over = own.post("/progress/bring", {"file": (io.BytesIO(file), "own-data.jsonl.gz")})
    assert "New: 14 answers" in looked_over.text
    assert own.post("/progress/bring/take").status_code == 303
    assert len(store.answers_of(store.learners()[-1].id)) == 14
    assert "14 answers" in own.get("/progress/data").text


def test_older_answers_are_folded_where_their_time_is(store: Store, learner: Learner, elsewhere: Store) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far)
    practised(store, learner, start=NOON + 30 * DAY, seed=2)
    bring(store, learner, text_of(elsewhere, far))
    both = sorted((projection.event_of(one) for one in store.answers_of(learner.id)), key=lambda one: one.at)
    assert list(projection.events_of(store, learner.id)) == both
    assert [one.as_kept for one in projection.rebuild(store)] == [True]
    one = dealing.waiting(store, learner, now=NOON + 40 * DAY, lots=lots(7))
    dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON + 40 * DAY + 9)
    assert [one.as_kept for one in projection.rebuild(store)] == [True]


def test_nothing_counts_in_a_drill_and_anothers_stay_theirs(store: Store, learner: Learner, elsewhere: Store) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far)
    lines = [json.loads(line) for line in text_of(elsewhere, far).splitlines()]
    for one in lines:
        if one["kind"] == "answer":
            one |= {"drill": 7, "for_drill": True, "late": True}
    text = "\n".join(map(json.dumps, lines))
    bring(store, learner, text)
    answers = store.answers_of(learner.id)
    assert len(answers) == 14
    assert not any(one.drill is not None or one.for_drill or one.late for one in answers)
    other = learners.add(store, "Bea", now=NOON)
    found = bringing.read_bundle(store, other, text)
    assert (len(found.answers), found.elsewhere) == (0, 15), "fourteen answers and a mark"


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"\x1f\x8bnot gzip", "cannot be read"),
        (b"\xff\xfe", "cannot be read"),
        (b'{"kind":"answer"}', "first line"),
        (b"sphere;cylinder", "first line"),
    ],
)
def test_what_is_no_own_data_is_refused(store: Store, learner: Learner, data: bytes, why: str) -> None:
    with pytest.raises(BadData, match=why):
        bringing.read_bundle(store, learner, bringing.unpacked(data))


HEAD = json.dumps({"kind": "learner", "format": own_data.FORMAT, "name": "Imre"})


def test_a_line_that_cannot_be_read_is_named_and_left_out(store: Store, learner: Learner, elsewhere: Store) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far, cases=3)
    good = text_of(elsewhere, far).splitlines()
    bad = [
        good[1].replace('"verdict":"', '"verdict":"x'),
        '{"kind":"tea"}',
        good[2].replace('"at":', '"at":1e300,"was":'),
    ]
    found = bringing.read_bundle(store, learner, "\n".join([*good[:1], *bad, *good[3:]]))
    assert found.unread == 3
    assert [one.split(":")[0] for one in found.faults] == ["Line 2", "Line 3", "Line 4"]
    assert len(found.answers) == 1


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("seconds", 1e300, "give seconds since 1970"),
        ("at", -7e10, "give seconds since 1970"),
        ("seed", 2**70, "seed “11805"),
        ("options", -(2**63) - 1, "options “-9223"),
        ("read_as", None, "read_as “None”"),
        ("confidence", 5, "confidence 5: give 1, 2, 3 or none"),
    ],
)
def test_a_line_that_would_spoil_the_data_file_is_refused(
    data_file: DataFile, store: Store, learner: Learner, elsewhere: Store, name: str, value: object, why: str
) -> None:
    """One learner of a class once kept everyone out: the server does not start on a file with such a row."""
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far, cases=1)
    first, answer, *_ = text_of(elsewhere, far).splitlines()
    line = json.dumps({**json.loads(answer), name: value})
    found = bringing.read_bundle(store, learner, f"{first}\n{line}")
    assert (len(found.answers), found.unread) == (0, 1)
    assert why in found.faults[0]
    bring(store, learner, f"{first}\n{answer}\n{line}")
    assert [one.words for one in check(data_file.where) if not one.good] == []


def test_a_line_ends_where_json_lines_end(store: Store, learner: Learner, elsewhere: Store) -> None:
    """U+2028, U+0085 and their like stand in JSON as they are; text copied from a page may hold them."""
    far = learners.add(elsewhere, "Imre", now=NOON)
    one = dealing.waiting(elsewhere, far, now=NOON, lots=lots())
    texts = {name: text.replace(" ", "\u2028\x85\u2029") for name, text in written(one.case).items()}
    dealing.take(elsewhere, far, one.dealt.id, texts, None, now=NOON + 9)
    text = text_of(elsewhere, far)
    found = bring(store, learner, text.replace("\n", "\r\n"))
    assert (len(found.answers), found.unread) == (1, 0)
    assert store.answers_of(learner.id)[0].given == texts


def test_a_file_of_endless_lines_is_refused_before_it_is_parted(store: Store, learner: Learner) -> None:
    with soon("lines"), pytest.raises(BadData, match="over 100,000 lines"):
        bringing.read_bundle(store, learner, HEAD + "\nxx" * 8_000_000)


def test_files_brought_one_after_another_fill_no_disk(
    store: Store, learner: Learner, elsewhere: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far, cases=4)
    text = text_of(elsewhere, far)
    first, answer, *_ = text.splitlines()
    wide = json.dumps({**json.loads(answer), "given": {"power": "1" * 20_000}})
    assert bringing.read_bundle(store, learner, f"{first}\n{wide}").faults == ["Line 2: it is too long for an answer."]
    monkeypatch.setattr(bringing, "MOST_KEPT", 6)
    bring(store, learner, text)
    assert bringing.read_bundle(store, learner, text).empty, "what is here already is not too much"
    with pytest.raises(BadData, match="2 new answers and recall marks, and 5 are here: 6 is the most"):
        bringing.read_bundle(
            store, learner, "\n".join([text, answer.replace("case-", "x-"), answer.replace("case-", "y-")])
        )


def test_an_answer_names_no_more_steps_than_there_can_be(store: Store, learner: Learner, elsewhere: Store) -> None:
    """Every name is folded, and kept in memory: 48 MB of them held the data file for a minute."""
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far, cases=1)
    first, line, *_ = text_of(elsewhere, far).splitlines()
    answer = json.loads(line)
    slips = [[f"step-{number}", "slip"] for number in range(101)]
    wide = [
        {**answer, "steps": [name for name, _ in slips]},
        {**answer, "could_show": slips},
        {**answer, "explanations": [slips]},
        {**answer, "explanations": [[one] for one in slips]},
        {**answer, "weighed": [{"kind": "slip", "slips": slips, "probability": 0.5, "step": None}]},
    ]
    found = bringing.read_bundle(store, learner, "\n".join([first, *map(json.dumps, wide), line]))
    assert (len(found.answers), found.unread) == (1, 5)
    assert "it names more than 100 steps or slips" in found.faults[0]
    many = [{**answer, "dealt": f"n{n}", "steps": [f"step-{n}-{place}" for place in range(99)]} for n in range(40)]
    found = bringing.read_bundle(store, learner, "\n".join([first, *map(json.dumps, many), line]))
    assert (len(found.answers), found.unread) == (21, 20), "those that name what is known are read after them too"


@pytest.mark.parametrize("line", ['{"kind":"eye","eye":"both"}', '{"a":' + "[" * 9_000 + "]" * 9_000 + "}"])
def test_a_line_of_another_shape_is_left_out_alone(store: Store, learner: Learner, line: str) -> None:
    eye = Entry("right", 1, SphCyl(1), SphCyl(1), 67, date(2026, 1, 5))
    whole = {"kind": "eye", **json.loads(write_json(eye))}
    text = "\n".join([HEAD, line, json.dumps({**whole, "distance_cm": 1e9}), json.dumps(whole)])
    found = bringing.read_bundle(store, learner, text)
    assert (len(found.eyes), found.unread) == (1, 2)


def test_eyes_are_looked_for_in_a_long_log_at_once(store: Store, learner: Learner) -> None:
    """Work that grew with both lengths: a packed file of 2 MB, against a log as long as it may be, took minutes."""
    day = date(2026, 1, 5)
    log = [Entry("right", 1 + number, SphCyl(1), SphCyl(1), 67, day) for number in range(4_000)]
    accuracy_queries.add(store, learner.id, log)
    eye = json.dumps({"kind": "eye", **json.loads(write_json(replace(log[0], eye="left")))})
    text = "\n".join([HEAD, *[eye] * 12_000])
    with soon("eyes"):
        assert len(bringing.read_bundle(store, learner, text).eyes) == 12_000


@pytest.mark.usefixtures("learner")
def test_where_the_log_is_full_nothing_at_all_is_taken_in(
    store: Store, elsewhere: Store, data_file: DataFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    far = learners.add(elsewhere, "Imre", now=NOON)
    practised(elsewhere, far, seed=5, cases=2)
    monkeypatch.setattr(accuracy_queries, "MOST_ENTRIES", 0)
    own = create_app(data_file, clock=Clock(NOON + DAY), lots=lots()).test_client()
    file = (io.BytesIO(text_of(elsewhere, far).encode()), "own-data.jsonl")
    here = {"Origin": "http://localhost"}
    assert "New: 2 answers" in own.post("/progress/bring", data={"file": file}, headers=here).text
    reply = own.post("/progress/bring/take", headers=here)
    assert reply.status_code == 422
    assert "Nothing was taken in: the log holds 0 eyes and 1 more would pass 0" in reply.text
    assert [len(store.answers_of(one.id)) for one in store.learners()] == [0]


@given(st.dictionaries(st.sampled_from(["kind", "at", "dealt", "verdict", "type"]), st.text(max_size=9) | st.floats()))
def test_any_line_at_all_is_refused_with_a_reason(row: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"."):
        bringing._add(bringing.Bundle(), {"kind": "answer", **row}, Learner(1, "", 0.0, "{}", joined=False))


def test_a_calendar_says_what_is_likely_to_slip_when(store: Store, learner: Learner) -> None:
    practised(store, learner)
    days = fading_calendar.fading_days(store, learner, now=NOON + 4 * DAY)
    assert days
    found = Calendar.from_ical(fading_calendar.calendar(store, learner, now=NOON + 4 * DAY))
    events = list(found.walk("VEVENT"))
    assert [event.decoded("dtstart") for event in events] == list(days)
    assert all(
        next(iter(steps))[:20] in str(event["summary"]) for event, steps in zip(events, days.values(), strict=True)
    )
