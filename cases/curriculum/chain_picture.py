"""A case type's chain drawn from what its steps declare to read and give: as an SVG picture, and as lines of text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Any

from cases.procedure.case_type import CaseType
from cases.procedure.keys import Key, Part, Rule, Step

LEFT, ACROSS, DOWN, HEAD = 300, 46, 34, 130
"""In px: room for the names of the steps, between two values, between two rows, and for the names of the values."""


@dataclass(frozen=True)
class Row:
    """One thing that happens in a chain: what it reads, what it gives, by name and in order."""

    title: str
    reads: tuple[str, ...]
    gives: tuple[str, ...]
    sometimes: bool = False
    """Whether only some cases call for it."""


def _names(keys: tuple[Key[Any], ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(key.whole.name if isinstance(key, Part) else key.name for key in keys))


def _read_by(step: Step) -> tuple[str, ...]:
    rules: list[Rule[Any]] = [*step.rules]
    for slip in step.slips:
        rules += slip.rules
    return _names(tuple(key for rule in rules for key in rule.needs))


def rows(case_type: CaseType) -> Iterator[Row]:
    """Yield the rows of a type's chain, from its findings to its answer."""
    yield Row("what is found", (), _names(case_type.findings.fields))
    if case_type.begin.keys:
        yield Row("to begin with", _names(case_type.begin.rule.needs), _names(case_type.begin.keys))
    for step in case_type.steps:
        yield Row(step.skill.id, _read_by(step), _names(step.gives), step.sometimes)
    yield Row("the answer", _names(case_type.answer.rule.needs), _names(case_type.answer.keys))


def as_lines(case_type: CaseType) -> str:
    """Write a chain as text: a line for each step, what it reads before the arrow and what it gives behind."""
    lines = [f"{case_type.id}: {case_type.title}"]
    for row in rows(case_type):
        reads = f"{', '.join(row.reads)} → " if row.reads else ""
        lines.append(f"  {row.title}{' (in some cases)' if row.sometimes else ''}: {reads}{', '.join(row.gives)}")
    return "\n".join(lines)


def as_svg(case_type: CaseType) -> str:
    """Draw a chain: a row a step, and a line a value, with a ring where it is read and a disc where it is given."""
    every = list(rows(case_type))
    values = list(dict.fromkeys(name for row in every for name in (*row.gives, *row.reads)))
    at = {name: LEFT + ACROSS * (place + 1) for place, name in enumerate(values)}
    width, height = LEFT + ACROSS * (len(values) + 2), HEAD + DOWN * (len(every) + 1)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        'font-family="sans-serif" font-size="13">',
        f"<title>{escape(case_type.id)}: what each step reads and gives</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for name in values:
        touched = [number for number, row in enumerate(every) if name in (*row.reads, *row.gives)]
        top, bottom = (HEAD + DOWN * number for number in (touched[0], touched[-1]))
        parts.append(f'<path d="M{at[name]} {top}V{bottom}" stroke="#667" fill="none"/>')
        parts.append(f'<text transform="translate({at[name] + 4} {HEAD - 22}) rotate(-50)">{escape(name)}</text>')
    for number, row in enumerate(every):
        y = HEAD + DOWN * number
        shown = escape(row.title + (" (in some cases)" if row.sometimes else ""))
        parts.append(f'<path d="M{LEFT} {y}H{width - ACROSS}" stroke="#dde" fill="none"/>')
        parts.append(f'<text x="{LEFT - 10}" y="{y + 4}" text-anchor="end">{shown}</text>')
        parts += [
            f'<circle cx="{at[one]}" cy="{y}" r="7" fill="#fff" stroke="#335" stroke-width="2"/>' for one in row.reads
        ]
        parts += [f'<circle cx="{at[one]}" cy="{y}" r="4" fill="#335"/>' for one in row.gives]
    foot = HEAD + DOWN * len(every) + 4
    parts.append(f'<text x="{LEFT}" y="{foot}">○ read, by the step or one of its slips   ● given</text></svg>')
    return "\n".join(parts)
