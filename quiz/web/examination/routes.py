"""The whole examination: choose a patient, do it act by act, and see what each act did to what was written."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlencode

from flask import Blueprint, Response, abort, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as Answered

from cases.curriculum.bench_stage import SLEEVE
from cases.curriculum.examination_stage import bench_of, sweep_words
from cases.errors import CaseError
from cases.patients.patient import SIDES
from cases.patients.population import EUROPE
from quiz.classroom import set_patients
from quiz.classroom.set_patients import UnknownSet
from quiz.practice import learners
from quiz.practice.examining import examinations
from quiz.practice.examining.examinations import OverAlready, UnderWay
from quiz.practice.forms import BadFields
from quiz.web import request_context
from quiz.web.examination.act_forms import read_form, side_of, sleeve_of, streak_of
from quiz.web.examination.end_views import end_page
from quiz.web.examination.views import examination_page, start_page

pages = Blueprint("examination", __name__, url_prefix="/examination")

PART = "X-Part"
"""The header by which the page's own script asks for the page without what stands round it."""


@pages.get("")
def start() -> str:
    """Let a patient be chosen, or an examination gone on with."""
    store, learner = request_context.store(), request_context.learner()
    page = start_page(
        list(examinations.latest(store, learner)),
        learners.settings_of(learner).region,
        set_patients.offers(store, learner),
    )
    return render_template("examination_start.html", page=page)


@pages.post("")
def begin() -> Answered:
    """Begin with one of the ten, or with a drawn patient."""
    store, learner = request_context.store(), request_context.learner()
    now, lots = request_context.now(), request_context.lots()
    vignette = request.form.get("vignette", "")
    if "set" in request.form:
        number, place = (request_context.whole(one) for one in _two(request.form["set"]))
        begun = set_patients.begin(store, learner, number, place, now=now, lots=lots)
        return redirect(url_for("examination.lead_on", examination_id=begun), 303)
    if vignette:
        begun = examinations.begin_vignette(store, learner, vignette, now=now, lots=lots)
    else:
        patient = examinations.drawn(lots.new_id(), request.form.get("ages", "any"), request.form.get("region", EUROPE))
        begun = examinations.begin(store, learner, patient, now=now, lots=lots)
    return redirect(url_for("examination.show", examination_id=begun, eye="right"), 303)


def _two(text: str) -> tuple[str, str]:
    """Read which patient of which set a form names."""
    number, _, place = text.partition(" ")
    if not (number.isdecimal() and place.isdecimal() and len(text) < 20):
        raise UnknownSet
    return number, place


def _own(examination_id: str) -> UnderWay:
    return examinations.own(request_context.store(), request_context.learner(), examination_id)


@pages.get("/<examination_id>")
def lead_on(examination_id: str) -> Answered:
    """Lead to the examination as it stands, or to its end."""
    stands = _own(examination_id)
    if stands.over:
        return redirect(url_for("examination.end", examination_id=examination_id), 303)
    return redirect(url_for("examination.show", examination_id=examination_id, eye="right"), 303)


@pages.get("/<examination_id>/<any(right, left):eye>")
def show(examination_id: str, eye: str) -> str | Answered:
    """Show the patient, the eye at the bench and all that can be done at this moment."""
    stands = _own(examination_id)
    if stands.over:
        return redirect(url_for("examination.end", examination_id=examination_id), 303)
    return _page(stands, {**request.args, "eye": eye}, {})


@pages.get("/<examination_id>/<any(right, left):eye>/seen")
def tell(examination_id: str, eye: str) -> Response:
    """Say what is seen of this eye now, for the script."""
    stands = _own(examination_id)
    looked = {**request.args, "eye": eye}
    side = side_of(looked)
    state, streak, sleeve = stands.examined.state, streak_of(looked), sleeve_of(looked, SLEEVE)
    bench = bench_of(stands.patient, side, state, stands.minute, streak=streak, sleeve=sleeve)
    return jsonify(seen=" ".join(sweep_words(stands.patient, side, bench)))


@pages.post("/<examination_id>/act")
def act(examination_id: str) -> Answered:
    """Do something, and show the examination after it; what cannot be done is sent back with the reason."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    stands, given = _own(examination_id), request.form.to_dict()
    if given.get("do") not in ("end",):
        try:
            done = read_form(given, stands)
            if done:
                sent_as = given.get("sent", "")[:60] or request_context.lots().new_id()
                stands = examinations.do(store, learner, examination_id, done, sent_as=sent_as, now=now)
        except BadFields as error:
            return make_response(_page(stands, given, error.faults), 422)
        except (OverAlready, CaseError) as error:
            return make_response(_page(stands, given, {"": str(error)}), 422)
    if given.get("end"):
        examinations.hand_in(store, learner, examination_id, now=now)
        return redirect(url_for("examination.end", examination_id=examination_id), 303)
    back = url_for("examination.show", examination_id=examination_id, eye=side_of(given))
    looked = {name: given[name] for name in ("streak", "sleeve") if given.get(name)}
    return redirect(f"{back}?{urlencode(looked)}", 303)


@pages.get("/<examination_id>/act")
def again(examination_id: str) -> Answered:
    """Lead on from the address that forms are sent to."""
    return redirect(url_for("examination.lead_on", examination_id=_own(examination_id).row.id), 303)


def _page(stands: UnderWay, looked: Mapping[str, str], faults: Mapping[str, str]) -> str:
    part = request.headers.get(PART) == "examination"
    page = examination_page(stands, looked, sent_as=request_context.lots().new_id(), faults=faults, whole=not part)
    return render_template("examination.html", page=page, fragment=part)


@pages.get("/<examination_id>/end")
def end(examination_id: str) -> str | Answered:
    """Show the record beside a right one, and where the difference came from; perhaps with one act undone."""
    stands = _own(examination_id)
    if not stands.over:
        return redirect(url_for("examination.show", examination_id=examination_id, eye="right"), 303)
    undo, right, eye = (request.args.get(name, "") for name in ("undo", "right", "of"))
    if undo and not (undo.isdecimal() and len(undo) < 5 and int(undo) < len(stands.acts)):
        abort(404)
    if eye and eye not in SIDES:
        abort(404)
    page = end_page(
        stands, undo=int(undo) if undo else None, put_right=right, of=side_of({"eye": eye}) if eye else None
    )
    return render_template("examination_end.html", page=page, address=request.path)
