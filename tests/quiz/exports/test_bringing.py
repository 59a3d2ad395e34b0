"""Own data brought in: the same memory on another computer, nothing doubled, nothing of it in a drill."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from contextlib import closing
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
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, Clock, lots, written
from tests.quiz.class_people import Browser, make_class, preceptor

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
