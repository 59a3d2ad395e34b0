"""Results: learner by type and by step, the commonest slips, and the answers behind every number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from flask import Blueprint, g, make_response, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from cases.curriculum.register import all_skills, all_types
from cases.errors import CaseError
from cases.procedure.marking import as_given, named
from quiz.classroom import classes, drills, roster
from quiz.classroom.drills import members_for
from quiz.learning import model
from quiz.practice import dealing
from quiz.practice.dealt_cases import Place
from quiz.practice.names import BadName
from quiz.practice.sittings import GRACE_S
from quiz.practice.titles import slip_at_step, slip_title, step_title, type_title
from quiz.storage import class_queries, doubt_queries, projection, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.doubt_queries import Remark
from quiz.storage.result_queries import EVERYTHING, LateDecision, LearnerSum, Sum
from quiz.storage.store import Answer
from quiz.web import request_context
from quiz.web.classroom.ownership import may_change, own_class
from quiz.web.confirming import not_ticked
from quiz.web.drill_views import deletion_words, moment, remark_view
from quiz.web.mark_views import mark_page
from quiz.web.sitting_views import VERDICT_WORDS, verdict_words

pages = Blueprint("results", __name__, url_prefix="/class/<int:class_id>")

A_PAGE = 25
"""Learners side by side on one page."""
ANSWERS = 100
"""Answers listed behind one number, the latest."""
LONGEST_REMARK = 500
"""Characters of what a preceptor writes about an answer."""


@dataclass(frozen=True)
class ResultCell:
    """One number of a table, and where its answers are."""

    words: str
    link: str | None = None
    about: str = ""
    """What the number counts, for those who cannot see the table's edges."""


@dataclass(frozen=True)
class ResultRow:
    """One line of a table."""

    name: str
    link: str | None
    cells: tuple[ResultCell, ...]


@dataclass(frozen=True)
class SlipRow:
    """One of the commonest slips."""

    words: str
    step: str
    times: ResultCell
    learners: int
    surely: int
    example: str
    example_link: str
    key: tuple[str, str]
    """The step and the slip."""
    drill: int
    """Of which drill, 0 for all practice."""
    to_group: str
    """Where a group is made of those learners; "" where this preceptor may not."""


@dataclass(frozen=True)
class Tables:
    """The tables that class and learner have alike."""

    types: tuple[ResultRow, ...]
    steps: tuple[ResultRow, ...]
    slips: tuple[SlipRow, ...]


@dataclass(frozen=True)
class ResultsPage:
    """What the page of a class's results receives."""

    class_id: int
    class_name: str
    drill: int | None
    drills: tuple[tuple[int, str], ...]
    answered: int
    right: int
    learners: int
    not_begun: tuple[str, ...]
    tables: Tables
    by: str
    columns: tuple[str, ...]
    rows: tuple[ResultRow, ...]
    first: int
    last: int
    earlier: str | None
    later: str | None
    late: ResultCell
    """Answers that came after the drill's time."""
    deletions: tuple[str, ...]


@dataclass(frozen=True)
class LearnerPage:
    """What the page of one learner receives."""

    class_id: int
    class_name: str
    id: int
    name: str
    answered: int
    right: int
    seconds: str
    joined: str
    last: str
    tables: Tables
    standing: tuple[str, ...]
    has_phrase: bool
    problem: str | None
    """Why they were not removed, or not renamed."""
    number: str
    others: tuple[str, ...]
    """Other classes that they are in."""
    at: str
    may: bool
    """Whether this preceptor may change anything."""
    own: bool
    """Whether they own the class."""


@dataclass(frozen=True)
class AnswerRow:
    """One answer in a list."""

    link: str
    learner: str
    at: str
    title: str
    given: str
    mark: str
    slips: str
    seconds: str


# --- pieces ------------------------------------------------------------------------------------------------------


def _seconds(mean: float | None) -> str:
    return "" if mean is None else f"{mean:.0f} s"


def _drill(what: Class) -> Drill | None:
    number = request.args.get("drill", type=request_context.whole)
    return None if number is None else drills.own(request_context.store(), what, number)


def _missed(one: Sum, link: str, about: str) -> ResultCell:
    return ResultCell(str(one.missed), link if one.missed else None, about)


def _behind(what: Class, drill: Drill | None, **more: object) -> str:
    """Return the address of the answers behind a number; written out, since a page has thousands of them."""
    asked = {name: value for name, value in {"drill": drill.id if drill else None, **more}.items() if value is not None}
    if "answers" not in g:
        g.answers = url_for("results.answers", class_id=what.id)
    return f"{g.answers}?{urlencode(asked)}"


def _tables(what: Class, drill: Drill | None, learner: int | None = None) -> Tables:
    store, of = request_context.store(), drill.id if drill else EVERYTHING
    sums = {kind: _sums(what, kind, of, learner) for kind in ("type", "step", "slip")}
    order = {one: place for place, one in enumerate(all_types())}
    types = tuple(
        ResultRow(
            type_title(one.key),
            None,
            (
                ResultCell(str(one.answered), _behind(what, drill, learner=learner, type=one.key), "answers"),
                ResultCell(str(one.right), None, "right"),
                _missed(one, _behind(what, drill, learner=learner, type=one.key, missed="yes"), "missed"),
                ResultCell(_seconds(one.mean_seconds) or "not known"),
            ),
        )
        for one in sorted(sums["type"], key=lambda one: order.get(one.key, len(order)))
    )
    steps = tuple(
        ResultRow(
            step_title(one.key),
            None,
            (
                ResultCell(str(one.answered), _behind(what, drill, learner=learner, step=one.key), "answers"),
                _missed(one, _behind(what, drill, learner=learner, step=one.key, missed="yes"), "may have slipped"),
                ResultCell(f"{drills.whole_per_cent(one.missed, one.answered)} %"),
            ),
        )
        for one in sorted(sums["step"], key=lambda one: (-one.missed / one.answered, one.key))
    )
    common = sorted(sums["slip"], key=lambda one: (-one.answered, -one.missed, one.key))[:10]
    examples = result_queries.answers_numbered(store, [one.last_answer for one in common])
    slips = tuple(_slip_row(what, drill, learner, one, examples[one.last_answer]) for one in common)
    return Tables(types, steps, slips)


def _sums(what: Class, kind: str, of: int, learner: int | None) -> list[Sum]:
    return result_queries.class_sums(request_context.store(), what.id, kind, drill=of, learner=learner)


def _slip_row(what: Class, drill: Drill | None, learner: int | None, one: Sum, example: Answer) -> SlipRow:
    step, slip = one.key.split(" ", 1)
    link = _behind(what, drill, learner=learner, step=step, slip=slip)
    return SlipRow(
        words=slip_title(slip),
        step=step_title(step),
        times=ResultCell(str(one.answered), link, "answers"),
        learners=one.learners,
        surely=one.missed,
        example=wrong_line(example, step, slip),
        example_link=url_for("results.answer", class_id=what.id, dealt_id=example.dealt),
        key=(step, slip),
        drill=drill.id if drill else EVERYTHING,
        to_group=url_for("roster.group_from_results", class_id=what.id) if may_change(what) else "",
    )


def wrong_line(answer: Answer, step: str, slip: str) -> str:
    """Return the line of the working in which a slip was made, as it was made; what was given where there is none."""
    try:
        one = all_types()[answer.type]
        case = one.case(one.findings.from_json(answer.findings), answer.seed)
        mark = dealing.mark_as_kept(case, answer.given, answer.verdict, answer.weighed)
    except (KeyError, CaseError):
        return _given(answer)
    for explanation in mark.explanations:
        for line in explanation.run.lines:
            if line.step == step and line.slip == slip:
                return line.says
    return _given(answer)


def _given(answer: Answer) -> str:
    of = all_types().get(answer.type)
    parts = named(of.asks, as_given(of.asks, answer.given)) if of else answer.given.values()
    return "; ".join(part for part in parts if part)


# --- a class -----------------------------------------------------------------------------------------------------


@pages.get("/results")
def show(class_id: int) -> Response:
    """Show what a class's answers come to, over everything or over one drill."""
    what = own_class(class_id)
    drill, store = _drill(what), request_context.store()
    of = drill.id if drill else EVERYTHING
    everyone = roster_queries.members_of(store, what.id)
    sums = {one.learner: one for one in result_queries.learner_sums(store, what.id, "all", drill=of)}
    members = everyone if drill is None else members_for(store, drill, everyone)
    begun = [one for one in members if one.learner in sums]
    # Who began a drill and answered nothing of it in time has no sum in it, and has begun all the same.
    seen = {*sums, *({run.learner for run in class_queries.runs_of(store, drill.id)} if drill else ())}
    by = "step" if request.args.get("by") == "step" else "type"
    page_number = max(0, request.args.get("page", 0, type=request_context.whole))
    shown = begun[page_number * A_PAGE : (page_number + 1) * A_PAGE]
    columns, rows = _grid(what, drill, by, [(one.learner, one.name) for one in shown], sums)

    def turn(number: int) -> str:
        return url_for("results.show", class_id=what.id, drill=drill.id if drill else None, by=by, page=number)

    page = ResultsPage(
        class_id=what.id,
        class_name=what.name,
        drill=drill.id if drill else None,
        drills=tuple((one.id, one.title) for one in class_queries.drills_of(store, what.id)),
        answered=sum(one.answered for one in sums.values()),
        right=sum(one.right for one in sums.values()),
        learners=len(begun),
        not_begun=tuple(one.name for one in members if one.learner not in seen),
        tables=_tables(what, drill),
        by=by,
        columns=columns,
        rows=rows,
        first=page_number * A_PAGE + 1,
        last=page_number * A_PAGE + len(shown),
        earlier=turn(page_number - 1) if page_number else None,
        later=turn(page_number + 1) if len(begun) > (page_number + 1) * A_PAGE else None,
        late=_late(what, drill),
        deletions=tuple(map(deletion_words, class_queries.deletions_in(store, drill.id))) if drill else (),
    )
    return make_response(render_template("results.html", page=page))


def _late(what: Class, drill: Drill | None) -> ResultCell:
    if drill is None:
        return ResultCell("0")
    return ResultCell(
        str(sum(result_queries.late_answers(request_context.store(), drill.id).values())),
        _behind(what, drill, late="yes"),
    )


def _grid(
    what: Class, drill: Drill | None, by: str, people: Sequence[tuple[int, str]], sums: dict[int, LearnerSum]
) -> tuple[tuple[str, ...], tuple[ResultRow, ...]]:
    """Set learners against types or steps: right (or not slipped) of this many."""
    of = drill.id if drill else EVERYTHING
    found = result_queries.learner_sums(
        request_context.store(), what.id, by, drill=of, learners=[number for number, _ in people]
    )
    at = {(one.learner, one.key): one for one in found}
    order = list(all_types() if by == "type" else all_skills())
    keys = sorted({one.key for one in found}, key=lambda key: (order.index(key) if key in order else len(order), key))
    words = type_title if by == "type" else step_title
    rows = []
    for number, name in people:
        cells = [_total(what, drill, number, sums[number])]
        for key in keys:
            one = at.get((number, key))
            link = None if one is None else _behind(what, drill, learner=number, **{by: key})
            cells.append(ResultCell(f"{one.right}/{one.answered}" if one else "", link, f"{name}, {words(key)}:"))
        rows.append(ResultRow(name, url_for("results.learner", class_id=what.id, learner_id=number), tuple(cells)))
    return ("All", *(words(key) for key in keys)), tuple(rows)


def _total(what: Class, drill: Drill | None, learner: int, one: LearnerSum) -> ResultCell:
    time = f", {_seconds(one.mean_seconds)}" if one.mean_seconds is not None else ""
    return ResultCell(f"{one.right}/{one.answered}{time}", _behind(what, drill, learner=learner), "All:")


# --- a learner ---------------------------------------------------------------------------------------------------


@pages.get("/learner/<int:learner_id>")
def learner(class_id: int, learner_id: int) -> Response:
    """Show what one learner's answers come to."""
    return _learner(own_class(class_id), learner_id)


@pages.post("/learner/<int:learner_id>/name")
def rename(class_id: int, learner_id: int) -> Response:
    """Give a learner's place another name and number."""
    what = own_class(class_id)
    name, number = request.form.get("name", ""), request.form.get("number", "")
    try:
        roster.rename(request_context.store(), what, learner_id, name, number)
    except BadName as error:
        return _learner(what, learner_id, 422, str(error))
    return redirect(url_for("results.learner", class_id=class_id, learner_id=learner_id), 303)


def _learner(what: Class, learner_id: int, code: int = 200, problem: str | None = None) -> Response:
    store = request_context.store()
    who = classes.member(store, what, learner_id)
    total = next(iter(result_queries.learner_sums(store, what.id, "all", learners=[learner_id])), None)
    standing = model.standing(projection.states_of(store, learner_id).cases, request_context.now())
    page = LearnerPage(
        class_id=what.id,
        class_name=what.name,
        id=learner_id,
        name=who.name,
        answered=total.answered if total else 0,
        right=total.right if total else 0,
        seconds=_seconds(total.mean_seconds) if total else "",
        number=who.number or "",
        others=tuple(one.name for one in roster_queries.classes_with(store, learner_id) if one.id != what.id),
        joined=moment(who.joined_at),
        last=moment(total.last_at) if total else "",
        tables=_tables(what, None, learner_id),
        standing=tuple(slip_at_step(step, slip) for step, slip in standing),
        has_phrase=who.has_phrase,
        problem=problem or (not_ticked() if request.args.get("unsure") == "yes" else None),
        at="name" if problem else "remove",
        may=may_change(what),
        own=what.preceptor == request_context.preceptor().id,
    )
    return make_response(render_template("class_learner.html", page=page), code)


# --- the answers behind a number ---------------------------------------------------------------------------------


@pages.get("/answers")
def answers(class_id: int) -> Response:
    """List the answers behind a number."""
    what, store, args = own_class(class_id), request_context.store(), request.args
    drill = _drill(what)
    number = args.get("learner", type=request_context.whole)
    who = None if number is None else classes.member(store, what, number)
    type_id, step, slip, missed = args.get("type"), args.get("step"), args.get("slip"), args.get("missed") == "yes"
    late = drill is not None and args.get("late") == "yes"
    place = args.get("place", type=request_context.whole)
    kept = class_queries.kept_case(store, drill.id, place - 1) if drill is not None and place is not None else None
    type_id = kept.type if kept else type_id
    found = result_queries.answers_behind(
        store,
        what.id,
        drill=drill.id if drill else EVERYTHING,
        learner=who.learner if who else None,
        type_id=type_id,
        step=step,
        slip=slip,
        types=[one.id for one in all_types().values() if any(each.skill.id == step for each in one.steps)],
        missed_only=missed,
        seed=kept.seed if kept else None,
        late=late,
        most=ANSWERS + 1,
    )
    names = {one.learner: one.name for one in roster_queries.members_of(store, what.id)}
    about = [drill.title if drill else "all practice", who.name if who else "the whole class"]
    about += [f"case {place}"] if kept else []
    about += [type_title(type_id)] if type_id else []
    about += [f"“{slip_title(slip)}”"] if slip else []
    about += [step_title(step)] if step else []
    about += ["missed only"] if missed else []
    about += ["late, and not counted"] if late else []
    return make_response(
        render_template(
            "answers.html",
            class_id=what.id,
            class_name=what.name,
            about="; ".join(about),
            rows=[_answer_row(what, one, names[one.learner]) for one in found[:ANSWERS]],
            more=len(found) > ANSWERS,
            most=ANSWERS,
        )
    )


@dataclass(frozen=True)
class LateRow:
    """One late answer, and what was decided about it."""

    dealt: str
    link: str
    learner: str
    given: str
    mark: str
    arrived: str
    claim: str
    """What the browser says of its line; "" where it says nothing."""
    decided: tuple[str, ...]
    counts: bool


@pages.get("/drill/<int:drill_id>/late")
def late(class_id: int, drill_id: int) -> Response:
    """List the late answers of a drill: by how much, what the browser says of its line, and what was decided."""
    what, store = own_class(class_id), request_context.store()
    drill = drills.own(store, what, drill_id)
    delays, decisions = result_queries.delays_in(store, drill.id), result_queries.decisions_in(store, drill.id)
    names = {one.learner: one.name for one in roster_queries.members_of(store, what.id)}
    rows = [
        _late_row(what, drill, one, names[one.learner], delays.get(one.dealt), decisions.get(one.dealt, []))
        for one in result_queries.late_in(store, drill.id)
    ]
    may = may_change(what)
    return make_response(
        render_template("late.html", class_id=what.id, drill=drill, rows=rows, may=may, grace=f"{GRACE_S:.0f}")
    )


def _late_row(
    what: Class, drill: Drill, one: Answer, name: str, delay: float | None, decisions: Sequence[LateDecision]
) -> LateRow:
    run = request_context.store().sitting(one.sitting)
    ends = [
        at
        for at in (run.due_at if run else None, class_queries.end_for(request_context.store(), drill, one.learner))
        if at
    ]
    late_by = one.at - min(ends) if ends else None
    words = "after the time" if late_by is None or late_by < 0 else f"{_span(late_by)} after the end"
    claim = ""
    if delay is not None:
        claim = f"The browser says that the line held it for {_span(delay)}"
        if late_by is not None and late_by >= 0:
            claim += f": handed in {_span(abs(late_by - delay))} {'before' if delay > late_by else 'after'} the end"
    return LateRow(
        dealt=one.dealt,
        link=url_for("results.answer", class_id=what.id, dealt_id=one.dealt),
        learner=name,
        given=_given(one),
        mark=verdict_words(one),
        arrived=words,
        claim=claim,
        decided=tuple(
            f"{each.preceptor} {'let it count' if each.counts else 'did not let it count'}, {moment(each.decided_at)}"
            for each in decisions
        ),
        counts=bool(decisions) and decisions[-1].counts,
    )


def _span(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def _answer_row(what: Class, one: Answer, name: str) -> AnswerRow:
    store = request_context.store()
    meant = store.retyped_to(one.dealt)
    explained = {slip for explanation in one.explanations for _, slip in explanation}
    return AnswerRow(
        link=url_for("results.answer", class_id=what.id, dealt_id=one.dealt),
        learner=name,
        at=moment(one.at),
        title=type_title(one.type),
        given=_given(one),
        mark=verdict_words(one)
        + (", mistyped: then " + VERDICT_WORDS.get(meant.verdict, meant.verdict) if meant else "")
        + (", with help" if one.hints else "")
        + (", from paper" if one.on_paper else "")
        + (", late" if one.late else "")
        + (", counted" if one.late and one.dealt in result_queries.accepted_of(store, one.learner) else ""),
        slips=("" if one.verdict == "slip" or not explained else "perhaps ")
        + (" and " if len(one.explanations) == 1 else " or ").join(sorted(map(slip_title, explained))),
        seconds=_seconds(one.seconds) or "not known",
    )


@pages.get("/answer/<dealt_id>")
def answer(class_id: int, dealt_id: str) -> Response:
    """Show one answer with its mark and working; what the learner is told is said of them by name."""
    what, store = own_class(class_id), request_context.store()
    dealt = store.dealt(dealt_id)
    who = None if dealt is None else roster_queries.member_of(store, what.id, dealt.learner)
    if dealt is None or who is None:
        raise NotFound
    sitting, done = store.sitting(dealt.sitting), dealing.as_marked(store, dealt)
    if sitting is None or done is None:
        raise NotFound
    place = Place(store.place_in_sitting(dealt_id), sitting.cases)
    page = mark_page(done, place, sitting, probe_follows=False, whose=who.name)
    back = url_for("results.learner", class_id=what.id, learner_id=dealt.learner)
    counted = page.late and dealt_id in result_queries.accepted_of(store, dealt.learner)
    said, may = remark_view(doubt_queries.remark_on(store, dealt_id)), may_change(what)
    return make_response(
        render_template(
            "mark.html", page=page, back=back, whose=who.name, counted=counted, remark=said, class_id=class_id, may=may
        )
    )


@pages.post("/answer/<dealt_id>/remark")
def remark(class_id: int, dealt_id: str) -> Response:
    """Keep what a preceptor writes about an answer, for its learner to read; without words, take it back."""
    what, store = own_class(class_id), request_context.store()
    dealt = store.dealt(dealt_id)
    if dealt is None or roster_queries.member_of(store, what.id, dealt.learner) is None:
        raise NotFound
    note = " ".join(request.form.get("note", "").split())[:LONGEST_REMARK]
    with store.writing():
        if store.answer_to(dealt_id) is None:
            raise NotFound
        who = request_context.preceptor().name
        doubt_queries.keep_remark(store, Remark(dealt_id, who, note, request_context.now()))
    return redirect(f"{url_for('results.answer', class_id=class_id, dealt_id=dealt_id)}#remark", 303)
