"""A worksheet to print: cases fixed by their seeds, and a key with the workings, as one HTML page."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from cases.casetype import Case, CaseType, Settings, draw

CAUTION = "For training; not a prescription. Refraction, drops and prescribing are licensed practice under local rules."

STYLE = """
@page { size: auto; margin: 16mm 15mm; }
body { font: 11pt/1.45 Georgia, "Times New Roman", serif; color: #111; max-width: 46rem; margin: 0 auto; }
h1 { font-size: 15pt; } .about, .caution { font-size: 9.5pt; }
.case { display: flow-root; break-inside: avoid; border-top: 0.5pt solid #777; padding: 3mm 0; }
.case h2 { font-size: 11.5pt; margin: 0 0 1mm; }
.case svg { float: right; width: 62mm; height: auto; margin-left: 6mm; }
.case p { margin: 0.6mm 0; } .asked { font-weight: bold; } .line { margin-top: 7mm !important; }
ol.working { margin: 1mm 0; padding-left: 6mm; }
.name { display: inline-block; min-width: 70mm; border-bottom: 0.5pt solid #111; }
"""


def sheet_cases(types: Sequence[CaseType], *, count: int, seed: int, settings: Settings) -> list[Case]:
    """Draw the cases of a worksheet: the types in turn, at seed, seed + 1, ..."""
    return [draw(types[number % len(types)], seed + number, settings) for number in range(count)]


def worksheet(types: Sequence[CaseType], *, count: int, seed: int, settings: Settings, key: bool = False) -> str:
    """Write a worksheet as one HTML document; the same arguments always give the same sheet.

    key: add every answer with its working. Raises CannotDraw where a type's ranges leave no case.
    """
    drawn = sheet_cases(types, count=count, seed=seed, settings=settings)
    return sheet_page(drawn, seed=seed, level=settings.level, key=key)


def sheet_page(
    drawn: Sequence[Case], *, seed: int, level: str, key: bool = False, title: str = "Retinoscopy worksheet"
) -> str:
    """Write cases that are drawn already as one HTML document; seed and level are only named on it."""
    title = escape(title) + (", with key" if key else "")
    parts = [
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{title} {seed}</title>',
        f"<style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>",
        f'<p class="about">Sheet {seed}, {len(drawn)} cases, {escape(level)} level. '
        'Name <span class="name"></span></p>',
        f'<p class="caution">{CAUTION}</p>',
        *(_case(number, case, key=key) for number, case in enumerate(drawn, 1)),
        "</body>\n</html>",
    ]
    return "\n".join(parts)


def _case(number: int, case: Case, *, key: bool) -> str:
    figure = case.type.figure(case.findings, f"case-{number}")
    lines = [f'<section class="case">\n<h2>Case {number}</h2>', figure.svg if figure else ""]
    lines += [f"<p>{escape(fact)}</p>" for fact in case.type.found(case.findings)]
    lines.append(f'<p class="asked">{escape(case.type.question(case.findings))}</p>')
    if key:
        steps = "".join(f"<li>{escape(line.says)}</li>" for line in case.run.lines)
        lines.append(f'<ol class="working">{steps}</ol>')
    for ask in case.type.asks:
        answer = escape(ask.kind.write(case.truth[ask.name])) if key else '<span class="name"></span>'
        lines.append(f'<p class="{"answer" if key else "line"}">{escape(ask.label)}: {answer}</p>')
    lines.append("</section>")
    return "\n".join(lines)
