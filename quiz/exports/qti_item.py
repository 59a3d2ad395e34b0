"""One case as a QTI assessmentItem, for 2.1 and for 3.0: numbers marked by ranges, choices by their identifiers.

It is written in the words of 2.1; `as_3_0` turns it into those of 3.0, which are the same with hyphens.
`equal` with a tolerance is not used: players leave it out. Nor is anything compared with an empty field unguarded: some
take it for 0.
Source: IMS Question & Test Interoperability Assessment Test, Section, and Item Information Model 2.1 and its XML
binding; 1EdTech QTI Assessment, Section and Item Information Model 3.0 and its XML binding.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, register_namespace, tostring

from cases.procedure.choices import Choice, Marks, Option, Order
from cases.procedure.fields import Field
from quiz.exports.numeric_fields import SLACK, Accepted, Asked, Piece, Questions, Range, slip_words

NAMESPACES = {
    "2.1": "http://www.imsglobal.org/xsd/imsqti_v2p1",
    "3.0": "http://www.imsglobal.org/xsd/imsqtiasi_v3p0",
}
SCHEMAS = {
    "2.1": "http://www.imsglobal.org/xsd/qti/qtiv2p1/imsqti_v2p1.xsd",
    "3.0": "https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqti_asiv3p0_v1p0.xsd",
}
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")
_CAPITAL = re.compile(r"[A-Z]")
_XSI = "http://www.w3.org/2001/XMLSchema-instance"
_HTML = frozenset({"p", "strong", "img", "ol", "li"})


def item(found: Questions, identifier: str, title: str, picture: str | None, version: str) -> Element:
    """Write one case as an item; picture is the file of its drawing, beside it in the package."""
    case = found.case
    root = Element(
        "assessmentItem", {"identifier": identifier, "title": title, "adaptive": "false", "timeDependent": "false"}
    )
    for asked in found.asked:
        for field in asked.fields:
            one = _in(root, "responseDeclaration", identifier=field.name, cardinality="single", baseType="float")
            _in(_in(one, "correctResponse"), "value", number(field.value))
        if not asked.fields:
            _declare_choice(root, asked.ask, case.truth[asked.ask.name])
    score = _in(root, "outcomeDeclaration", identifier="SCORE", cardinality="single", baseType="float")
    score.set("normalMaximum", "1")
    parts = _parts(found.ways)
    _default(score, "0")
    for name, value in (("MAXSCORE", "1"), *((name, "0") for name in parts)):
        _default(_in(root, "outcomeDeclaration", identifier=name, cardinality="single", baseType="float"), value)
    for name in ("WORKING", "SLIP"):
        _in(root, "outcomeDeclaration", identifier=name, cardinality="single", baseType="identifier")
    _body(root, found, identifier, picture)
    _process(root, found, parts)
    _feed_back(root, found)
    return as_version(root, version)


def _in(parent: Element, name: str, text: str | None = None, **attributes: str) -> Element:
    one = SubElement(parent, name, attributes)
    one.text = text
    return one


def _default(declared: Element, value: str) -> None:
    _in(_in(declared, "defaultValue"), "value", value)


def number(value: float) -> str:
    """Write a number as XML's decimals have it, to a millionth."""
    return f"{value + 0.0:.6f}".rstrip("0").rstrip(".")


def document(root: Element) -> bytes:
    """Write an element as a whole XML document."""
    indent(root)
    return bytes(tostring(root, encoding="utf-8", xml_declaration=True))


def as_version(root: Element, version: str) -> Element:
    """Put elements into the namespace of a version, for 3.0 with its spelling of names."""
    register_namespace("", NAMESPACES[version])
    register_namespace("xsi", _XSI)
    out = _turned(root, version)
    out.set(f"{{{_XSI}}}schemaLocation", f"{NAMESPACES[version]} {SCHEMAS[version]}")
    return out


def _turned(one: Element, version: str) -> Element:
    hyphens = version == "3.0"
    name = one.tag if one.tag in _HTML or not hyphens else f"qti-{_hyphened(one.tag)}"
    out = Element(f"{{{NAMESPACES[version]}}}{name}", {_hyphened(at) if hyphens else at: to for at, to in one.items()})
    out.text, out.tail = one.text, one.tail
    inside = out
    if hyphens and one.tag == "modalFeedback":
        inside = SubElement(out, f"{{{NAMESPACES[version]}}}qti-content-body")
    inside.extend(_turned(child, version) for child in one)
    return out


def _hyphened(name: str) -> str:
    return _CAPITAL.sub(lambda found: f"-{found[0].lower()}", name)


def identifiers(options: Sequence[Option]) -> dict[str, str]:
    """Return an identifier for every option by its id: the id itself where it is a name in the sense of XML."""
    plain = all(_NAME.fullmatch(one.id) for one in options)
    return {one.id: one.id if plain else f"option-{number}" for number, one in enumerate(options, 1)}


_CARDINALITY = {Choice: "single", Marks: "multiple", Order: "ordered"}


def _declare_choice(root: Element, ask: Field[Any], truth: Accepted) -> None:
    one = _in(root, "responseDeclaration", identifier=ask.name, cardinality=_CARDINALITY[type(ask.kind)])
    one.set("baseType", "identifier")
    if truth:
        right = _in(one, "correctResponse")
        for value in _identified(ask, truth):
            _in(right, "value", value)


def _identified(ask: Field[Any], chosen: Any) -> list[str]:
    names = identifiers(ask.kind.options)  # type: ignore[attr-defined]
    return [names[one] for one in ((chosen,) if isinstance(chosen, str) else chosen)]


def _body(root: Element, found: Questions, identifier: str, picture: str | None) -> None:
    case = found.case
    body = _in(root, "itemBody")
    for fact in case.found:
        _in(body, "p", fact)
    figure = case.type.figure(case.findings, identifier)
    if picture and figure:
        # An alternative text is held to 256 marks by the specification; the facts stand above in words.
        _in(_in(body, "p"), "img", src=picture, alt=figure.title[:250])
    _in(_in(body, "p"), "strong", case.type.question(case.findings))
    for line in found.how:
        _in(body, "p", line)
    for asked in found.asked:
        _interact(body, asked)


def _interact(body: Element, asked: Asked) -> None:
    ask = asked.ask
    if len(asked.fields) > 1:
        _in(body, "p", f"{ask.label}:")
    for field in asked.fields:
        line = _in(body, "p", f"{field.label}: ")
        one = _in(line, "textEntryInteraction", responseIdentifier=field.name, expectedLength="8")
        one.set("patternMask", field.pattern)
        one.tail = f" {field.unit}".rstrip()
    if asked.fields:
        return
    ordered = isinstance(ask.kind, Order)
    box = _in(body, "orderInteraction" if ordered else "choiceInteraction", responseIdentifier=ask.name)
    box.set("shuffle", "false")
    if not ordered:
        box.set("maxChoices", "1" if isinstance(ask.kind, Choice) else "0")
    _in(box, "prompt", ask.label)
    for option in ask.kind.options:  # type: ignore[attr-defined]
        _in(box, "simpleChoice", option.label, identifier=identifiers(ask.kind.options)[option.id])  # type: ignore[attr-defined]


# --- processing --------------------------------------------------------------------------------------------------

Parts = dict[str, tuple[str, Accepted]]


def _parts(ways: Sequence[Mapping[str, Accepted]]) -> Parts:
    """Return a name for every answer to one thing asked that is credited in some combination."""
    found: Parts = {}
    for way in ways:
        for ask, one in way.items():
            if (ask, one) not in found.values():
                found[f"RIGHT-{ask}-{len(found) + 1}"] = (ask, one)
    return found


def _process(root: Element, found: Questions, parts: Parts) -> None:
    """Score 1 when all that is asked is right, name the slip where it is not, and show the working either way."""
    process = _in(root, "responseProcessing")
    asks = {ask.name: ask for ask in found.case.type.asks}
    for name, (ask, one) in parts.items():
        _chain(process, [(_conditions(asks[ask], one, at), name, "1") for at in range(_count(one))])
    rules = []
    for way in found.ways:
        names = [next(name for name, part in parts.items() if part == (ask, one)) for ask, one in way.items()]
        rules.append(([_compared("gte", [(1, name)], 1) for name in names], "SCORE", "1"))
    for place, slip in enumerate(found.slips, 1):
        tests = [test for ask, one in slip.ways.items() for test in _conditions(asks[ask], one, 0)]
        rules.append((tests, "SLIP", f"slip-{place}"))
    _chain(process, rules)
    _in(_in(process, "setOutcomeValue", identifier="WORKING"), "baseValue", "working", baseType="identifier")


def _count(one: Accepted) -> int:
    return len(one) if one and isinstance(one[0], Piece) else 1


def _chain(process: Element, rules: Sequence[tuple[list[Element], str, str]]) -> None:
    """Write rules of which the first that holds sets its outcome."""
    condition = _in(process, "responseCondition")
    for place, (tests, outcome, value) in enumerate(rules):
        branch = _in(condition, "responseIf" if place == 0 else "responseElseIf")
        _in(branch, "and").extend(tests)
        kind = "identifier" if outcome == "SLIP" else "float"
        _in(_in(branch, "setOutcomeValue", identifier=outcome), "baseValue", value, baseType=kind)


def _conditions(ask: Field[Any], one: Accepted, at: int) -> list[Element]:
    """Return the tests of one way of answering: they hold together."""
    if one and isinstance(one[at], Piece):
        return list(_of_piece(one[at]))  # type: ignore[arg-type]
    chosen = _identified(ask, one)
    if not chosen:
        return [_with("isNull", _variable(ask.name))]
    values = [_base(value, "identifier") for value in chosen]
    container = {Marks: "multiple", Order: "ordered"}.get(type(ask.kind))
    return [_with("match", _variable(ask.name), _with(container, *values) if container else values[0])]


def _of_piece(piece: Piece) -> list[Element]:
    named = dict.fromkeys(name for one in piece.ranges for _, name in one.terms)
    filled = [_with("not", _with("isNull", _variable(name))) for name in named]
    empty = [_with("isNull", _variable(name)) for name in piece.empty]
    return [*filled, *empty, *(test for one in piece.ranges for test in _of_range(one))]


def _of_range(one: Range) -> list[Element]:
    def between(turn: float) -> list[Element]:
        low, high = one.low + turn - SLACK, one.high + turn + SLACK
        return [_compared("gte", one.terms, low), _compared("lte", one.terms, high)]

    if not one.wraps:
        return between(0)
    return [_with("or", *(_with("and", *between(turn)) for turn in (0, 180, -180)))]


def _compared(operator: str, terms: Sequence[tuple[int, str]], bound: float) -> Element:
    plus = [_variable(name) for sign, name in terms if sign > 0]
    minus = [_variable(name) for sign, name in terms if sign < 0]
    total = plus[0] if len(plus) == 1 else _with("sum", *plus)
    if minus:
        total = _with("subtract", total, *minus)
    return _with(operator, total, _base(number(bound), "float"))


def _with(name: str, *inside: Element) -> Element:
    one = Element(name)
    one.extend(inside)
    return one


def _variable(name: str) -> Element:
    return Element("variable", {"identifier": name})


def _base(value: str, kind: str) -> Element:
    one = Element("baseValue", {"baseType": kind})
    one.text = value
    return one


def _feed_back(root: Element, found: Questions) -> None:
    case = found.case
    for place, slip in enumerate(found.slips, 1):
        _in(_modal(root, "SLIP", f"slip-{place}", "How this answer comes about"), "p", slip_words(slip.titles))
    shown = _modal(root, "WORKING", "working", "Working")
    steps = _in(shown, "ol")
    for line in case.run.lines:
        _in(steps, "li", line.says)
    for ask in case.type.asks:
        _in(shown, "p", f"{ask.label}: {ask.kind.write(case.truth[ask.name])}")


def _modal(root: Element, outcome: str, identifier: str, title: str) -> Element:
    return _in(root, "modalFeedback", outcomeIdentifier=outcome, showHide="show", identifier=identifier, title=title)
