"""Practice: dealing a case, showing a line of its working, taking the answer and keeping it.

What to bring is scheduler.py's business, when a sitting ends is sittings.py's, and how it looks is the pages'.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import case_type
from cases.curriculum.steps import FORM_WORDS
from cases.errors import CaseError
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.chain import SlipRef
from cases.procedure.explaining import Explanation
from cases.procedure.marking import Mark, mark_again, mark_fields, read_one
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import CREDITED
from quiz.learning import model, scheduler
from quiz.learning.catalogue import Catalogue
from quiz.learning.scheduler import Choice, Done
from quiz.learning.state import LearnerState, SlipKey, Weighed
from quiz.practice import case_cache, constraints, dealt_cases, learners, sittings, what_to_practise
from quiz.practice.beforehand import beforehand
from quiz.practice.dealt_cases import BadConfidence, Marked, SentBack, Taken, UnknownCase, Waiting
from quiz.practice.randomness import Lots
from quiz.practice.settings import LearnerSettings
from quiz.practice.type_catalogue import catalogue_for, key_of, options_of
from quiz.practice.what_to_practise import TypeLimit
from quiz.storage import class_queries, projection, result_queries
from quiz.storage.store import PAPER, Answer, Dealt, Learner, Retyped, Store

LEFT_SECONDS = 900.0
"""A case answered later than this was left in between, so the time that it took is not known."""
CONFIDENCES = (1, 2, 3)
KEPT = 0.01
"""Explanations less probable than a hundredth are left out of the log."""
RECENT = 60
"""Cases looked back on for what to bring next: some six sittings of ten."""

WHY_LATER = "Chosen by your answers: the reason is shown when you have finished the drill that you began."
"""A reason rests on every mark, also on those of a drill that shows them at its end."""


# --- dealing -----------------------------------------------------------------------------------------------------


def waiting(store: Store, learner: Learner, *, now: float, lots: Lots) -> Waiting:
    """Return the case that waits for this learner, dealt now if there is none."""
    found = _waiting_still(store, learner, now)
    if found is not None:
        return found
    drawn = _draw_next(store, learner.id, now, lots)
    with store.writing(learner.id):
        # Another tab may have been faster; and what it was answered with decides what to bring.
        return _waiting_still(store, learners.get(store, learner.id), now) or _deal(
            store, learner.id, now, lots, drawn=drawn
        )


def at_bench(store: Store, learner: Learner, types: Collection[str], *, now: float, lots: Lots) -> Waiting:
    """Return the case that is open at the bench where it is of one of these types; else deal one there.

    The case that is open in Practise stays as it is. One of another type at the bench is skipped.
    """
    found = _waiting_still(store, learner, now, at_bench=True)
    if found is not None and found.dealt.type in types:
        return found
    drawn = _draw_next(store, learner.id, now, lots, types)
    with store.writing(learner.id):
        left = store.open_case(learner.id, at_bench=True)
        if left is not None and left.type not in types:
            store.close_case(left.id, now=now)
        return _deal(store, learner.id, now, lots, types, drawn)


def _waiting_still(store: Store, learner: Learner, now: float, *, at_bench: bool = False) -> Waiting | None:
    dealt = store.open_case(learner.id, at_bench=at_bench)
    if dealt is None or sittings.is_left(store.sitting(dealt.sitting), now):
        return None
    return _as_waiting(dealt)


def _as_waiting(dealt: Dealt) -> Waiting | None:
    try:
        return Waiting(dealt, case_of(dealt))
    except CaseError:
        return None


def case_of(dealt: Dealt) -> Case:
    """Make the case again from what was dealt.

    Raises
    ------
    CaseError
        When this version no longer has the type, or its findings have changed.
    """
    return case_cache.case(dealt.type, dealt.seed, dealt.findings, dealt.words)


@dataclass(frozen=True)
class _Drawn:
    """A case that was chosen and drawn, and what the choice rests on."""

    rests_on: tuple[Any, ...]
    choice: Choice
    case: Case
    limit: TypeLimit | None
    aim: what_to_practise.Aim | None


def _draw_next(
    store: Store, learner_id: int, now: float, lots: Lots, types: Collection[str] | None = None
) -> _Drawn | None:
    """Choose and draw a learner's next case before `writing()`, so that nobody waits for it; None where one is open."""
    bench = types is not None
    left = store.open_case(learner_id, at_bench=bench)
    if left is not None and (types is None or left.type in types):
        return None
    sitting = store.sitting_under_way(learner_id, at_bench=bench)
    number = None if sitting is None or sittings.is_left(sitting, now) else sitting.id
    return _drawn_for(store, learners.get(store, learner_id), number, now, lots, types)


def _drawn_for(
    store: Store, learner: Learner, sitting: int | None, now: float, lots: Lots, types: Collection[str] | None
) -> _Drawn:
    settings = learners.settings_of(learner)
    aim = _aim_of(store, sitting, types)
    limit = None if types is None else TypeLimit(tuple(types))
    if aim is not None and sitting is not None:
        unable, offered = constraints.unable(settings.for_drawing), catalogue_for(settings.for_drawing)
        limit = what_to_practise.limit(
            store, learner, settings.level, offered, sitting, aim, now=now, rng=lots.rng, unable=unable
        )
    rests_on = _rests_on(store, learner, sitting, now, types)
    return _Drawn(rests_on, *_choose_and_draw(store, learner, now, lots, limit), limit, aim)


def _aim_of(store: Store, sitting: int | None, types: Collection[str] | None) -> what_to_practise.Aim | None:
    return None if types is not None or sitting is None else what_to_practise.of_sitting(store, sitting)


def _rests_on(
    store: Store, learner: Learner, sitting: int | None, now: float, types: Collection[str] | None
) -> tuple[Any, ...]:
    """Return what changes where another choice may be due: an answer changes the memory."""
    drilled = class_queries.types_in_drill(store, learner, now)
    return learner, store.states(learner.id), _aim_of(store, sitting, types), drilled


def _deal(
    store: Store,
    learner_id: int,
    now: float,
    lots: Lots,
    types: Collection[str] | None = None,
    drawn: _Drawn | None = None,
) -> Waiting:
    """Deal a case in Practise, or one of these types at the bench; in `writing()`.

    `drawn` is dealt where nothing that it rests on has changed since.
    """
    learner = learners.get(store, learner_id)
    settings = learners.settings_of(learner)
    bench = types is not None
    sitting = sittings.under_way(store, learner_id, settings.length, now, at_bench=bench)
    left = store.open_case(learner_id, at_bench=bench)
    if left is not None:
        again = _as_waiting(left)
        if again is not None:
            store.move_case(left.id, sitting)
            return Waiting(_moved(left, sitting), again.case)
        store.close_case(left.id, now=now)
    if drawn is None or drawn.rests_on != _rests_on(store, learner, sitting, now, types):
        drawn = _drawn_for(store, learner, sitting, now, lots, types)
    choice, case, limit, aim = drawn.choice, drawn.case, drawn.limit, drawn.aim
    findings = case.type.findings.to_json(case.findings)
    case_cache.keep(case, findings)
    dealt = Dealt(
        id=lots.new_id(),
        learner=learner_id,
        sitting=sitting,
        type=case.type.id,
        seed=case.seed or 0,
        settings={"form": settings.form, "level": settings.level, "distance_cm": settings.distance_cm},
        findings=findings,
        why=(limit and limit.why) or (aim and aim.why) or _why(store, learner, choice),
        must_show=choice.must_show,
        probe_of=choice.probe_of,
        for_drill=choice.for_drill and (limit is None or not limit.open),
        dealt_at=now,
        at_bench=bench,
    )
    store.deal(dealt)
    return Waiting(dealt, case)


def _why(store: Store, learner: Learner, choice: Choice) -> str:
    return WHY_LATER if projection.untold(store, learner) else choice.why


def _moved(dealt: Dealt, sitting: int) -> Dealt:
    return Dealt(**{**vars(dealt), "sitting": sitting})


def _recent(store: Store, learner_id: int, now: float) -> list[Done]:
    """Return what was answered recently, in one sitting or more: a miss at the end of one comes back in the next."""
    course = store.course_since(learner_id, now - sittings.LEFT_SECONDS, most=RECENT)
    return [Done(type_id, verdict in CREDITED, for_drill, why) for type_id, verdict, for_drill, why in course]


def next_choice(
    state: LearnerState,
    settings: LearnerSettings,
    recent: Sequence[Done],
    now: float,
    rng: random.Random,
    *,
    offered: Catalogue | None = None,
    drilled: Collection[str] = (),
) -> Choice:
    """Choose what Practise deals next to a learner with these settings; without a data file, so that it can be played.

    `offered` narrows what there is, `drilled` are types that are asked for by name.
    """
    drawing = settings.for_drawing
    return scheduler.choose(
        state,
        offered or catalogue_for(drawing),
        now,
        rng,
        recent=recent,
        exam_day=settings.exam_at,
        drill=drilled,
        level=settings.level,
        unable=constraints.unable(drawing),
    )


def _choose_and_draw(
    store: Store,
    learner: Learner,
    now: float,
    lots: Lots,
    limit: TypeLimit | None,
) -> tuple[Choice, Case]:
    state = projection.cases_of(store, learner.id)
    settings = learners.settings_of(learner)
    recent = _recent(store, learner.id, now)
    drawing = settings.for_drawing
    whole = catalogue_for(drawing)
    offered = whole if limit is None else _limited(whole, limit.types)
    # What was asked for by name is open whatever its level and needs, as a drill's types are.
    drilled = limit.types if limit and limit.open else class_queries.types_in_drill(store, learner, now)
    while True:
        choice = next_choice(state, settings, recent, now, lots.rng, offered=offered, drilled=drilled)
        if limit is not None and limit.shows is not None:
            choice = replace(choice, must_show=limit.shows, probe_of=None)
        one = case_type(choice.type_id)
        seed = lots.new_seed()
        try:
            case = (
                draw(one, seed, drawing)
                if choice.wish is None
                else constraints.case_for(one, seed, drawing, choice.wish)
            )
        except CannotDraw:
            # Settings that leave a type no case must not leave the learner none.
            if choice.wish is None or (limit is not None and limit.shows is not None):
                offered = _limited(offered, offered.by_id.keys() - {choice.type_id})
                if not offered.types:
                    offered, limit = whole, None
        else:
            return choice, case


def _limited(offered: Catalogue, types: Collection[str]) -> Catalogue:
    return Catalogue(tuple(one for one in offered.types if one.id in types), offered.step_titles, offered.slip_titles)


# --- one case under way ------------------------------------------------------------------------------------------


def own(store: Store, learner: Learner, dealt_id: str) -> Dealt:
    """Return a case that was dealt to this learner.

    Raises
    ------
    UnknownCase
        When it was not.
    """
    dealt = store.dealt(dealt_id)
    if dealt is None or dealt.learner != learner.id:
        raise UnknownCase
    return dealt


def show_line(store: Store, learner: Learner, dealt_id: str, lines: int) -> Waiting | None:
    """Show the working as far as `lines` lines, and record it; None when the case is no longer waiting."""
    dealt = own(store, learner, dealt_id)
    case = case_of(dealt)
    with store.writing(learner.id):
        store.show_lines(dealt_id, min(max(lines, 0), len(case.run.lines)))
        dealt = own(store, learner, dealt_id)
    return None if dealt.closed_at is not None else Waiting(dealt, case)


def read_back(case: Case, name: str, text: str) -> str:
    """Write one thing asked as it is read.

    Raises
    ------
    SentBack
        With the reason, when it cannot be read or nothing of this name is asked.
    """
    ask = next((one for one in case.type.asks if one.name == name), None)
    if ask is None:
        raise SentBack(f"“{name[:40]}” is not asked for here", None)
    try:
        return ask.kind.write(read_one(ask, text))
    except CaseError as error:
        raise SentBack(str(error), name) from error


# --- answering ---------------------------------------------------------------------------------------------------


def take(
    store: Store,
    learner: Learner,
    dealt_id: str,
    texts: Mapping[str, str],
    confidence: int | None,
    *,
    now: float,
) -> Taken:
    """Mark an answer and keep it, with all that follows from it, in one transaction.

    The first answer to a case stands: the same once more changes nothing, nor does another.

    Raises
    ------
    SentBack
        When it cannot be marked yet; nothing is kept.
    UnknownCase, BadConfidence
    """
    if confidence is not None and confidence not in CONFIDENCES:
        raise BadConfidence(confidence)
    dealt = own(store, learner, dealt_id)
    case = case_of(dealt)
    given = {ask.name: texts.get(ask.name, "").strip() for ask in case.type.asks}
    before = None if dealt.closed_at is None else store.answer_to(dealt_id)
    if before is not None:
        return _again(before, given)
    # Weighed before anyone has to wait for this to be written.
    mark = mark_fields(case, given, beforehand(projection.cases_of(store, learner.id), case, now))
    _send_back(mark)
    return _keep(store, learner, dealt_id, mark, given, confidence, now=now)


def give_up(store: Store, learner: Learner, dealt_id: str, *, now: float) -> Taken:
    """Keep that a learner does not know: the working is shown, no slip is blamed, and nothing is guessed into the log.

    Raises
    ------
    UnknownCase
    """
    dealt = own(store, learner, dealt_id)
    before = None if dealt.closed_at is None else store.answer_to(dealt_id)
    if before is not None:
        return Taken("repeat" if before.did_not_know else "other", dealt_id)
    return _keep(store, learner, dealt_id, Mark("wrong", case_of(dealt)), None, None, now=now)


def _keep(
    store: Store,
    learner: Learner,
    dealt_id: str,
    mark: Mark,
    given: Mapping[str, str] | None,
    confidence: int | None,
    *,
    now: float,
) -> Taken:
    """Keep an answer with its mark; None as `given`: the learner does not know."""
    seen = own(store, learner, dealt_id)
    answer = _answer(seen, mark, given, confidence, now)
    with store.writing(learner.id):
        dealt = own(store, learner, dealt_id)
        if dealt != seen:
            answer = _answer(dealt, mark, given, confidence, now)
        # Read before the log grows: a state folded again must not hold this answer yet.
        state = projection.cases_to_fold(store, learner.id)
        if not _log(store, learner, replace(answer, late=_is_late(store, dealt, now)), state):
            stands = store.answer_to(dealt_id)
            return _again(stands, given or {}) if stands else Taken("repeat", dealt_id)
        store.close_case(dealt_id, now=now)
        sittings.end_if_over(store, dealt.sitting, now)
    return Taken("new", dealt_id)


def _log(store: Store, learner: Learner, answer: Answer, state: LearnerState) -> bool:
    """Add an answer to the log, the sums and the memory, of which `state` is a copy; False where the case has one."""
    if not store.add_answer(answer):
        return False
    result_queries.tally(store, learner, answer)
    event = projection.event_of(answer)
    projection.keep_forecast(store, learner.id, state, event)
    model.fold(state, event)
    projection.keep_cases(store, learner.id, state)
    return True


def mark_written(store: Store, learner: Learner, case: Case, given: Mapping[str, str], *, now: float) -> Mark:
    """Mark an answer that was written on paper, as one on the screen is; nothing is kept.

    The lens as it was given, where turning it was the point, is not right: on paper it cannot be sent back.

    Raises
    ------
    SentBack
        When it cannot be read.
    """
    mark = mark_fields(case, given, beforehand(projection.cases_of(store, learner.id), case, now))
    if mark.unreadable is not None:
        raise SentBack(str(mark.unreadable), mark.unreadable.ask)
    return replace(mark, verdict="wrong") if mark.sent_back else mark


def keep_written(
    store: Store, learner: Learner, dealt: Dealt, mark: Mark, given: Mapping[str, str], *, now: float
) -> None:
    """Keep an answer that was written on paper; inside `writing()`. It is never late, and its time is not known."""
    answer = replace(_answer(dealt, mark, given, None, now), seconds=None, source=PAPER)
    _log(store, learner, answer, projection.cases_to_fold(store, learner.id))
    store.close_case(dealt.id, now=now)


def _is_late(store: Store, dealt: Dealt, now: float) -> bool:
    drill = None if dealt.drill is None else class_queries.drill_of_id(store, dealt.drill)
    run = store.sitting(dealt.sitting)
    if dealt.drill is None and run is not None:
        return what_to_practise.seconds_left(store, run, now) < -sittings.GRACE_S
    if drill is None or run is None:
        return False
    return sittings.is_late(run, class_queries.end_for(store, drill, dealt.learner), now)


def _again(stands: Answer, given: Mapping[str, str]) -> Taken:
    return Taken("repeat" if stands.given == given else "other", stands.dealt)


def _send_back(mark: Mark) -> None:
    if mark.unreadable is not None:
        raise SentBack(str(mark.unreadable), mark.unreadable.ask)
    if mark.sent_back:
        form = FORM_WORDS[mark.case.form or "minus"]
        name = mark.case.type.asks[0].name
        raise SentBack(f"That lens has the form that was given: write it in {form}.", name)


def _answer(
    dealt: Dealt,
    mark: Mark,
    given: Mapping[str, str] | None,
    confidence: int | None,
    now: float,
) -> Answer:
    case = mark.case
    took = now - dealt.dealt_at
    return Answer(
        dealt=dealt.id,
        learner=dealt.learner,
        sitting=dealt.sitting,
        at=now,
        type=dealt.type,
        seed=dealt.seed,
        findings=dealt.findings,
        truth=case.type.answer_json(case.truth),
        given=dict(given or {}),
        read_as={} if mark.read_as is None else case.type.answer_json(mark.read_as),
        verdict=mark.verdict,
        explanations=_slips_named(mark),
        steps=case.skills,
        could_show=tuple(key_of(ref) for one in case.singles for ref in one.slips),
        hints=tuple(line.step for line in case.run.lines[: dealt.lines_shown]),
        confidence=confidence,
        seconds=round(took, 1) if 0 <= took <= LEFT_SECONDS else None,
        options=options_of(case.type.asks),
        working_shown=True,
        probe_of=dealt.probe_of,
        for_drill=dealt.for_drill,
        source="practice" if stage_of(dealt.type) is None else "bench",
        drill=dealt.drill,
        weighed=_as_kept(mark),
        did_not_know=given is None,
    )


def _slips_named(mark: Mark) -> tuple[tuple[SlipKey, ...], ...]:
    return tuple(tuple(map(key_of, one.slips)) for one in mark.named)


def _as_kept(mark: Mark) -> tuple[Weighed, ...]:
    return tuple(
        Weighed(one.kind, tuple(map(key_of, one.slips)), round(one.probability, 4), one.step)
        for one in mark.weighed
        if one.probability >= KEPT
    )


def mark_as_kept(case: Case, given: Mapping[str, str], verdict: str, weighed: Sequence[Weighed] | None) -> Mark:
    """Mark an answer of the log once more, its explanations as they were weighed when it came.

    weighed: None of an answer from before explanations were weighed.
    """
    if weighed is None:
        return mark_fields(case, given)
    kept = [
        Explanation(one.kind, one.probability, tuple(SlipRef(*key) for key in one.slips), step=one.step)
        for one in weighed
    ]
    return mark_again(case, given, verdict, kept)


def retype(store: Store, learner: Learner, dealt_id: str, texts: Mapping[str, str], *, now: float) -> bool:
    """Keep the answer that a learner meant where the one in the log was mistyped; False where there is one already.

    The log keeps both, memory takes this one at half weight, results count the first and show that there is another.

    Raises
    ------
    SentBack
        When it cannot be marked; nothing is kept.
    UnknownCase
        Also where there is no answer that was missed and given.
    """
    dealt = own(store, learner, dealt_id)
    case = case_of(dealt)
    given = {ask.name: texts.get(ask.name, "").strip() for ask in case.type.asks}
    answer = store.answer_to(dealt_id)
    if answer is None or not dealt_cases.can_retype(answer):
        raise UnknownCase
    # Marked once, before the data file is locked: what was known of the learner then does not change any more.
    mark = mark_fields(case, given, beforehand(projection.cases_of(store, learner.id), case, answer.at))
    _send_back(mark)
    with store.writing(learner.id):
        retyped = Retyped(
            dealt_id,
            learner.id,
            now,
            given,
            {} if mark.read_as is None else case.type.answer_json(mark.read_as),
            mark.verdict,
            _slips_named(mark),
            _as_kept(mark),
        )
        if not store.retype(retyped):
            return False
        # The first answer is in the memory already: it is taken out by folding the log again.
        projection.keep(store, learner.id, projection.refolded(store, learner.id))
    return True


def marked(store: Store, learner: Learner, dealt_id: str) -> Marked | None:
    """Return a case with the answer that stands and its mark; None when it has none yet."""
    return as_marked(store, own(store, learner, dealt_id))


def as_marked(store: Store, dealt: Dealt) -> Marked | None:
    """Return a case of any learner with the answer that stands and its mark; None when it has none yet."""
    answer = store.answer_to(dealt.id)
    if answer is None:
        return None
    case = case_of(dealt)
    if answer.did_not_know:
        return Marked(dealt, answer, Mark("wrong", case))
    retyped = store.retyped_to(dealt.id)
    meant = answer if retyped is None else retyped
    return Marked(dealt, answer, mark_as_kept(case, meant.given, meant.verdict, meant.weighed), retyped)


def untold(case: Case, *, now: float, why: str) -> Waiting:
    """Return a case as it would be put before a learner, dealt to nobody."""
    findings = case.type.findings.to_json(case.findings)
    dealt = Dealt("untold", 0, 0, case.type.id, case.seed or 0, {}, findings, why, None, None, False, now)
    return Waiting(dealt, case)


def tried(case: Case, texts: Mapping[str, str] | None, *, now: float, why: str) -> Marked:
    """Mark an answer to a case that was dealt to nobody; nothing is kept. None as `texts`: they do not know.

    Raises
    ------
    SentBack
        When it cannot be marked yet.
    """
    mark = Mark("wrong", case) if texts is None else mark_fields(case, texts)
    if texts is not None:
        _send_back(mark)
    dealt = untold(case, now=now, why=why).dealt
    return Marked(dealt, _answer(dealt, mark, texts, None, now), mark)


def probe_follows(store: Store, learner: Learner, done: Marked, *, now: float) -> bool:
    """Say whether the next case will be one that tells apart the two slips that this answer left in doubt."""
    if len(done.answer.explanations) < 2:
        return False
    state = projection.cases_of(store, learner.id)
    if state.suspects is None or state.suspects.at != done.answer.at:
        return False
    return _next_is_probe(state, _recent(store, learner.id, now), learners.settings_of(learner).for_drawing, now)


def _next_is_probe(state: LearnerState, recent: list[Done], drawing: Settings, now: float) -> bool:
    while True:
        # A probe is due or not whatever chance says, so any source of it will do.
        unable = constraints.unable(drawing)
        choice = scheduler.choose(state, catalogue_for(drawing), now, random.Random(0), recent=recent, unable=unable)
        if choice.probe_of is None:
            return False
        if constraints.can(case_type(choice.type_id), drawing, choice.probe_of):
            return True
