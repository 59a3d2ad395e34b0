"""A worksheet to print: cases, and a key with the workings, as one HTML page; both bear the digest of the cases."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from cases.curriculum.bench_types import stage_of
from cases.curriculum.case_list import CaseList
from cases.curriculum.steps import distance_rule
from cases.errors import CaseError
from cases.procedure.case_type import Case, CaseType, draw
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field
from cases.procedure.settings import Settings

CAUTION = "For training; not a prescription. Refraction, drops and prescribing are licensed practice under local rules."

STYLE = """
@page { size: auto; margin: 16mm 15mm; }
@page { @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 8.5pt Georgia, serif; } }
body { font: 11pt/1.45 Georgia, "Times New Roman", serif; color: #111; max-width: 46rem; margin: 0 auto; }
h1 { font-size: 15pt; } .about, .caution { font-size: 9.5pt; }
.case { display: flow-root; break-inside: avoid; border-top: 0.5pt solid #777; padding: 3mm 0; }
.case h2 { font-size: 11.5pt; margin: 0 0 1mm; }
.case svg { float: right; width: 62mm; height: auto; margin-left: 6mm; }
.case p { margin: 0.6mm 0; } .asked { font-weight: bold; } .line { margin-top: 7mm !important; }
ol.working { margin: 1mm 0; padding-left: 6mm; }
.name { display: inline-block; min-width: 70mm; border-bottom: 0.5pt solid #111; }
.room { height: 6mm; border-bottom: 0.4pt dotted #999; margin: 0 !important; }
.brief { columns: 3; column-gap: 8mm; padding: 0; list-style: none; }
.brief li { break-inside: avoid; margin: 0.6mm 0; }
table.pages { width: 100%; border-collapse: collapse; }
table.pages > * > tr > td { padding: 0; }
table.pages > thead td { padding-bottom: 3mm; font-size: 9.5pt; }
table.pages > tfoot td { padding-top: 3mm; font-size: 8.5pt; }
.options { list-style: none; margin: 1mm 0; padding: 0; }
.options li { display: inline-block; position: relative; padding-left: 5.5mm; margin: 0.6mm 6mm 0.6mm 0; }
.options li::before { content: ""; position: absolute; left: 0; top: 0.9mm; width: 3mm; height: 3mm; }
.options li::before { border: 0.7pt solid #111; }
"""


_FITS = {
    False: "The key to this sheet has the same check code.",
    True: "This is the key to sheets with the same check code, and to no other.",
}
"""By whether it is a key."""


class NothingOnPaper(CaseError):
    """Cases that are all at the bench, which moves as paper does not."""

    def __init__(self) -> None:
        super().__init__("every case here is at the bench and cannot be answered on paper: add a type that can")


def drawn_list(types: Sequence[CaseType], *, count: int, seed: int, settings: Settings) -> CaseList:
    """Draw the cases of a worksheet, to be printed and kept: the types in turn, at seed, seed + 1, ...

    Raises
    ------
    CannotDraw
        When a type's ranges leave no case.
    """
    drawn = tuple(draw(types[number % len(types)], seed + number, settings) for number in range(count))
    return CaseList(drawn, seed, settings.level)


def on_paper(drawn: Sequence[Case]) -> list[tuple[int, Case]]:
    """Return those cases that can be answered without the bench, each with its number (from 1) among all.

    Raises
    ------
    NothingOnPaper
        When there is none.
    """
    found = [(number, case) for number, case in enumerate(drawn, 1) if stage_of(case.type.id) is None]
    if not found:
        raise NothingOnPaper
    return found


def worksheet(
    listed: CaseList,
    *,
    key: bool = False,
    brief: bool = False,
    version: str = "",
    title: str = "Retinoscopy worksheet",
) -> str:
    """Write a worksheet as one HTML document; the same cases always give the same sheet.

    Every page has the learner's name at its head, seed and digest at its foot, and its number where the browser prints
    one. key: add every answer with its working; brief: print the answers alone, a line each. version names the order
    that the cases are in ("A", "B"), which is `in_version`'s business. Cases at the bench are left out and named, and
    the others keep their numbers. Raises NothingOnPaper.
    """
    drawn, seed = listed.cases, listed.seed
    printed = on_paper(drawn)
    left_out = [number for number in range(1, len(drawn) + 1) if number not in {one for one, _ in printed}]
    title = escape(title) + (f", version {escape(version)}" if version else "")
    title += ", answers" if brief else ", with key" if key else ""
    rule = next(filter(None, (distance_rule(case.type) for _, case in printed)), "")
    mark = f"Sheet {seed}, check code {listed.digest}"
    if version:
        mark = f"Sheet {seed}, version {escape(version)}, check code {listed.digest}"
    parts = [
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title} {seed}</title>',
        f"<style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>",
        f'<p class="about">Sheet {seed}, {_counted(len(printed))}, {escape(listed.level)} level. </p>',
        f'<p class="about">Check code of the cases: <strong>{listed.digest}</strong>. {_FITS[key or brief]}</p>',
        f'<p class="caution">{CAUTION}</p>',
        *([f'<p class="about">{rule}</p>'] if (key or brief) and rule else ()),
        *([f'<p class="about">{_at_the_bench(left_out)}</p>'] if left_out else ()),
        # Head and foot of a table come again on every page that is printed of it.
        '<table class="pages" role="presentation">',
        f"<thead><tr><td>{'' if key or brief else _NAME}</td></tr></thead><tfoot><tr><td>{mark}</td></tr></tfoot>",
        "<tbody><tr><td>",
        *(_brief(printed) if brief else (_case(number, case, key=key) for number, case in printed)),
        "</td></tr></tbody></table>\n</body>\n</html>",
    ]
    return "\n".join(parts)


_NAME = 'Name <span class="name"></span>'


def _brief(printed: Sequence[tuple[int, Case]]) -> list[str]:
    """Write the answers alone."""
    lines = []
    for number, case in printed:
        answers = (escape(ask.kind.write(case.truth[ask.name])) for ask in case.type.asks)
        lines.append(f"<li><strong>{number}</strong> {'; '.join(answers)}</li>")
    return ['<ul class="brief">', *lines, "</ul>"]


def _counted(cases: int) -> str:
    return "one case" if cases == 1 else f"{cases} cases"


def _at_the_bench(numbers: Sequence[int]) -> str:
    """Say which cases are not on the sheet."""
    if len(numbers) == 1:
        return f"Case {numbers[0]} is at the bench, on the screen, and not on this sheet."
    listed = f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
    return f"Cases {listed} are at the bench, on the screen, and not on this sheet."


def _case(number: int, case: Case, *, key: bool) -> str:
    figure = case.type.figure(case.findings, f"case-{number}")
    lines = [f'<section class="case">\n<h2>Case {number}</h2>', figure.svg if figure else ""]
    lines += [f"<p>{escape(fact)}</p>" for fact in case.found]
    lines.append(f'<p class="asked">{escape(case.type.question(case.findings))}</p>')
    if case.type.marked_within:
        lines.append(f'<p class="within">{escape(case.type.marked_within)}</p>')
    if key:
        steps = "".join(f"<li>{escape(line.says)}</li>" for line in case.run.lines)
        lines.append(f'<ol class="working">{steps}</ol>')
    for ask in case.type.asks:
        if key:
            lines.append(f'<p class="answer">{_called(ask)} {escape(ask.kind.write(case.truth[ask.name]))}</p>')
        else:
            lines.append(_room_for(ask))
    if not key:
        # A line to work on for every step.
        lines += ['<p class="room"></p>'] * len(case.run.lines)
    lines.append("</section>")
    return "\n".join(lines)


def _room_for(ask: Field[Any]) -> str:
    """Leave room to answer one thing asked: a line to write on, or boxes beside what may be chosen."""
    match ask.kind:
        case Choice(options=options):
            how = "mark one"
        case Marks(options=options):
            how = "mark every one that holds, or none"
        case Order(options=options):
            how = "number them in order"
        case _:
            return f'<p class="line">{_called(ask)} <span class="name"></span></p>'
    boxes = "".join(f"<li>{escape(option.label)}</li>" for option in options)
    return f'<p>{_called(ask)} ({how})</p>\n<ul class="options">{boxes}</ul>'


def _called(ask: Field[Any]) -> str:
    return escape(ask.label) if ask.label.endswith("?") else f"{escape(ask.label)}:"
