"""One case as a QTI 1.2 item, and the assessment round all of them.

Source: IMS Question & Test Interoperability ASI XML Binding 1.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any
from xml.etree.ElementTree import Element, SubElement

from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field
from quiz.exports.spellings import keyboard, spellings


def _in(parent: Element, name: str, text: str | None = None, **attributes: str) -> Element:
    one = SubElement(parent, name, attributes)
    one.text = text
    return one


def assessment(title: str, caution: str, items: Sequence[Element]) -> Element:
    """Put items into one assessment of one section."""
    root = Element("questestinterop")
    whole = _in(root, "assessment", ident="two-meridians-drill", title=title)
    about = _in(_in(whole, "objectives", view="Candidate"), "flow_mat")
    _in(_in(about, "material"), "mattext", caution)
    section = _in(whole, "section", ident="cases", title=title)
    section.extend(items)
    return root


def item(case: Case, identifier: str, title: str, picture: str | None) -> Element:
    """Write one case as an item; picture is the file of its drawing, beside it in the package."""
    root = Element("item", {"ident": identifier, "title": title})
    shown = _in(root, "presentation", label=title)
    facts = [f"<p>{escape(fact)}</p>" for fact in case.found]
    facts.append(f"<p><strong>{escape(case.type.question(case.findings))}</strong></p>")
    material = _in(shown, "material")
    _in(material, "mattext", "".join(facts), texttype="text/html")
    if picture:
        _in(material, "matimage", imagtype="image/svg+xml", uri=picture)
    for ask in case.type.asks:
        _interact(shown, ask)
    process = _in(root, "resprocessing")
    outcomes = _in(process, "outcomes")
    _in(outcomes, "decvar", varname="SCORE", vartype="Integer", minvalue="0", maxvalue="1", defaultval="0")
    right = _in(process, "respcondition", title="right", **{"continue": "Yes"})
    test = _in(right, "conditionvar")
    for ask in case.type.asks:
        _right(test, case, ask)
    _in(right, "setvar", "1", varname="SCORE", action="Set")
    always = _in(process, "respcondition", title="working", **{"continue": "Yes"})
    _in(_in(always, "conditionvar"), "other")
    _in(always, "displayfeedback", feedbacktype="Solution", linkrefid="working")
    _feed_back(root, case)
    return root


def name_of(ask: Field[Any]) -> str:
    """Return the identifier of the response to one thing asked."""
    return f"response_{ask.name}"


def _interact(parent: Element, ask: Field[Any]) -> None:
    where = name_of(ask)
    match ask.kind:
        case Choice(options=options) | Marks(options=options) | Order(options=options):
            many = {Choice: "Single", Marks: "Multiple", Order: "Ordered"}[type(ask.kind)]
            box = _in(parent, "response_lid", ident=where, rcardinality=many)
            _in(_in(box, "material"), "mattext", ask.label)
            render = _in(box, "render_choice", shuffle="No")
            for option in options:
                label = _in(render, "response_label", ident=option.id)
                _in(_in(label, "material"), "mattext", option.label)
        case _:
            box = _in(parent, "response_str", ident=where, rcardinality="Single")
            _in(_in(box, "material"), "mattext", f"{ask.label} ({keyboard(ask.kind.hint)})")
            render = _in(box, "render_fib", fibtype="String", prompt="Box", columns="30")
            _in(render, "response_label", ident=f"{where}_text")


def _right(test: Element, case: Case, ask: Field[Any]) -> None:
    where, truth = name_of(ask), case.truth[ask.name]
    match ask.kind:
        case Choice():
            _in(test, "varequal", str(truth), respident=where)
        case Marks(options=options):
            whole = _in(test, "and")
            for option in options:
                place = whole if option.id in truth else _in(whole, "not")
                _in(place, "varequal", option.id, respident=where)
        case Order():
            whole = _in(test, "and")
            for number, one in enumerate(truth, 1):
                _in(whole, "varequal", one, respident=where, index=str(number))
        case _:
            either = _in(test, "or")
            for text in spellings(case, ask):
                _in(either, "varequal", text, respident=where, case="No")


def _feed_back(root: Element, case: Case) -> None:
    shown = _in(root, "itemfeedback", ident="working", view="All")
    solution = _in(_in(shown, "solution", feedbackstyle="Complete"), "solutionmaterial")
    lines = [f"<li>{escape(line.says)}</li>" for line in case.run.lines]
    answers = [f"<p>{escape(ask.label)}: {escape(ask.kind.write(case.truth[ask.name]))}</p>" for ask in case.type.asks]
    text = f"<ol>{''.join(lines)}</ol>{''.join(answers)}"
    _in(_in(_in(solution, "flow_mat"), "material"), "mattext", text, texttype="text/html")
