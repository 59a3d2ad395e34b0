"""What a sitting is for: each choice brings its cases and no others, and a mock paper keeps its marks to its end."""

from __future__ import annotations

from collections import Counter

import pytest

from cases.curriculum.register import all_types
from quiz.app import create_app
from quiz.practice import dealing, first_questions, learners, progress, today, what_to_practise
from quiz.practice.dealt_cases import Waiting
from quiz.practice.first_questions import FirstAnswers
from quiz.practice.settings import LENGTHS, LearnerSettings
from quiz.practice.today import NothingThere
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import UnknownChoice, read_aim
from quiz.storage import progress_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, Clock, deal, lots, slipped, written

DAY = 86400.0


def practise(
    store: Store, learner: Learner, what: str, topic: str = "", *, cases: int = 6, at: float = NOON
) -> list[str]:
    """Begin a choice, answer this many cases of it rightly, and return their types."""
    today.start(store, learner, read_aim(what, topic), LENGTHS[0], level=learners.settings_of(learner).level, now=at)
    return [_answered(store, learner, at + 60 * number, number).dealt.type for number in range(cases)]


def _answered(store: Store, learner: Learner, at: float, seed: int) -> Waiting:
    one = dealing.waiting(store, learner, now=at, lots=lots(seed + int(at - NOON)))
    dealing.take(store, learner, one.dealt.id, written(one.case), None, now=at + 20)
    return one


def families(types: list[str]) -> set[str]:
    return {all_types()[one].family.id for one in types}


def test_a_topic_is_a_family_or_a_single_type(store: Store, learner: Learner) -> None:
    assert families(practise(store, learner, "topic", "near")) == {"near"}
    assert set(practise(store, learner, "topic", "two-spheres", at=NOON + DAY)) == {"two-spheres"}
    for what, topic in (("topic", "nothing"), ("all", ""), ("mistakes", "no-step:no-slip")):
        with pytest.raises(UnknownChoice):
            read_aim(what, topic)


def test_not_met_yet_brings_nothing_twice(store: Store, learner: Learner) -> None:
    first = practise(store, learner, "slipping")
    later = practise(store, learner, "unmet", cases=8, at=NOON + DAY)
    assert not set(first) & set(later)
    assert max(Counter(later).values()) == 1


def test_whole_runs_are_the_composite_types(store: Store, learner: Learner) -> None:
    assert set(practise(store, learner, "runs")) <= {"two-spheres", "sphere-then-cyl", "whole-run", "bench-eye"}


def test_mistakes_bring_cases_in_which_they_would_show(store: Store, learner: Learner) -> None:
    with pytest.raises(NothingThere):
        practise(store, learner, "mistakes")
    for number in range(2):
        case = deal(
            store,
            learner,
            "net-sphere",
            seed=number + 3,
            now=NOON + number,
            wanted=lambda one: one.shows("distance-left-in"),
        )
        waiting = store.open_case(learner.id)
        assert waiting is not None
        dealing.take(store, learner, waiting.id, slipped(case, "distance-left-in"), None, now=NOON + 10 + number)
    for topic in ("", "take-off-distance:distance-left-in"):
        at = NOON + DAY + (600 if topic else 0)
        today.start(
            store, learner, read_aim("mistakes", topic), LENGTHS[0], level=learners.settings_of(learner).level, now=at
        )
        for number in range(4):
            one = _answered(store, learner, at + 60 * number, number)
            assert ("take-off-distance", "distance-left-in") in {
                (ref.step, ref.slip) for single in one.case.singles for ref in single.slips
            }


def test_a_survey_takes_one_composite_case_from_each_of_eight_topics(store: Store, learner: Learner) -> None:
    learners.keep_settings(store, learner.id, LearnerSettings(level="expert"))
    expert = learners.get(store, learner.id)
    types = practise(store, expert, "survey", cases=8)
    assert len(families(types)) == 8
    assert all(len(all_types()[one].steps) >= 2 for one in types)
    assert store.sitting_under_way(learner.id) is None, "eight cases are all"


def _held(store: Store, learner: Learner, types: tuple[str, ...]) -> None:
    """Answer two cases of each of some types rightly, on two days."""
    for day in range(2):
        for number, one in enumerate(types):
            case = deal(store, learner, one, seed=number + 10 * day, now=NOON + day * DAY + 60 * number)
            waiting = store.open_case(learner.id)
            assert waiting is not None
            at = NOON + day * DAY + 60 * number + 20
            dealing.take(store, learner, waiting.id, written(case), None, now=at)


HELD = ("net-sphere", "two-spheres", "transpose", "vertex-sphere")
BACK = NOON + 200 * DAY


def test_after_an_absence_the_topics_that_were_practised_are_checked_and_what_was_lost_comes_then(
    store: Store, learner: Learner
) -> None:
    """Four topics held, one of them missed on coming back: four cases first, then the steps of the missed one."""
    _held(store, learner, HELD)
    week = next(one for one in LENGTHS if one.id == "weekly")
    day = today.today(store, learner, week, now=BACK)
    assert (day.away_days, day.check_up) == (198, 4)
    assert today.first_aim(day).what == "check-up"
    today.start(store, learner, today.first_aim(day), week, level="competent", now=BACK)
    first, lost = [], ""
    for number in range(4):
        one = dealing.waiting(store, learner, now=BACK + 30 * number, lots=lots(100 + number))
        first.append(one.dealt.type)
        if all_types()[one.dealt.type].family.id == "planes":
            lost = one.dealt.type
            dealing.give_up(store, learner, one.dealt.id, now=BACK + 30 * number + 20)
        else:
            dealing.take(store, learner, one.dealt.id, written(one.case), None, now=BACK + 30 * number + 20)
    assert len(families(first)) == 4
    assert set(first) <= set(HELD), "only what was met is checked"
    one = dealing.waiting(store, learner, now=BACK + 130, lots=lots(110))
    assert one.dealt.why == what_to_practise.WHY_LOST
    steps = {step.skill.id for step in all_types()[lost].steps}
    assert steps.intersection(step.skill.id for step in all_types()[one.dealt.type].steps)
    dealing.take(store, learner, one.dealt.id, written(one.case), None, now=BACK + 601)
    assert store.sitting_under_way(learner.id) is None, "ten minutes are all"
    assert today.today(store, learner, week, now=BACK + 700).away_days is None


def test_nothing_new_comes_in_a_check_up(store: Store, learner: Learner) -> None:
    _held(store, learner, HELD)
    types = practise(store, learner, "check-up", cases=10, at=BACK)
    assert set(types) <= set(HELD)
    assert len(families(types[:4])) == 4


def test_a_check_up_has_a_case_for_each_topic_and_needs_one(store: Store, learner: Learner) -> None:
    with pytest.raises(NothingThere, match="not practised"):
        practise(store, learner, "check-up")
    aim = read_aim("check-up")
    five, week = (next(one for one in LENGTHS if one.id == id_) for id_ in ("5-cases", "weekly"))
    assert what_to_practise.length_of(aim, five, topics=8).cases == 8
    assert what_to_practise.length_of(aim, week, topics=8) == week


def test_ten_minutes_a_week_are_due_a_week_later_and_look_a_week_ahead(store: Store, learner: Learner) -> None:
    _held(store, learner, HELD)
    week, cases = (next(one for one in LENGTHS if one.id == id_) for id_ in ("weekly", "10-cases"))
    slips = today.today(store, learner, week, now=NOON + 3 * DAY).slips_next
    assert slips is not None
    at = slips[1] - 3 * DAY
    assert today.today(store, learner, week, now=at).next_at is None
    state, offered = projection.told_of(store, learner), catalogue_for(LearnerSettings().for_drawing)
    now, ahead = (today.slipping_steps(state, offered, at, ahead=days * DAY) for days in (0, 7))
    assert set(now) < set(ahead), "what slips before the next time counts"
    today.start(store, learner, read_aim("slipping"), week, level="competent", now=at)
    for number in range(3):
        _answered(store, learner, at + 300 * number, number)
    done = today.today(store, learner, week, now=at + DAY)
    assert done.next_at == at + 7 * DAY
    assert today.today(store, learner, cases, now=at + DAY).next_at is None, "only where the length says how often"
    assert today.today(store, learner, week, now=at + 6.6 * DAY).next_at is None


def test_a_clinician_has_ten_minutes_a_week_unless_something_else_was_set(store: Store, learner: Learner) -> None:
    first_questions.keep_answers(store, learner, FirstAnswers(role="clinician"))
    assert learners.settings_of(learners.get(store, learner.id)).sitting == "weekly"
    learners.keep_settings(store, learner.id, LearnerSettings(sitting="20-cases"))
    first_questions.keep_answers(store, learners.get(store, learner.id), FirstAnswers(role="clinician"))
    assert learners.settings_of(learners.get(store, learner.id)).sitting == "20-cases"


def test_an_expert_who_is_right_is_not_asked_the_short_types_at_once(store: Store, learner: Learner) -> None:
    """What a composite case holds is cleared by it: its steps are likely right then."""
    learners.keep_settings(store, learner.id, LearnerSettings(level="expert"))
    with store.writing():
        steps = {step.skill.id: (2.2, 1.5) for one in all_types().values() for step in one.steps}
        projection.keep_priors(store, learner.id, steps)
    types = practise(store, learners.get(store, learner.id), "survey", cases=8)
    state = projection.cases_of(store, learner.id)
    held = {
        one.id: one.word for one in progress.held_steps(state, NOON + 600, LearnerSettings(level="expert").for_drawing)
    }
    cleared = [step.skill.id for one in types for step in all_types()[one].steps if step.skill.id in state.steps]
    assert {held[step] for step in cleared} == {"right so far"}


def test_a_mock_paper_takes_every_topic_and_keeps_its_marks_to_its_end(store: Store, learner: Learner) -> None:
    practise(store, learner, "slipping", cases=2)
    types = practise(store, learner, "paper", cases=19, at=NOON + DAY)
    assert len(families(types)) == 8
    state = projection.cases_of(store, learner.id)
    assert state.answers == 21, "memory learns from all of it"
    assert projection.told_of(store, learner).answers == 2, "and nothing of it is told yet"
    assert len(progress_queries.held_back(store, learner.id)) == 19
    assert what_to_practise.is_withheld(
        store, dealing.waiting(store, learner, now=NOON + DAY + 1200, lots=lots(9)).dealt
    )
    _answered(store, learner, NOON + DAY + 1200, 9)
    assert store.sitting_under_way(learner.id) is None
    assert projection.told_of(store, learner).answers == 22
    assert progress_queries.held_back(store, learner.id) == frozenset()


def test_the_time_of_a_mock_paper_ends_it(data_file: DataFile, store: Store, learner: Learner) -> None:
    practise(store, learner, "paper", cases=2)
    one = dealing.waiting(store, learner, now=NOON + 200, lots=lots(5))
    assert today.end_if_time_is_over(store, learner, now=NOON + 1805) is None, "an answer may be on its way"
    ended = today.end_if_time_is_over(store, learner, now=NOON + 1811)
    assert ended == one.dealt.sitting
    sitting = store.sitting(ended)
    assert sitting is not None
    assert sitting.ended_at == NOON + 1800
    dealing.take(store, learner, one.dealt.id, written(one.case), None, now=NOON + 1812)
    assert [answer.late for answer in store.answers_of(learner.id)] == [False, False, True]
    app = create_app(data_file, clock=Clock(NOON + 1900), lots=lots()).test_client()
    page = app.get(f"/sitting/{ended}").text
    assert "2 cases: all right." in page
    assert "One answer came after the time and is not counted." in page
    assert page.count("late: not counted") == 1
    assert "This answer came after the time of the mock paper: it is saved" in app.get(f"/case/{one.dealt.id}").text


def test_what_is_under_way_goes_on_and_another_choice_ends_it(store: Store, learner: Learner) -> None:
    practise(store, learner, "topic", "near", cases=2)
    before = store.sitting_under_way(learner.id)
    practise(store, learner, "topic", "near", cases=1, at=NOON + 300)
    assert before is not None
    assert [one.sitting for one in store.answers_of(learner.id)] == [before.id] * 3
    practise(store, learner, "topic", "planes", cases=1, at=NOON + 600)
    assert store.answers_of(learner.id)[-1].sitting != before.id
