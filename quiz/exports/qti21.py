"""One case as a QTI 2.1 assessmentItem.

Source: IMS Question & Test Interoperability Assessment Test, Section, and Item Information Model 2.1 and its XML
binding.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any
from xml.etree.ElementTree import Element, SubElement, register_namespace

from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Option, Order
from cases.procedure.fields import Field
from quiz.exports.spellings import keyboard, spellings

NAMESPACE = "http://www.imsglobal.org/xsd/imsqti_v2p1"
_SCHEMA = "http://www.imsglobal.org/xsd/qti/qtiv2p1/imsqti_v2p1.xsd"
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")
_XSI = "http://www.w3.org/2001/XMLSchema-instance"


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _in(parent: Element, name: str, text: str | None = None, **attributes: str) -> Element:
    one = SubElement(parent, _tag(name), attributes)
    one.text = text
    return one


def item(case: Case, identifier: str, title: str, picture: str | None) -> Element:
    """Write one case as an item; picture is the file of its drawing, beside it in the package."""
    register_namespace("", NAMESPACE)
    register_namespace("xsi", _XSI)
    root = Element(
        _tag("assessmentItem"),
        {
            "identifier": identifier,
            "title": title,
            "adaptive": "false",
            "timeDependent": "false",
            f"{{{_XSI}}}schemaLocation": f"{NAMESPACE} {_SCHEMA}",
        },
    )
    for ask in case.type.asks:
        _declare(root, case, ask)
    score = _in(root, "outcomeDeclaration", identifier="SCORE", cardinality="single", baseType="float")
    _in(_in(score, "defaultValue"), "value", "0")
    _in(root, "outcomeDeclaration", identifier="FEEDBACK", cardinality="single", baseType="identifier")
    body = _in(root, "itemBody")
    for fact in case.found:
        _in(body, "p", fact)
    figure = case.type.figure(case.findings, identifier)
    if picture and figure:
        # An alternative text is held to 256 marks by the specification; the facts stand above in words.
        _in(_in(body, "p"), "img", src=picture, alt=figure.title[:250])
    _in(body, "p", case.type.question(case.findings))
    for ask in case.type.asks:
        _interact(body, ask)
    _process(root, case)
    _feed_back(root, case)
    return root


def name_of(ask: Field[Any]) -> str:
    """Return the identifier of the response to one thing asked."""
    return "RESPONSE-" + ask.name.replace("_", "-")


def identifiers(options: Sequence[Option]) -> dict[str, str]:
    """Return an identifier for every option by its id: the id itself where it is a name in the sense of XML."""
    plain = all(_NAME.fullmatch(one.id) for one in options)
    return {one.id: one.id if plain else f"option-{number}" for number, one in enumerate(options, 1)}


def _declare(root: Element, case: Case, ask: Field[Any]) -> None:
    truth = case.truth[ask.name]
    match ask.kind:
        case Choice(options=options):
            cardinality, kind, values = "single", "identifier", [identifiers(options)[truth]]
        case Marks(options=options):
            cardinality, kind, values = "multiple", "identifier", [identifiers(options)[one] for one in truth]
        case Order(options=options):
            cardinality, kind, values = "ordered", "identifier", [identifiers(options)[one] for one in truth]
        case _:
            cardinality, kind, values = "single", "string", [spellings(case, ask)[0]]
    one = _in(root, "responseDeclaration", identifier=name_of(ask), cardinality=cardinality, baseType=kind)
    if values:
        right = _in(one, "correctResponse")
        for value in values:
            _in(right, "value", value)
    if kind == "string":
        mapping = _in(one, "mapping", lowerBound="0", upperBound="1", defaultValue="0")
        for text in spellings(case, ask):
            _in(mapping, "mapEntry", mapKey=text, mappedValue="1", caseSensitive="false")


def _interact(body: Element, ask: Field[Any]) -> None:
    where = name_of(ask)
    match ask.kind:
        case Choice(options=options) | Marks(options=options):
            most = "1" if isinstance(ask.kind, Choice) else "0"
            box = _in(body, "choiceInteraction", responseIdentifier=where, shuffle="false", maxChoices=most)
            _in(box, "prompt", ask.label)
            for option in options:
                _in(box, "simpleChoice", option.label, identifier=identifiers(options)[option.id])
        case Order(options=options):
            box = _in(body, "orderInteraction", responseIdentifier=where, shuffle="false")
            _in(box, "prompt", ask.label)
            for option in options:
                _in(box, "simpleChoice", option.label, identifier=identifiers(options)[option.id])
        case _:
            line = _in(body, "p", f"{ask.label} ({keyboard(ask.kind.hint)}): ")
            _in(line, "textEntryInteraction", responseIdentifier=where, expectedLength="30")


def _process(root: Element, case: Case) -> None:
    """Score 1 when all that is asked is right, and show the working either way."""
    process = _in(root, "responseProcessing")
    test = _in(_in(process, "responseCondition"), "responseIf")
    whole = _in(test, "and")
    for ask in case.type.asks:
        _right(whole, case, ask)
    _in(_in(test, "setOutcomeValue", identifier="SCORE"), "baseValue", "1", baseType="float")
    _in(_in(process, "setOutcomeValue", identifier="FEEDBACK"), "baseValue", "working", baseType="identifier")


def _right(parent: Element, case: Case, ask: Field[Any]) -> None:
    where = name_of(ask)
    if isinstance(ask.kind, Marks) and not case.truth[ask.name]:
        _in(_in(parent, "isNull"), "variable", identifier=where)
    elif isinstance(ask.kind, Choice | Marks | Order):
        match = _in(parent, "match")
        _in(match, "variable", identifier=where)
        _in(match, "correct", identifier=where)
    else:
        reaches = _in(parent, "gte")
        _in(reaches, "mapResponse", identifier=where)
        _in(reaches, "baseValue", "1", baseType="float")


def _feed_back(root: Element, case: Case) -> None:
    shown = _in(
        root, "modalFeedback", outcomeIdentifier="FEEDBACK", showHide="show", identifier="working", title="Working"
    )
    steps = _in(shown, "ol")
    for line in case.run.lines:
        _in(steps, "li", line.says)
    for ask in case.type.asks:
        _in(shown, "p", f"{ask.label}: {ask.kind.write(case.truth[ask.name])}")
