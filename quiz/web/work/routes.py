"""Work one out: any computing type with one's own numbers; a page that can be linked to and printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby

from flask import Blueprint, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum.register import all_families, all_skills
from cases.curriculum.steps import distance_rule
from cases.errors import CaseError
from cases.evidence.sources import cites
from cases.figures.lenses import power_cross
from cases.procedure.case_type import CannotDraw, CaseType, draw
from cases.procedure.kinds import Cross, Lens
from quiz.practice import learners
from quiz.practice.forms import Shown, shown
from quiz.practice.own_findings.referrals import referrals
from quiz.practice.own_findings.working_out import (
    BadFindings,
    Computed,
    Worked,
    computing_types,
    inputs_for,
    texts_of,
    work_out,
)
from quiz.practice.settings import LearnerSettings
from quiz.web import request_context
from quiz.web.pictures import Picture, picture
from quiz.web.work.line_view import LineView, line_view
from quiz.web.work.own_types import forget_own_types, keep_own_types, own_types
from quiz.web.work.type_links import ReferralLink, TypeLink, referral_link, type_link

pages = Blueprint("work", __name__, url_prefix="/work-one-out")

EXAMPLE = 1
"""The seed of the case that an example is."""


@dataclass(frozen=True)
class FamilyLinks:
    """The types of one family."""

    title: str
    types: tuple[TypeLink, ...]


@dataclass(frozen=True)
class WorkList:
    """What the list's template receives."""

    families: tuple[FamilyLinks, ...]
    line: LineView
    favourites: tuple[TypeLink, ...]
    last: tuple[TypeLink, ...]
    """Those used last that are no favourites."""


@dataclass(frozen=True)
class Solved:
    """What was worked out."""

    answers: tuple[Computed, ...]
    first_form: str
    """"minus" or "plus": which form stands first."""
    warnings: tuple[str, ...]
    found: tuple[str, ...]
    lines: tuple[tuple[str, str], ...]
    """(step, what it did)."""
    picture: Picture | None
    cross: Picture | None


@dataclass(frozen=True)
class WorkPage:
    """What a type's template receives."""

    type_id: str
    title: str
    sources: tuple[str, ...]
    parts: tuple[tuple[str, tuple[Shown, ...]], ...]
    """Fields that stand together, under a name or ""."""
    problem: str | None
    faulty: bool
    solved: Solved | None
    here: str
    example: str | None
    referrals: Mapping[str, ReferralLink]
    """By the name of the field at fault, "" for the whole: where what was typed belongs."""
    favourite: bool
    """Whether this type is a favourite of this browser."""
    rule: str
    """How a distance is turned into dioptres, where one is among the findings; else ""."""


@pages.get("")
def show() -> Response:
    """Work out one line of findings, and list what can be worked out."""
    types = computing_types().values()
    families = tuple(
        FamilyLinks(
            family.title,
            tuple(type_link(one) for one in types if one.family == family),
        )
        for family in all_families()
    )
    line = line_view(request.args.get("line", ""), _settings().form)
    own = own_types()
    page = WorkList(
        tuple(one for one in families if one.types),
        line,
        tuple(map(type_link, own.favourite_types)),
        tuple(map(type_link, own.last_others)),
    )
    return make_response(render_template("work.html", page=page), 422 if line.problem else 200)


@pages.get("/<type_id>")
def one(type_id: str) -> Response:
    """Show the form of a type, and what comes out of the findings in the address when there are any."""
    case_type = computing_types().get(type_id)
    if case_type is None:
        abort(404)
    settings = _settings()
    form = inputs_for(case_type)
    texts = {one.name: "; ".join(request.args.getlist(one.name)) for one in form if one.name in request.args}
    solved, faults = None, dict[str, str]()
    if texts:
        # A list of boxes that were all left empty sends nothing at all.
        given = {one.name: "none" for one in form if one.how == "many"}
        try:
            solved = _solved(work_out(case_type, given | texts))
        except BadFindings as error:
            faults = error.faults
    own = own_types()
    page = _page(
        case_type, texts or _usual(case_type, settings), faults, solved, settings, favourite=type_id in own.favourites
    )
    response = make_response(render_template("work_type.html", page=page), 422 if faults else 200)
    return keep_own_types(response, own.used(type_id)) if solved else response


@pages.post("/<type_id>/favourite")
def favour(type_id: str) -> Response:
    """Make a type a favourite of this browser, or take it out of them, and lead back to it."""
    if type_id not in computing_types():
        abort(404)
    return keep_own_types(redirect(url_for("work.one", type_id=type_id), 303), own_types().turned(type_id))


@pages.post("/forget")
def forget() -> Response:
    """Let this browser forget the favourites and the types used last."""
    return forget_own_types(redirect(url_for("work.show"), 303))


def _settings() -> LearnerSettings:
    # A link may be opened by anyone: nobody has to say who they are to see a sum.
    who = request_context.known_learner()
    return learners.settings_of(who) if who else LearnerSettings()


def _usual(case_type: CaseType, settings: LearnerSettings) -> dict[str, str]:
    """Return what stands in a form to begin with: one's own distance and cylinder form."""
    own = {"distance_cm": f"{settings.distance_cm:g} cm", "form": settings.form}
    return {field.name: own[field.name] for field in case_type.findings.fields if field.name in own}


def _page(
    case_type: CaseType,
    texts: Mapping[str, str],
    faults: Mapping[str, str],
    solved: Solved | None,
    settings: LearnerSettings,
    *,
    favourite: bool,
) -> WorkPage:
    form = shown(inputs_for(case_type), texts, faults, before="blank-").values()
    parts = groupby(form, key=lambda one: one.input.entry)
    return WorkPage(
        type_id=case_type.id,
        title=case_type.title,
        sources=cites(case_type.sources),
        parts=tuple((legend, tuple(blanks)) for legend, blanks in parts),
        problem=faults.get(""),
        faulty=bool(faults),
        solved=solved,
        here=url_for("work.one", type_id=case_type.id),
        example=_example(case_type, settings),
        referrals={name: referral_link(one) for name, one in referrals(case_type, texts, faults).items()},
        favourite=favourite,
        rule=distance_rule(case_type),
    )


def _example(case_type: CaseType, settings: LearnerSettings) -> str | None:
    try:
        case = draw(case_type, EXAMPLE, settings.for_drawing)
    except CannotDraw:
        return None
    return url_for("work.one", type_id=case_type.id, **texts_of(case_type, case.findings))  # type: ignore[arg-type]


def _solved(worked: Worked) -> Solved:
    case = worked.case
    skills = all_skills()
    cross = None
    for ask in case.type.asks:
        if isinstance(ask.kind, Lens | Cross):
            try:
                cross = picture(power_cross(case.truth[ask.name], uid="cross"))
            except CaseError:
                cross = None
            break
    return Solved(
        answers=worked.answers,
        first_form="plus" if case.form == "plus" else "minus",
        warnings=worked.warnings,
        found=case.type.found(case.findings),
        lines=tuple((skills[line.step].title, line.says) for line in case.run.lines),
        picture=_found(worked),
        cross=cross,
    )


def _found(worked: Worked) -> Picture | None:
    try:
        return picture(worked.case.type.figure(worked.case.findings, "found"))
    except CaseError:
        # A drawing has its own limits; the sum stands without it.
        return None
