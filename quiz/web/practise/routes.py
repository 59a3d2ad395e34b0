"""Practise: the case that waits, its answer, its mark, and the end of a sitting."""

from __future__ import annotations

import math
from collections.abc import Mapping

from flask import Blueprint, Response, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answered

from quiz.classroom import take_drill
from quiz.practice import (
    dealing,
    dealt_cases,
    first_questions,
    recall_prompts,
    sittings,
    today,
    what_to_practise,
    worked_examples,
)
from quiz.practice.dealt_cases import Marked, Place, SentBack, Waiting
from quiz.practice.forms import joined
from quiz.practice.type_catalogue import catalogue
from quiz.practice.worked_examples import PARTS, Example, NoExample
from quiz.storage import class_queries, doubt_queries, result_queries
from quiz.storage.doubt_queries import Doubt
from quiz.storage.store import Dealt, Sitting
from quiz.web import request_context
from quiz.web.case_views import case_page
from quiz.web.drill_views import remark_view
from quiz.web.mark_views import mark_page
from quiz.web.pictures import picture
from quiz.web.sitting_views import sitting_page

pages = Blueprint("practise", __name__)

LONGEST_NOTE = 500
"""Characters of a note about a doubtful case."""
LONGEST_DELAY_S = 7 * 86400.0
"""A browser that says that it held an answer back for longer is not believed."""


@pages.get("/practise")
def show() -> Answered:
    """Show the case that waits, dealt now if there is none."""
    learner, store, now = request_context.learner(), request_context.store(), request_context.now()
    ended = today.end_if_time_is_over(store, learner, now=now)
    if ended is not None:
        return redirect(url_for("practise.sitting", sitting_id=ended), 303)
    if first_questions.are_due(store, learner):
        return redirect(url_for("desk.questions"), 303)
    beside = recall_prompts.beside_last_case(store, learner, now=now, lots=request_context.lots())
    if beside is not None:
        return redirect(url_for("recall.ask", recall_id=beside.id), 303)
    one = dealing.waiting(store, learner, now=now, lots=request_context.lots())
    return make_response(_example_before(one) or show_case(one))


def show_case(one: Waiting, **more: object) -> str:
    """Show a waiting case, of ordinary practice or of a drill."""
    sitting = _sitting(one.dealt.sitting)
    place = Place(sitting.answered + 1, sitting.cases)
    template = "practise.html"
    if one.dealt.drill is None:
        more["first_visit"] = not sitting.answered and not request_context.store().has_answered(one.dealt.learner)
        left = what_to_practise.seconds_left(request_context.store(), sitting, request_context.now())
        more["withheld"] = what_to_practise.is_withheld(request_context.store(), one.dealt)
        if math.isfinite(left):
            more["seconds_left"], more["minutes"] = round(left), what_to_practise.PAPER_MINUTES
    else:
        drill = class_queries.drill_of_id(request_context.store(), one.dealt.drill)
        more["drill"], more["withheld"] = drill, drill is not None and not drill.at_once
        more["minutes"] = None if drill is None else drill.time
        if drill is not None and drill.test:
            template = "test_case.html"
            place = Place(class_queries.places_in(request_context.store(), sitting.id)[one.dealt.id], sitting.cases)
        ends = sittings.ends_at(sitting)
        more["seconds_left"] = None if ends is None else round(ends - request_context.now())
    return render_template(template, page=case_page(one, place, **more))  # type: ignore[arg-type]


def place_of(dealt: Dealt) -> str:
    """Return the address at which a case is while it is open: in its drill, at the bench, or in Practise."""
    if dealt.drill is not None:
        return url_for("drilling.show", drill_id=dealt.drill)
    return url_for("bench.open_case" if dealt.at_bench else "practise.show")


def _sitting(sitting_id: int) -> Sitting:
    sitting = request_context.store().sitting(sitting_id)
    if sitting is None:
        raise sittings.UnknownSitting
    return sitting


@pages.post("/case/<dealt_id>/answer")
def answer(dealt_id: str) -> Answered:
    """Mark an answer, or send it back with the reason and the text kept."""
    learner, store = request_context.learner(), request_context.store()
    one = _waiting(dealt_id)
    texts, confidence = _texts(one), _confidence()
    try:
        taken = dealing.take(store, learner, dealt_id, texts, confidence, now=request_context.now())
    except SentBack as back:
        problems = {back.ask: str(back)}
        page = show_case(one, texts=texts, problems=problems, reads=_reads(one, texts), confidence=confidence)
        return make_response(page, 422)
    if taken.outcome == "new" and one.dealt.drill is not None:
        _keep_delay(dealt_id)
    if request_context.wants_json():
        codes = {"new": 201, "repeat": 200, "other": 409}
        return make_response(jsonify(outcome=taken.outcome, go=_onward(one.dealt)), codes[taken.outcome])
    if taken.outcome == "other" and _is_told(one.dealt):
        return make_response(_marked(_done(dealt_id), stands=True), 409)
    return redirect(_onward(one.dealt), 303)


def _keep_delay(dealt_id: str) -> None:
    """Keep for how long the browser says that it held a late answer back for want of a connection."""
    held, store = request.form.get("held", 0.0, type=float), request_context.store()
    answer = store.answer_to(dealt_id)
    if answer is not None and answer.late and 0 < held < LONGEST_DELAY_S:
        with store.writing(answer.learner):
            result_queries.keep_delay(store, dealt_id, held)


@pages.post("/case/<dealt_id>/dont-know")
def dont_know(dealt_id: str) -> Answered:
    """Keep that the learner does not know, and show the working."""
    one = _waiting(dealt_id)
    dealing.give_up(request_context.store(), request_context.learner(), dealt_id, now=request_context.now())
    return redirect(_onward(one.dealt), 303)


@pages.get("/case/<dealt_id>/mistyped")
def retype(dealt_id: str) -> Answered:
    """Ask for the answer once more: it was mistyped."""
    done = _done(dealt_id)
    if done.retyped is not None or not dealt_cases.can_retype(done.answer) or not _told(done):
        return redirect(_onward(done.dealt), 303)
    return make_response(_ask_again(done))


@pages.post("/case/<dealt_id>/mistyped")
def retyped(dealt_id: str) -> Answered:
    """Keep the answer that was meant, or send it back with the reason and the text kept."""
    done = _done(dealt_id)
    if not _told(done):
        return redirect(_onward(done.dealt), 303)
    texts = _texts(Waiting(done.dealt, done.mark.case))
    try:
        dealing.retype(request_context.store(), request_context.learner(), dealt_id, texts, now=request_context.now())
    except SentBack as back:
        return make_response(_ask_again(done, texts=texts, problems={back.ask: str(back)}), 422)
    return redirect(url_for("practise.mark", dealt_id=dealt_id), 303)


def _told(done: Marked) -> bool:
    return _is_told(done.dealt)


def _is_told(dealt: Dealt) -> bool:
    """Say whether a mark may be seen: those of some drills and of a mock paper come at the end."""
    store = request_context.store()
    return take_drill.told(store, dealt) and not what_to_practise.is_withheld(store, dealt)


def _ask_again(done: Marked, **more: object) -> str:
    place = Place(request_context.store().place_in_sitting(done.dealt.id), _sitting(done.dealt.sitting).cases)
    page = case_page(Waiting(done.dealt, done.mark.case), place, **more)  # type: ignore[arg-type]
    return render_template("retype.html", page=page)


@pages.get("/case/<dealt_id>/dont-know")
@pages.get("/case/<dealt_id>/answer")
@pages.get("/case/<dealt_id>/line")
@pages.get("/case/<dealt_id>/read")
@pages.get("/case/<dealt_id>/doubt")
def again(dealt_id: str) -> Answered:
    """Lead on from an address that a form was sent to: a page that it gave was reloaded, or its address kept."""
    dealing.own(request_context.store(), request_context.learner(), dealt_id)
    return redirect(url_for("practise.mark", dealt_id=dealt_id), 303)


def _onward(dealt: Dealt) -> str:
    """Return where an answer leads: to its mark, or on in a drill whose marks are shown at its end."""
    drill = None if dealt.drill is None else class_queries.drill_of_id(request_context.store(), dealt.drill)
    if drill is not None and not drill.at_once:
        return url_for("drilling.show", drill_id=drill.id)
    if what_to_practise.is_withheld(request_context.store(), dealt):
        return url_for("practise.show")
    aim = what_to_practise.of_sitting(request_context.store(), dealt.sitting) if drill is None else None
    if aim is not None and aim.what == what_to_practise.PAPER and _fresh_end(dealt):
        return url_for("practise.sitting", sitting_id=dealt.sitting)
    return url_for("practise.mark", dealt_id=dealt.id)


def _fresh_end(dealt: Dealt) -> bool:
    """Say whether this answer has just ended its sitting."""
    sitting = _sitting(dealt.sitting)
    return sitting.ended_at == request_context.now()


@pages.post("/case/<dealt_id>/line")
def line(dealt_id: str) -> Answered:
    """Show the next line of the working, with what was typed so far kept."""
    dealt = dealing.own(request_context.store(), request_context.learner(), dealt_id)
    if not _is_told(dealt):
        return redirect(_onward(dealt), 303)
    shown = request.form.get("lines", 0, type=request_context.whole)
    one = dealing.show_line(request_context.store(), request_context.learner(), dealt_id, shown)
    if one is None:
        return redirect(url_for("practise.mark", dealt_id=dealt_id), 303)
    texts = _texts(one)
    return make_response(show_case(one, texts=texts, reads=_reads(one, texts), confidence=_confidence()))


@pages.post("/case/<dealt_id>/read")
def read(dealt_id: str) -> Answered:
    """Show how the answer is read before it is marked: for browsers without scripts."""
    one = _waiting(dealt_id)
    texts = _texts(one)
    problems: dict[str | None, str] = {}
    for ask in one.case.type.asks:
        try:
            dealing.read_back(one.case, ask.name, texts[ask.name])
        except SentBack as back:
            problems[ask.name] = str(back)
    page = show_case(one, texts=texts, problems=problems, reads=_reads(one, texts), confidence=_confidence())
    return make_response(page)


@pages.get("/read-as")
def read_as() -> Response:
    """Say how a text is read, while it is being typed: the only reader there is stands in `cases`."""
    case = _waiting(request.args.get("case", "")).case
    try:
        return jsonify(reads=dealing.read_back(case, request.args.get("name", ""), request.args.get("text", "")))
    except SentBack as back:
        return jsonify(because=str(back))


@pages.get("/case/<dealt_id>")
def mark(dealt_id: str) -> Answered:
    """Show the mark of a case, or the case itself while it waits."""
    store, learner = request_context.store(), request_context.learner()
    done = dealing.marked(store, learner, dealt_id)
    if done is None:
        return redirect(place_of(dealing.own(store, learner, dealt_id)), 303)
    if not _is_told(done.dealt):
        return redirect(_onward(done.dealt), 303)
    return make_response(_marked(done))


@pages.post("/case/<dealt_id>/doubt")
def doubt(dealt_id: str) -> Answered:
    """Keep that a learner doubts a marked case, with what they say of it, for a preceptor or a file to be sent on."""
    done, store = _done(dealt_id), request_context.store()
    if _told(done):
        said = " ".join(request.form.get("note", "").split())[:LONGEST_NOTE]
        with store.writing(done.dealt.learner):
            doubt_queries.add_doubt(store, Doubt(dealt_id, done.dealt.learner, request_context.now(), said))
    return redirect(f"{url_for('practise.mark', dealt_id=dealt_id)}#doubt", 303)


@pages.post("/sitting/stop")
def stop() -> Answered:
    """End the sitting here."""
    at_bench = "bench" in request.form
    store, learner = request_context.store(), request_context.learner()
    ended = sittings.stop(store, learner, now=request_context.now(), at_bench=at_bench)
    if ended is None:
        return redirect(url_for("bench.explore" if at_bench else "practise.show"), 303)
    return redirect(url_for("practise.sitting", sitting_id=ended), 303)


@pages.get("/sitting/<int:sitting_id>")
def sitting(sitting_id: int) -> Answered:
    """Show what a sitting came to."""
    one = sittings.own(request_context.store(), request_context.learner(), sitting_id)
    if one.drill is not None:
        return redirect(url_for("drilling.show", drill_id=one.drill), 303)
    facts = sittings.facts(
        request_context.store(), request_context.learner(), sitting_id, catalogue(), now=request_context.now()
    )
    return make_response(render_template("sitting.html", page=sitting_page(facts)))


# --- pieces ------------------------------------------------------------------------------------------------------


def _waiting(dealt_id: str) -> Waiting:
    dealt = dealing.own(request_context.store(), request_context.learner(), dealt_id)
    return Waiting(dealt, dealing.case_of(dealt))


def _done(dealt_id: str) -> Marked:
    done = dealing.marked(request_context.store(), request_context.learner(), dealt_id)
    if done is None:
        raise dealt_cases.UnknownCase
    return done


def _marked(done: Marked, *, stands: bool = False) -> str:
    store = request_context.store()
    sitting = _sitting(done.dealt.sitting)
    number = store.place_in_sitting(done.dealt.id)
    # The case that follows at the bench is chosen there, not by what this answer left open.
    by_itself = sitting.drill is None and not sitting.at_bench
    follows = by_itself and dealing.probe_follows(store, request_context.learner(), done, now=request_context.now())
    reported = doubt_queries.doubt_of(store, done.dealt.id)
    place = Place(number, sitting.cases)
    said = None if reported is None else reported.note
    page = mark_page(done, place, sitting, probe_follows=follows, stands=stands, doubt=said)
    # Asked for by a script, the mark comes without what stands round a page, and opens in the page of the case.
    counted = page.late and done.dealt.id in result_queries.accepted_of(store, done.dealt.learner)
    fragment = request.headers.get("X-Part") == "mark"
    remark = remark_view(doubt_queries.remark_on(store, done.dealt.id))
    return render_template("mark.html", page=page, counted=counted, remark=remark, fragment=fragment)


def _texts(one: Waiting) -> dict[str, str]:
    return {ask.name: joined(ask.kind, request.form.getlist(f"answer-{ask.name}")) for ask in one.case.type.asks}


def _confidence() -> int | None:
    return request.form.get("confidence", type=request_context.whole)


def _reads(one: Waiting, texts: Mapping[str, str]) -> dict[str, str]:
    out = {}
    for ask in one.case.type.asks:
        try:
            out[ask.name] = dealing.read_back(one.case, ask.name, texts[ask.name])
        except SentBack:
            continue
    return out


# --- worked examples ---------------------------------------------------------------------------------------------


def _worked_page(dealt_id: str, found: Example, *, typed: str = "", problem: str = "", done: str = "") -> str:
    """Show one part of a worked example; done says how the line that was left out was found."""
    case = found.case
    return render_template(
        "worked.html",
        dealt_id=dealt_id,
        example=found,
        title=case.type.title,
        found=case.found,
        question=case.type.question(case.findings),
        picture=picture(case.type.figure(case.findings, "found")),
        answer=[] if found.blank else [(ask.label, ask.kind.write(case.truth[ask.name])) for ask in case.type.asks],
        typed=typed,
        problem=problem,
        done=done,
    )


@pages.get("/worked/<dealt_id>")
def example(dealt_id: str) -> Answered:
    """Lead on to the part that a learner is at."""
    dealing.own(request_context.store(), request_context.learner(), dealt_id)
    return redirect(url_for("practise.show"), 303)


@pages.post("/worked/<dealt_id>")
def worked(dealt_id: str) -> Answered:
    """Go on from the example that was read, check the line that was left out, or pass over the rest."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    dealt = dealing.own(store, learner, dealt_id)
    found = None
    if dealt.closed_at is None:
        found = worked_examples.wanted(store, learner, Waiting(dealt, dealing.case_of(dealt)), now=now)
    if found is None:
        raise NoExample
    if request.form.get("skip"):
        worked_examples.passed(store, learner, dealt, PARTS - 1, now=now)
    elif found.blank is None:
        worked_examples.passed(store, learner, dealt, found.part, now=now)
    else:
        typed = request.form.get("line", "")[:40]
        problem = "" if request.form.get("show") else worked_examples.checked(found, typed)
        if problem:
            return make_response(_worked_page(dealt_id, found, typed=typed, problem=problem), 422)
        worked_examples.passed(store, learner, dealt, found.part, now=now)
        whole = worked_examples.filled(found)
        done = "Here is that line." if request.form.get("show") else "That line is right."
        return make_response(_worked_page(dealt_id, whole, done=done))
    return redirect(url_for("practise.show"), 303)


def _example_before(one: Waiting) -> str | None:
    """Return the page of the worked example that comes before a case; None where the case is asked at once."""
    found = worked_examples.wanted(request_context.store(), request_context.learner(), one, now=request_context.now())
    return None if found is None else _worked_page(one.dealt.id, found)
