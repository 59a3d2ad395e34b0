"""Reference: conventions, formulas, tables, evidence and cautions; the tables are computed by the core as cases are."""

from __future__ import annotations

import math
from dataclasses import dataclass

from flask import Blueprint, abort, render_template, request

from cases.curriculum import examination_names
from cases.curriculum.register import all_families, all_slips, all_types
from cases.evidence.sources import UNPUBLISHED, cited
from cases.notation.prescription import write_distance, write_power, write_size
from cases.optics.norms import NORMS, Norm
from cases.optics.tolerances import LENS_TABLES, PUBLISHED, Bands
from cases.optics.vergence import DISTANCE_RULE, vergence, working_vergence
from cases.procedure.case_type import CaseType
from cases.procedure.chain import SlipName
from cases.procedure.kinds import Lens
from cases.recall.glossary import TERMS
from cases.worksheet import CAUTION
from quiz.practice.settings import NormKind
from quiz.web.pictures import picture
from quiz.web.reference.evidence_views import all_strengths, told

pages = Blueprint("reference", __name__, url_prefix="/reference")

DISTANCES_CM = (33, 40, 50, 57, 66, 67, 80, 100)
CYLINDERS = (0.5, 1.0, 1.5, 2.0, 3.0)
OUT_BY = 0.25
"""Dioptres: the table of distances says how far one may drift for it. Common practice, no published source."""


@dataclass(frozen=True)
class DistanceRow:
    """A working distance in dioptres, and how far one may drift for a quarter dioptre."""

    distance: str
    exact: str
    taken_off: str
    near: str
    far: str


@dataclass(frozen=True)
class AxisRow:
    """How far an axis may be out before a residual of a quarter dioptre of cylinder is left."""

    cylinder: str
    tolerance: str
    at_ten: str


@dataclass(frozen=True)
class LensTable:
    """A standard's limits for finished lenses."""

    title: str
    measured: str
    rows: tuple[tuple[str, str], ...]
    source: str


@dataclass(frozen=True)
class TypeLine:
    """A case type with what it rests on."""

    id: str
    title: str
    level: str
    steps: str
    sources: str


@dataclass(frozen=True)
class FamilyLines:
    """The types of one family."""

    title: str
    types: tuple[TypeLine, ...]


@dataclass(frozen=True)
class SlipEntry:
    """A slip that the app knows by name; `source` is "" for common practice."""

    title: str
    tells: str
    source: str


@dataclass(frozen=True)
class ReferencePage:
    """What the template receives."""

    distances: tuple[DistanceRow, ...]
    axes: tuple[AxisRow, ...]
    lenses: tuple[LensTable, ...]
    types: int
    """How many there are."""
    slips: int
    """How many are told from an answer."""
    slips_of_examination: int
    """How many only the log of a whole examination shows."""
    norms: tuple[Norm, ...]
    caution: str = CAUTION
    distance_rule: str = DISTANCE_RULE


def distance_row(cm: float) -> DistanceRow:
    """Give a working distance in dioptres, and the nearest and farthest at which it is a quarter dioptre out."""
    exact = vergence(cm)
    return DistanceRow(
        write_distance(cm),
        f"{exact:.3f}",
        write_size(working_vergence(cm)),
        # Rounded inwards: at the distances that are given it is not more than that.
        f"{math.ceil(100 / (exact + OUT_BY))}",
        f"{math.floor(100 / (exact - OUT_BY))}",
    )


def axis_row(cylinder: float) -> AxisRow:
    """Give the axis error in degrees that leaves `Lens.residual` of a cylinder in D, 2C·sin δ, and what 10° leave."""
    return AxisRow(
        f"{cylinder:.2f}",
        f"{math.degrees(math.asin(Lens().residual / (2 * cylinder))):.1f}",
        f"{2 * cylinder * math.sin(math.radians(10)):.2f}",
    )


def lens_table(one: Bands) -> LensTable:
    """Give a table of tolerances with its source, and with its standing where that is another than published."""
    standing = "" if one.standing == PUBLISHED else f" These figures are {one.standing}."
    return LensTable(one.title, f"{one.measured.capitalize()}, D", one.rows(), f"{told(*one.sources)}{standing}")


def _type_line(one: CaseType) -> TypeLine:
    steps = "; ".join(dict.fromkeys(step.skill.title for step in one.steps))
    return TypeLine(one.id, one.title, one.level, steps, told(*one.sources))


def _slips_of(*, examination: bool) -> list[SlipName]:
    own = {one.id for one in examination_names.SLIPS}
    return [one for one in all_slips().values() if (one.id in own) == examination]


@pages.get("")
def show() -> str:
    """Show the reference."""
    page = ReferencePage(
        distances=tuple(map(distance_row, DISTANCES_CM)),
        axes=tuple(map(axis_row, CYLINDERS)),
        lenses=tuple(map(lens_table, LENS_TABLES)),
        types=len(all_types()),
        slips=len(_slips_of(examination=False)),
        slips_of_examination=len(_slips_of(examination=True)),
        norms=NORMS,
    )
    return render_template("reference.html", page=page, write_power=write_power, norm_kind=NormKind, told=told)


@pages.get("/types")
def types() -> str:
    """List the case types by family with their steps and sources, on a page of their own, for its weight."""
    families = tuple(
        FamilyLines(family.title, tuple(_type_line(one) for one in all_types().values() if one.family == family))
        for family in all_families()
    )
    return render_template("reference_types.html", families=families)


@pages.get("/slips")
def slips() -> str:
    """List the slips by name, on a page of their own: with them the reference would weigh more than a page should.

    Those that only a whole examination shows are asked for by `of=examination`: they are told from its log.
    """
    of_examination = request.args.get("of") == "examination"
    lines = tuple(
        SlipEntry(
            f"{one.title[:1].upper()}{one.title[1:]}",
            one.tells,
            "" if cited(one.sources) == UNPUBLISHED else told(*one.sources),
        )
        for one in sorted(_slips_of(examination=of_examination), key=lambda one: one.title)
    )
    return render_template("reference_slips.html", slips=lines, of_examination=of_examination)


@pages.get("/terms")
def terms() -> str:
    """List the terms of the trade, each with a sentence."""
    return render_template("reference_terms.html", terms=TERMS)


@pages.get("/terms/<term_id>")
def term(term_id: str) -> str:
    """Show one term with its figure, and the terms beside it."""
    place = next((number for number, one in enumerate(TERMS) if one.id == term_id), None)
    if place is None:
        abort(404)
    beside = (TERMS[place - 1] if place else None, TERMS[place + 1] if place + 1 < len(TERMS) else None)
    found = TERMS[place]
    return render_template("reference_term.html", term=found, picture=picture(found.figure()), beside=beside)


@pages.get("/evidence")
def evidence() -> str:
    """List the strengths of sources, each with how many claims rest on it."""
    return render_template("reference_evidence.html", strengths=all_strengths(), strength=None)


@pages.get("/evidence/<strength_id>")
def strength(strength_id: str) -> str:
    """List every claim whose strongest source is of one strength, and those sources with what they found."""
    found = next((one for one in all_strengths() if one.id == strength_id), None)
    if found is None:
        abort(404)
    return render_template("reference_evidence.html", strengths=(), strength=found)
