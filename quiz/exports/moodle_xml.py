"""A drill's cases as Moodle XML: numbers with a tolerance, several numbers as one cloze question, choices as choices.

Slips are wrong answers with their feedback. The format marks each number alone, so what the app marks together (a
prescription in plus-cylinder form, a power cross) is left out.
Source: MoodleDocs, "Moodle XML format", "Embedded Answers (Cloze) question type", "Numerical question type" (from
memory of the published pages). Written with the standard library.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import permutations
from typing import Any
from xml.etree.ElementTree import Element, SubElement

from cases.curriculum.case_list import CaseList
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.option_verdicts import option_verdicts
from cases.worksheet import CAUTION
from quiz.exports.carried import ONLY_IN_THE_APP, carried, left_out_lines
from quiz.exports.numeric_fields import Accepted, Asked, NotCarried, NumberField, Piece, Questions, Range, slip_words
from quiz.exports.qti_item import document, number

TOGETHER = (
    "the app marks two powers together (those of a power cross, or of a prescription in plus-cylinder form), and this "
    "format marks each number alone"
)
COMBINED = "the app credits more than one combination of answers, and this format marks each part alone"
NONE = "none of these"
_CLOZE_SIGNS = str.maketrans({sign: f"\\{sign}" for sign in '\\}#~/"'})


@dataclass(frozen=True)
class Answer:
    """One answer that is listed: a number with its tolerance or a text, per cent of the mark, and what is said."""

    text: str
    per_cent: float
    says: str = ""
    tolerance: float | None = None


def check(found: Questions) -> None:
    """Refuse what cannot be marked number by number.

    Raises
    ------
    NotCarried
        With the reason.
    """
    several = 0
    for asked in found.asked:
        ways = {way[asked.ask.name] for way in found.ways}
        if any(len(one.terms) > 1 for way in ways for one in _asked_form(way)):
            raise NotCarried(TOGETHER)
        several += len(ways) > 1
        if several > 1 or (len(ways) > 1 and len(asked.fields) > 1):
            raise NotCarried(COMBINED)


def _asked_form(way: Accepted) -> tuple[Range, ...]:
    """Return the ranges of a number, or of a lens in the form that is asked for; none of a choice."""
    first = way[0] if way else ""
    return first.ranges if isinstance(first, Piece) else ()


def moodle_xml(title: str, listed: CaseList) -> bytes:
    """Return the cases of a worksheet as one file of questions.

    Raises
    ------
    NothingOnPaper, NothingToMark
        When no case is left.
    """
    found, left_out = carried(listed.cases, check)
    root = Element("quiz")
    category = SubElement(root, "question", {"type": "category"})
    _text(category, "category", f"$course$/top/{title.replace('/', '//')}")
    about = (f"Check code of the cases: {listed.digest}.", CAUTION, *left_out_lines(left_out), ONLY_IN_THE_APP)
    _html(category, "info", "".join(f"<p>{escape(line)}</p>" for line in about))
    for case_number, questions in found:
        root.append(question(questions, case_number))
    return document(root)


def question(found: Questions, case_number: int) -> Element:
    """Write one case as a question of the type that fits what is asked."""
    only = found.asked[0] if len(found.asked) == 1 else None
    if only and len(only.fields) == 1:
        root = _begun(found, case_number, "numerical", _shown(found, case_number))
        for answer in _numbers(found, only, only.fields[0]):
            _listed(root, answer)
        for name, value in (("unitgradingtype", "0"), ("unitpenalty", "0.1"), ("showunits", "3"), ("unitsleft", "0")):
            SubElement(root, name).text = value
        return root
    if only and not only.fields and not isinstance(only.ask.kind, Order):
        root = _begun(found, case_number, "multichoice", _shown(found, case_number))
        several = isinstance(only.ask.kind, Marks)
        for name, value in (("single", str(not several).lower()), ("shuffleanswers", "0"), ("answernumbering", "none")):
            SubElement(root, name).text = value
        for answer in _options(found, only):
            _listed(root, answer)
        return root
    return _begun(found, case_number, "cloze", _shown(found, case_number) + "".join(_cloze(found)))


def _begun(found: Questions, case_number: int, kind: str, text: str) -> Element:
    case = found.case
    root = Element("question", {"type": kind})
    _text(root, "name", f"Case {case_number:03d}")
    body = _html(root, "questiontext", text)
    figure = case.type.figure(case.findings, f"case-{case_number:03d}")
    if figure:
        file = SubElement(body, "file", {"name": f"case-{case_number:03d}.svg", "path": "/", "encoding": "base64"})
        file.text = base64.b64encode(figure.svg.encode()).decode()
    steps = "".join(f"<li>{escape(line.says)}</li>" for line in case.run.lines)
    answers = "".join(
        f"<p>{escape(ask.label)}: {escape(ask.kind.write(case.truth[ask.name]))}</p>" for ask in case.type.asks
    )
    _html(root, "generalfeedback", f"<ol>{steps}</ol>{answers}")
    if kind != "cloze":
        SubElement(root, "defaultgrade").text = "1"
    SubElement(root, "penalty").text = "0.3333333"
    SubElement(root, "hidden").text = "0"
    return root


def _shown(found: Questions, case_number: int) -> str:
    case = found.case
    figure = case.type.figure(case.findings, "figure")
    picture = (
        f'<p><img src="@@PLUGINFILE@@/case-{case_number:03d}.svg" alt="{escape(figure.title)}"></p>' if figure else ""
    )
    facts = "".join(f"<p>{escape(fact)}</p>" for fact in case.found)
    asks = f"<p><strong>{escape(case.type.question(case.findings))}</strong></p>"
    return facts + picture + asks + "".join(f"<p>{escape(line, quote=False)}</p>" for line in found.how)


def _text(parent: Element, name: str, text: str) -> Element:
    one = SubElement(parent, name)
    SubElement(one, "text").text = text
    return one


def _html(parent: Element, name: str, text: str) -> Element:
    one = _text(parent, name, text)
    one.set("format", "html")
    return one


def _listed(root: Element, answer: Answer) -> None:
    plain = answer.tolerance is not None
    one = SubElement(
        root, "answer", {"fraction": f"{answer.per_cent:.7g}", "format": "moodle_auto_format" if plain else "html"}
    )
    SubElement(one, "text").text = answer.text if plain else escape(answer.text)
    _html(one, "feedback", escape(answer.says))
    if answer.tolerance is not None:
        SubElement(one, "tolerance").text = number(answer.tolerance)


# --- numbers -----------------------------------------------------------------------------------------------------


def _numbers(found: Questions, asked: Asked, field: NumberField) -> list[Answer]:
    """List the right ranges of a number, then the slips that lie outside all of them."""
    right = [one for way in found.ways for one in _ranges(way, asked, field)]
    listed = [answer for one in right for answer in _of_range(one, field)]
    met: dict[str, tuple[float, list[str]]] = {}
    for slip in found.slips:
        for one in _ranges(slip.ways, asked, field):
            value = (one.low + one.high) / 2
            if not any(_reaches(row, value) for row in right):
                titles = met.setdefault(number(round(value, 3)), ((one.high - one.low) / 2, []))[1]
                titles += [title for title in slip.titles if title not in titles]
    return [*listed, *(Answer(text, 0, slip_words(titles), size) for text, (size, titles) in met.items())]


def _reaches(one: Range, value: float) -> bool:
    return any(
        one.low + turn - 1e-6 <= value <= one.high + turn + 1e-6 for turn in ((0, 180, -180) if one.wraps else (0,))
    )


def _ranges(way: Mapping[str, Any], asked: Asked, field: NumberField) -> Iterator[Range]:
    rows = [one for one in _asked_form(way[asked.ask.name]) if one.terms == ((1, field.name),)]
    if not rows and field.wraps:
        # Without a cylinder, or with so weak a one, every axis is right.
        rows = [Range(((1, field.name),), field.value - 360, field.value + 360)]
    yield from rows


def _of_range(one: Range, field: NumberField) -> Iterator[Answer]:
    """Write a range as a value with its tolerance: the right answer first, and what is left at one end."""
    middle = field.value if one.low <= field.value <= one.high else (one.low + one.high) / 2
    near = min(middle - one.low, one.high - middle)
    spans = [(middle, near)]
    if one.high - middle > near + 1e-6:
        spans.append(((middle + near + one.high) / 2, (one.high - middle - near) / 2))
    if middle - one.low > near + 1e-6:
        spans.append(((middle - near + one.low) / 2, (middle - near - one.low) / 2))
    for turn in (0, 180, -180) if one.wraps else (0,):
        for value, tolerance in spans:
            yield Answer(number(value + turn), 100, "", tolerance + 1e-6)


# --- choices -----------------------------------------------------------------------------------------------------


def _options(found: Questions, asked: Asked) -> list[Answer]:
    ask = asked.ask
    rights = [way[ask.name] for way in found.ways]
    match ask.kind:
        case Choice(options=options):
            says = {one.option: one.because for one in option_verdicts(found.case) if one.ask == ask.name}
            return [Answer(one.label, 100.0 if one.id in rights else 0.0, says[one.id]) for one in options]
        case Marks(options=options):
            chosen = rights[0]
            share = round(100 / len(chosen), 5) if chosen else 0
            listed = [Answer(one.label, share if one.id in chosen else -100.0) for one in options]
            return [*listed, Answer(NONE, -100.0 if chosen else 100.0)]
        case Order(options=options):
            labels = {one.id: one.label for one in options}
            orders = permutations(labels)
            return [Answer("; ".join(labels[at] for at in one), 100.0 if one in rights else 0.0) for one in orders]
    raise NotCarried(f"{ask.label}: no choice")


def _cloze(found: Questions) -> Iterator[str]:
    """Yield a paragraph for every number and choice, each marked alone."""
    for asked in found.asked:
        if len(asked.fields) > 1:
            yield f"<p>{escape(asked.ask.label, quote=False)}:</p>"
        for field in asked.fields:
            box = _embedded("NUMERICAL", _numbers(found, asked, field))
            yield f"<p>{escape(field.label, quote=False)}: {box} {field.unit}</p>"
        if not asked.fields:
            kind = "MULTIRESPONSE" if isinstance(asked.ask.kind, Marks) else "MULTICHOICE_V"
            yield f"<p>{escape(asked.ask.label, quote=False)}:</p><p>{_embedded(kind, _options(found, asked))}</p>"


def _embedded(kind: str, answers: Sequence[Answer]) -> str:
    parts = []
    for one in answers:
        value = one.text if one.tolerance is None else f"{one.text}:{number(one.tolerance)}"
        text = value if one.tolerance is not None else escape(value, quote=False).translate(_CLOZE_SIGNS)
        says = f"#{escape(one.says, quote=False).translate(_CLOZE_SIGNS)}" if one.says else ""
        parts.append(f"{'=' if one.per_cent == 100 else f'%{one.per_cent:.7g}%'}{text}{says}")
    return f"{{1:{kind}:{'~'.join(parts)}}}"
