"""Practice: the same case until it is answered, an answer kept once, and a miss that comes back."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from cases.curriculum.register import all_slips, all_types, case_type
from cases.procedure.case_type import Case
from cases.procedure.chain import Values
from cases.procedure.choices import Choice, Order
from cases.procedure.marking import mark_fields
from cases.procedure.settings import Settings
from quiz.learning import model
from quiz.learning.parameters import NUMBERS
from quiz.practice import dealing, dealt_cases, learners, sittings
from quiz.practice.dealt_cases import SentBack
from quiz.practice.settings import LearnerSettings
from quiz.practice.type_catalogue import catalogue
from quiz.storage import projection
from quiz.storage.datafile import DataFile
from quiz.storage.store import Answer, Learner, Store
from quiz.web.sitting_views import sitting_page, slip_lines
from tests.conftest import NOON, deal, lots, slipped, written


def take(store: Store, learner: Learner, texts: dict[str, str], *, now: float = NOON + 5) -> Answer:
    """Answer the case that waits and return what was kept."""
    open_case = store.open_case(learner.id)
    assert open_case is not None
    dealing.take(store, learner, open_case.id, texts, None, now=now)
    kept = store.answer_to(open_case.id)
    assert kept is not None
    return kept


def test_leaving_and_coming_back_shows_the_same_case(store: Store, learner: Learner) -> None:
    first = dealing.waiting(store, learner, now=NOON, lots=lots())
    again = dealing.waiting(store, learner, now=NOON + 600, lots=lots(9))
    assert again.dealt == first.dealt
    assert again.case.findings == first.case.findings


def test_a_case_left_for_days_comes_back_in_a_new_sitting(store: Store, learner: Learner) -> None:
    first = dealing.waiting(store, learner, now=NOON, lots=lots())
    later = dealing.waiting(store, learner, now=NOON + 3 * 86400, lots=lots(9))
    assert later.dealt.id == first.dealt.id
    assert later.dealt.sitting != first.dealt.sitting
    assert dealing.waiting(store, learner, now=NOON + 3 * 86400 + 60, lots=lots(9)).dealt == later.dealt
    kept = take(store, learner, written(later.case), now=NOON + 3 * 86400 + 90)
    assert kept.sitting == later.dealt.sitting
    assert kept.seconds is None, "how long it took is not known once it was left"


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_every_type_is_dealt_kept_and_marked_right_from_what_was_stored(
    store: Store, learner: Learner, type_id: str
) -> None:
    case = deal(store, learner, type_id)
    assert take(store, learner, written(case)).verdict == "right"


def can_be_typed(case: Case, answer: Values) -> bool:
    """Say whether the app takes an answer: no power beyond what any lens has, no lens as it was given."""
    mark = mark_fields(case, written(case, answer))
    assert mark.unreadable is None or "is beyond" in str(mark.unreadable)
    return mark.unreadable is None and not mark.sent_back


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_every_slip_of_a_drawn_case_is_named(store: Store, learner: Learner, type_id: str) -> None:
    case = deal(store, learner, type_id)
    for seed, one in enumerate(case.singles, 100):
        ref = one.slips[0]
        case = deal(store, learner, type_id, seed=seed, wanted=lambda new, ref=ref: new.slipped(ref) is not None)  # type: ignore[misc]
        made = case.slipped(ref)
        assert made is not None
        if not can_be_typed(case, made.answer):
            continue
        kept = take(store, learner, written(case, made.answer))
        # One number out is arithmetic too, so that not every slip is likely enough to be named.
        assert (ref.step, ref.slip) in [key for each in kept.weighed or () for key in each.slips]
        assert set(kept.explanations) <= {each.slips for each in kept.weighed or ()}
        if kept.verdict == "slip":
            assert (ref.step, ref.slip) in [key for keys in kept.explanations for key in keys]


def test_a_double_slip_is_named_as_two(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "two-spheres")
    singles = [one.answer for one in case.singles]
    double = next(
        one
        for one in case.doubles
        if not case.type.close(one.answer, case.truth) and not any(case.type.alike(one.answer, s) for s in singles)
    )
    kept = take(store, learner, written(case, double.answer))
    assert kept.verdict == "wrong", "a pair is never a fact"
    assert kept.explanations
    assert all(len(one) == 2 for one in kept.explanations)


def test_an_unreadable_answer_is_sent_back_and_not_kept(store: Store, learner: Learner) -> None:
    deal(store, learner, "two-spheres")
    with pytest.raises(SentBack, match="−25 may be"):
        take(store, learner, {"prescription": "-25"})
    with pytest.raises(SentBack, match="nothing was written"):
        take(store, learner, {})
    assert store.answers_of(learner.id) == []
    assert store.open_case(learner.id) is not None


@pytest.mark.parametrize(
    ("type_id", "said"),
    [
        ("near-or-far", "no order was given: choose which comes first"),
        ("next-lens", "nothing was chosen: choose one"),
    ],
)
def test_what_was_not_chosen_is_asked_for_as_it_stands_on_the_page(
    store: Store, learner: Learner, type_id: str, said: str
) -> None:
    """Numbers are for the command line, where the choices have them."""
    case = deal(store, learner, type_id)
    ask = next(one for one in case.type.asks if isinstance(one.kind, Choice | Order))
    with pytest.raises(SentBack, match=said):
        take(store, learner, {})
    with pytest.raises(SentBack, match=said):
        dealing.read_back(case, ask.name, "")
    assert store.open_case(learner.id) is not None
    assert store.answers_of(learner.id) == []


def test_a_lens_given_back_as_it_stood_is_sent_back_and_not_kept(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "transpose")
    with pytest.raises(SentBack, match="has the form that was given: write it in plus-cylinder form"):
        take(store, learner, {"prescription": case.type.asks[0].kind.write(case.findings["rx"])})
    assert store.answers_of(learner.id) == []


def test_the_other_form_counts_where_the_form_is_not_the_point(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "two-spheres")
    other = case.truth["prescription"].transposed()
    assert take(store, learner, {"prescription": case.type.asks[0].kind.write(other)}).verdict == "equivalent"


def test_the_same_answer_again_changes_nothing_and_another_does_not_count(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    first = take(store, learner, slipped(case, "distance-left-in"))
    states = store.states(learner.id)
    again = dealing.take(store, learner, first.dealt, first.given, 3, now=NOON + 50)
    other = dealing.take(store, learner, first.dealt, written(case), None, now=NOON + 60)
    unreadable = dealing.take(store, learner, first.dealt, {"power": "?"}, None, now=NOON + 70)
    assert (again.outcome, other.outcome, unreadable.outcome) == ("repeat", "other", "other")
    assert store.answers_of(learner.id) == [first]
    assert store.states(learner.id) == states


def test_two_clicks_at_once_count_once(data_file: DataFile, store: Store, learner: Learner) -> None:
    """Twenty threads hand the same answer in at the same moment; one is new, the others are repeats."""
    case = deal(store, learner, "net-sphere")
    waiting = store.open_case(learner.id)
    assert waiting is not None
    gate, outcomes = threading.Barrier(20), list[str]()

    def click() -> None:
        with closing(Store(data_file)) as mine:
            gate.wait()
            outcomes.append(dealing.take(mine, learner, waiting.id, written(case), None, now=NOON + 5).outcome)

    clicks = [threading.Thread(target=click) for _ in range(20)]
    for one in clicks:
        one.start()
    for one in clicks:
        one.join()
    assert sorted(outcomes) == ["new"] + ["repeat"] * 19
    assert len(store.answers_of(learner.id)) == 1
    assert projection.states_of(store, learner.id).cases.answers == 1


def test_two_tabs_that_ask_at_once_get_the_same_case(data_file: DataFile, learner: Learner) -> None:
    gate, dealt = threading.Barrier(8), set[str]()

    def ask(seed: int) -> None:
        with closing(Store(data_file)) as mine:
            gate.wait()
            dealt.add(dealing.waiting(mine, learner, now=NOON, lots=lots(seed)).dealt.id)

    tabs = [threading.Thread(target=ask, args=(seed,)) for seed in range(8)]
    for one in tabs:
        one.start()
    for one in tabs:
        one.join()
    assert len(dealt) == 1


def test_nobody_waits_while_a_case_is_chosen_and_drawn(
    data_file: DataFile, learner: Learner, monkeypatch: pytest.MonkeyPatch
) -> None:
    choose = dealing.next_choice

    def choose_while_another_writes(*given: Any, **more: Any) -> Any:
        with closing(Store(data_file)) as other, other.writing():
            pass
        return choose(*given, **more)

    data_file.patience = 0.2
    monkeypatch.setattr(dealing, "next_choice", choose_while_another_writes)
    with closing(Store(data_file)) as mine:
        assert dealing.waiting(mine, learner, now=NOON, lots=lots()).dealt.learner == learner.id


def test_what_changes_while_a_case_is_chosen_counts(
    data_file: DataFile, learner: Learner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Settings saved in another tab between the choice and the dealing: the case is chosen and drawn again by them."""
    choose, levels = dealing.next_choice, list[str]()

    def choose_while_settings_change(state: Any, settings: LearnerSettings, *given: Any, **more: Any) -> Any:
        choice = choose(state, settings, *given, **more)
        levels.append(settings.level)
        if len(levels) == 1:
            with closing(Store(data_file)) as other:
                learners.keep_settings(other, learner.id, replace(settings, level="expert"))
        return choice

    monkeypatch.setattr(dealing, "next_choice", choose_while_settings_change)
    with closing(Store(data_file)) as mine:
        dealt = dealing.waiting(mine, learner, now=NOON, lots=lots()).dealt
    assert levels == [LearnerSettings().level, "expert"]
    assert dealt.settings["level"] == "expert"


def test_lines_of_the_working_are_recorded_and_never_grow_fewer(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "two-spheres")
    waiting = store.open_case(learner.id)
    assert waiting is not None
    for asked, shown in ((1, 1), (3, 3), (2, 3), (99, len(case.run.lines)), (-1, len(case.run.lines))):
        one = dealing.show_line(store, learner, waiting.id, asked)
        assert one is not None
        assert one.dealt.lines_shown == shown
    kept = take(store, learner, written(case))
    assert kept.hints == tuple(line.step for line in case.run.lines)
    assert dealing.show_line(store, learner, waiting.id, 1) is None, "no line is shown once it is answered"


def test_a_step_that_was_shown_is_not_credited(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "net-sphere")
    waiting = store.open_case(learner.id)
    assert waiting is not None
    dealing.show_line(store, learner, waiting.id, 1)
    take(store, learner, written(case))
    state = projection.states_of(store, learner.id).cases
    assert set(state.steps) == {line.step for line in case.run.lines[1:]}


def test_another_learners_case_is_not_found(store: Store, learner: Learner) -> None:
    dealing.waiting(store, learner, now=NOON, lots=lots())
    open_case = store.open_case(learner.id)
    assert open_case is not None
    other = learners.add(store, "Bea", now=NOON)
    with pytest.raises(dealt_cases.UnknownCase):
        dealing.take(store, other, open_case.id, {}, None, now=NOON)
    with pytest.raises(dealt_cases.UnknownCase):
        dealing.marked(store, other, open_case.id)


def test_a_confidence_that_is_not_offered_is_refused(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    with pytest.raises(dealt_cases.BadConfidence, match="confidence 7: give 1, 2 or 3"):
        dealing.take(store, learner, one.dealt.id, written(one.case), 7, now=NOON)


def play(
    store: Store, learner: Learner, answers: int, *, always_slip: str = "", only: str | None = None
) -> Iterator[Answer]:
    """Answer this many cases, one every 20 seconds, with one slip wherever it would show (in `only` that type)."""
    chance = lots(5)
    for number in range(answers):
        now = NOON + 20 * number
        one = dealing.waiting(store, learner, now=now, lots=chance)
        slips = one.case.singles if only in (None, one.case.type.id) else ()
        made = next((s for s in slips if always_slip in ("any", s.slips[0].slip)), None)
        texts = written(one.case) if made is None else written(one.case, made.answer)
        dealing.take(store, learner, one.dealt.id, texts, None, now=now + 9)
        kept = store.answer_to(one.dealt.id)
        assert kept is not None
        yield kept


def test_a_missed_type_comes_back_and_none_repeats_at_once(store: Store, learner: Learner) -> None:
    deal(store, learner, "distance-vergence")
    kept = list(play(store, learner, 40, always_slip="any", only="distance-vergence"))
    places = [number for number, one in enumerate(kept) if one.type == "distance-vergence"]
    assert {kept[at].verdict for at in places} == {"slip"}
    gaps = [after - before for before, after in pairwise(places)]
    assert gaps[0] == 1, "brand-new and missed: a second one at once"
    assert gaps[1] == NUMBERS.wait_cases + 1, "then it waits for five others"
    met: dict[str, int] = {}
    for before, after in pairwise(kept):
        met[before.type] = met.get(before.type, 0) + 1
        if before.type == after.type and before.sitting == after.sitting:
            assert (met[before.type], before.verdict) == (1, "slip"), "only the second case of a brand-new type may"


def test_a_miss_at_the_end_of_a_sitting_comes_back_in_the_next(store: Store, learner: Learner) -> None:
    """The types of the last five cases of a sitting had no time to come back in it."""
    kept = list(play(store, learner, 10))
    deal(store, learner, kept[0].type, seed=3)
    waiting = store.open_case(learner.id)
    assert waiting is not None
    case = dealing.case_of(waiting)
    missed = take(store, learner, written(case, case.singles[0].answer), now=NOON + 200)
    with store.writing():
        store.end_sitting(missed.sitting, now=NOON + 201)
    chance, after = lots(8), list[str]()
    for number in range(8):
        now = NOON + 300 + 20 * number
        one = dealing.waiting(store, learner, now=now, lots=chance)
        assert one.dealt.sitting != missed.sitting
        after.append(one.dealt.type)
        dealing.take(store, learner, one.dealt.id, written(one.case), None, now=now + 9)
    assert after.index(missed.type) == NUMBERS.wait_cases


def test_a_miss_of_the_morning_is_not_brought_back_as_one_of_a_few_cases_ago(store: Store, learner: Learner) -> None:
    list(play(store, learner, 10))
    assert len(store.course_since(learner.id, NOON, most=60)) == 10
    assert len(store.course_since(learner.id, NOON, most=4)) == 4
    assert store.course_since(learner.id, NOON + 3600, most=60) == []


def test_a_standing_slip_is_looked_for(store: Store, learner: Learner) -> None:
    list(play(store, learner, 30, always_slip="distance-left-in"))
    state = projection.states_of(store, learner.id).cases
    assert any(slip == "distance-left-in" for _, slip in model.standing(state, NOON + 600))
    looked_for = [
        one
        for one in map(store.dealt, (one.dealt for one in store.answers_of(learner.id)))
        if one is not None and one.must_show == "distance-left-in"
    ]
    assert looked_for
    for one in looked_for:
        assert dealing.case_of(one).shows("distance-left-in")


def test_twins_are_followed_by_a_case_that_tells_them_apart(store: Store, learner: Learner) -> None:
    case = deal(store, learner, "two-spheres", seed=5)
    kept = take(store, learner, slipped(case, "sweep-for-streak"))
    assert sorted(one[0][1] for one in kept.explanations) == ["axis-at-the-power", "sweep-for-streak"]
    done = dealing.marked(store, learner, kept.dealt)
    assert done is not None
    assert dealing.probe_follows(store, learner, done, now=NOON + 6)
    probe = dealing.waiting(store, learner, now=NOON + 6, lots=lots())
    assert probe.dealt.type == "streak-axis"
    assert probe.dealt.probe_of is not None
    answer = probe.case.slipped(next(ref for ref in probe.case.type.slips if ref.slip == "sweep-for-streak"))
    assert answer is not None
    told = take(store, learner, written(probe.case, answer.answer), now=NOON + 20)
    assert told.explanations == ((("read-meridian", "sweep-for-streak"),),)
    assert not dealing.probe_follows(store, learner, done, now=NOON + 21)


def test_settings_reach_the_cases(store: Store, learner: Learner) -> None:
    learners.keep_settings(store, learner.id, LearnerSettings(form="plus", distance_cm=57.0, level="novice"))
    for kept in play(store, learners.get(store, learner.id), 25):
        assert kept.findings.get("form", "plus") == "plus"
        assert case_type(kept.type).level == "novice"


def test_a_type_that_this_version_does_not_have_is_set_aside(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    with store.writing():
        store.close_case(one.dealt.id, now=NOON)
        store.deal(type(one.dealt)(**{**vars(one.dealt), "id": "old", "type": "no-such-type"}))
    new = dealing.waiting(store, learner, now=NOON + 1, lots=lots(2))
    assert new.dealt.id != "old"
    assert store.answers_of(learner.id) == []


# --- sittings ----------------------------------------------------------------------------------------------------


def test_a_sitting_ends_with_its_cases(store: Store, learner: Learner) -> None:
    kept = list(play(store, learner, 11))
    assert [one.sitting for one in kept] == [kept[0].sitting] * 10 + [kept[10].sitting]
    assert kept[10].sitting != kept[0].sitting
    facts = sittings.facts(store, learner, kept[0].sitting, catalogue(), now=NOON + 300)
    assert (len(facts.answers), facts.right, facts.unaided, facts.slipped) == (10, 10, 10, ())
    assert sitting_page(facts).settled_since == "Secure, from practice on several days:"
    missed = replace(facts, right=0, unaided=0)
    assert sitting_page(missed).settled_since == "Already secure before this sitting:", "nothing right made it so"
    assert facts.sitting.ended_at == kept[9].at


def test_a_sitting_of_minutes_ends_with_the_case_under_way(store: Store, learner: Learner) -> None:
    learners.keep_settings(store, learner.id, LearnerSettings(sitting="5-minutes"))
    kept = list(play(store, learners.get(store, learner.id), 20))
    first = [one for one in kept if one.sitting == kept[0].sitting]
    assert [one.at - NOON < 300 for one in first] == [True] * (len(first) - 1) + [False]


def test_the_end_says_what_slipped_and_when_to_come_back(store: Store, learner: Learner) -> None:
    kept = list(play(store, learner, 10, always_slip="any"))
    facts = sittings.facts(store, learner, kept[0].sitting, catalogue(), now=NOON + 300)
    assert facts.right == 0
    made = {slip for one in kept for keys in one.explanations for _, slip in keys}
    assert sum(one.times for one in facts.slipped) == sum(
        len(one.explanations[0]) if len(one.explanations) == 1 else bool(one.explanations) for one in kept
    )
    assert {title for one in facts.slipped for title in one.titles} == {all_slips()[slip].title for slip in made}
    assert {step for one in facts.slipped for step in one.steps} <= set(facts.shaky)
    assert facts.back_in_days == 0


def test_an_answer_with_two_explanations_is_one_slip_of_two_and_leaves_sure_ones_sure(
    store: Store, learner: Learner
) -> None:
    one = next(iter(play(store, learner, 1)))
    added, left_in = (("take-off-distance", slip) for slip in ("distance-added", "distance-left-in"))
    ways: tuple[tuple[tuple[tuple[str, str], ...], ...], ...] = (
        ((added,),),
        ((added,), (left_in,)),
        ((left_in,),),
        ((left_in, added),),
        (),
    )

    def told(verdict: str) -> list[str]:
        answers = [replace(one, explanations=way, verdict=verdict) for way in ways]
        return sorted(line.words for line in slip_lines(sittings.slipped_in(answers)))

    assert told("wrong") == [
        "It looks as if you added the working distance: once.",
        "It looks as if you did not subtract the working distance: once.",
        "One of these, once: you added the working distance, or you did not subtract the working distance.",
        "Together these would give it, once: you did not subtract the working distance, and you added the working "
        "distance.",
    ], "what is likely is no fact"
    assert told("slip") == [
        "One of these, once: you added the working distance, or you did not subtract the working distance.",
        "You added the working distance: twice.",
        "You did not subtract the working distance: twice.",
    ]


def test_stopping_ends_the_sitting_and_keeps_the_case(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    assert sittings.stop(store, learner, now=NOON + 5) == one.dealt.sitting
    assert sittings.stop(store, learner, now=NOON + 6) is None
    again = dealing.waiting(store, learner, now=NOON + 10, lots=lots(2))
    assert again.dealt.id == one.dealt.id
    assert again.dealt.sitting != one.dealt.sitting


def test_another_learners_sitting_is_not_found(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    with pytest.raises(sittings.UnknownSitting):
        sittings.facts(store, learners.add(store, "Bea", now=NOON), one.dealt.sitting, catalogue(), now=NOON)


def test_plus_form_is_asked_where_it_is_set() -> None:
    assert LearnerSettings(form="plus").for_drawing == Settings(form="plus", norms=LearnerSettings().for_drawing.norms)
