"""Exports against what their standards ask.

The rules that matter are written out by hand, each with its place in the specification (from memory of the published
documents); what QTI's own schemas and other people's engines say is `python -m tests.engines`.
"""

from __future__ import annotations

import csv
import io
import json
import re
import uuid
import zipfile
from html import unescape
from xml.etree.ElementTree import fromstring

import pytest
from flask import Flask

from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import CREDITED
from quiz.app import create_app
from quiz.exports import answers
from quiz.exports.moodle_xml import TOGETHER
from quiz.exports.numeric_fields import questions
from quiz.exports.qti_item import item
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, lots, slipped
from tests.quiz.class_people import Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

Q21 = "{http://www.imsglobal.org/xsd/imsqti_v2p1}"
CP = "{http://www.imsglobal.org/xsd/imscp_v1p1}"
NCNAME = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")


@pytest.fixture
def owner(data_file: DataFile, store: Store, clock: Clock) -> Browser:
    app: Flask = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    one = preceptor(app, store)
    number, code = make_class(one)
    set_drill(one, number, title="=Net from gross")
    ada = learner(app, code, "=Ada")
    ada.post("/drill/1/begin")
    for place in range(3):
        page = ada.get("/drill/1")
        clock.move(seconds=12.5)
        _, case = waiting_in(page, store)
        answer(ada, store, "/drill/1", slipped(case, "distance-left-in") if place == 0 else None)
    answer(ada, store, "/practise")
    return one


# --- CSV ---------------------------------------------------------------------------------------------------------


def test_csv_holds_every_answer_field_by_field(owner: Browser, store: Store) -> None:
    """RFC 4180: a heading line, CRLF, as many fields in every line."""
    reply = owner.get("/class/1/answers.csv")
    assert reply.mimetype == "text/csv"
    assert reply.text.count("\r\n") == 5
    assert reply.data.startswith(b"\xef\xbb\xbflearner,"), "without the mark a spreadsheet garbles − and ×"
    assert reply.data.count(b"\xef\xbb\xbf") == 1
    rows = list(csv.DictReader(io.StringIO(reply.data.decode("utf-8-sig"))))
    for row, one in zip(rows, store.answers_of(1), strict=True):
        assert (row["type"], int(row["seed"]), row["verdict"]) == (one.type, one.seed, one.verdict)
        for name, value in (("findings", one.findings), ("right_answer", one.truth), ("steps", list(one.steps))):
            assert json.loads(row[name]) == value
        assert row["seconds"] == ("" if one.seconds is None else str(one.seconds))
    assert [row["drill"] for row in rows] == ["'=Net from gross"] * 3 + [""]
    assert len(owner.get("/class/1/answers.csv?drill=1").text.splitlines()) == 4


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3+cmd", "'-2+3+cmd"),
        ("+1.00/-1.50x90", "+1.00/-1.50x90"),
        ("−1.50 DS", "−1.50 DS"),
        ("-0.25", "-0.25"),
        ("Ada", "Ada"),
    ],
)
def test_no_cell_is_a_formula_and_no_lens_is_spoilt(text: str, kept: str) -> None:
    assert answers.no_formula(text) == kept


# --- xAPI --------------------------------------------------------------------------------------------------------


def statements(owner: Browser) -> list[dict[str, object]]:
    return [json.loads(line) for line in owner.get("/class/1/statements.jsonl").text.splitlines()]


def test_statements_have_what_xapi_1_0_3_asks_of_them(owner: Browser, store: Store) -> None:
    """Experience API 1.0.3, part two: 2.4 statement properties, 2.4.2.4 account, 2.4.4.1 interactions, 2.4.5 result."""
    found = statements(owner)
    assert len(found) == 4
    for one, kept in zip(found, store.answers_of(1), strict=True):
        assert set(one) <= {"id", "actor", "verb", "object", "result", "context", "timestamp", "version"}
        assert uuid.UUID(str(one["id"])).version == 5
        assert one["version"] == "1.0.3"
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", str(one["timestamp"]))
        actor, verb, what, result = (one[name] for name in ("actor", "verb", "object", "result"))
        assert isinstance(actor, dict)
        assert set(actor) == {"objectType", "account"}, "one inverse functional identifier, and no name"
        assert set(actor["account"]) == {"homePage", "name"}
        assert verb == {"id": "http://adlnet.gov/expapi/verbs/answered", "display": {"en": "answered"}}
        assert isinstance(what, dict)
        definition = what["definition"]
        assert definition["type"] == "http://adlnet.gov/expapi/activities/cmi.interaction"
        kinds = ("choice", "sequencing", "fill-in")
        assert definition["interactionType"] in kinds
        assert len(definition["correctResponsesPattern"]) == 1
        assert isinstance(result, dict)
        assert -1 <= result["score"]["scaled"] <= 1
        assert result["success"] == (kept.verdict in CREDITED)
        assert re.fullmatch(r"PT\d+(\.\d+)?S", result.get("duration", "PT0S"))
        assert all(re.match(r"https://", key) for key in result["extensions"])
    first = found[0]["result"]
    assert isinstance(first, dict)
    assert first["extensions"]["https://two-meridians.invalid/slips"] == [["take-off-distance distance-left-in"]]
    assert first["duration"] == "PT12.5S"


def test_statements_are_the_same_each_time_and_name_nobody(owner: Browser) -> None:
    once = owner.get("/class/1/statements.jsonl").text
    assert once == owner.get("/class/1/statements.jsonl").text
    assert "Ada" not in once
    assert len({json.dumps(one["actor"]) for one in statements(owner)}) == 1
    assert len({one["id"] for one in statements(owner)}) == 4


def test_a_pseudonym_differs_between_data_files() -> None:
    assert answers.pseudonym(1, "one secret") != answers.pseudonym(1, "another")
    assert answers.pseudonym(1, "one secret") != answers.pseudonym(2, "one secret")


# --- questions for another platform ------------------------------------------------------------------------------

PAPER = sorted(one for one in all_types() if stage_of(one) is None)
PACKAGES = ("qti-2.1.zip", "qti-3.0.zip")
SPACES = {"qti-2.1.zip": CP, "qti-3.0.zip": "{http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1}"}


def opened(owner: Browser, file: str, url: str = "/class/1/drill/1") -> dict[str, bytes]:
    reply = owner.get(f"{url}/{file}")
    assert reply.mimetype == "application/zip"
    with zipfile.ZipFile(io.BytesIO(reply.data)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.mark.parametrize("file", PACKAGES)
def test_a_package_leaves_out_what_only_the_bench_can_show(owner: Browser, file: str) -> None:
    url = set_drill(owner, 1, type=["net-sphere", "bench-sphere"], cases="3")
    assert [name for name in opened(owner, file, url) if name.endswith(".svg")] == ["case-001.svg", "case-003.svg"]


@pytest.mark.parametrize("file", PACKAGES)
def test_a_package_lists_every_file_and_holds_every_file_listed(owner: Browser, file: str) -> None:
    """IMS Content Packaging 1.1: imsmanifest.xml at the root; resources with identifier, type, href and their files."""
    files, space = opened(owner, file), SPACES[file]
    manifest = fromstring(files["imsmanifest.xml"])  # noqa: S314 - written by us a moment ago
    assert manifest.tag == f"{space}manifest"
    assert [one.tag for one in manifest] == [f"{space}metadata", f"{space}organizations", f"{space}resources"]
    listed = [str(one.get("href")) for one in manifest.iter(f"{space}file")]
    assert sorted(listed) == sorted(set(files) - {"imsmanifest.xml"})
    ending = "v2p1" if file == "qti-2.1.zip" else "v3p0"
    kinds = {one.get("type") for one in manifest.iter(f"{space}resource")}
    assert kinds == {f"imsqti_item_xml{ending}", f"imsqti_test_xml{ending}", "webcontent"}
    identifiers = [str(one.get("identifier")) for one in manifest.iter(f"{space}resource")]
    assert len(set(identifiers)) == len(identifiers)
    assert all(NCNAME.fullmatch(one) for one in identifiers)
    assert {str(one.get("identifierref")) for one in manifest.iter(f"{space}dependency")} <= set(identifiers)
    assert files == opened(owner, file), "the same drill gives the same bytes"


def test_the_drill_says_what_a_format_cannot_mark(owner: Browser) -> None:
    url = set_drill(owner, 1, type=["rx-to-cross", "net-sphere"], cases="3")
    page = unescape(owner.get(url).text)
    assert f"Moodle XML: Case 2 is left out: {TOGETHER}." in page or "Moodle XML: Cases 1, 3 are left out" in page
    assert "QTI: Case" not in page
    questions = fromstring(owner.get(f"{url}/moodle.xml").data).findall("question")  # noqa: S314
    assert "numerical" in [one.get("type") for one in questions]
    none = set_drill(owner, 1, type=["rx-to-cross"], cases="1")
    assert f"{none}/moodle.xml" not in owner.get(none).text
    assert f"{none}/qti-3.0.zip" in owner.get(none).text
    refused = owner.get(f"{none}/moodle.xml")
    assert refused.status_code == 400
    assert TOGETHER in unescape(refused.text)


ORDER_21 = ["responseDeclaration", "outcomeDeclaration", "itemBody", "responseProcessing", "modalFeedback"]
COMPARES_TEXTS = {"mapEntry", "mapResponse", "stringMatch", "patternMatch", "substring", "equal"}


@pytest.mark.parametrize("type_id", PAPER)
def test_an_item_of_every_type_compares_no_texts_and_keeps_the_rules_of_qti(type_id: str) -> None:
    """QTI 2.1 information model: order of parts, variables declared, feedback; tests/engines has the rest."""
    case = draw(all_types()[type_id], 6, Settings())
    root = item(questions(case), "case-001", "Case 1", "case-001.svg", "2.1")
    parts = [one.tag.removeprefix(Q21) for one in root]
    assert [one for at, one in enumerate(parts) if at == 0 or parts[at - 1] != one] == ORDER_21
    assert case.type.title not in str(root.get("title")), "the title would give the type away"
    used = {one.tag.removeprefix(Q21) for one in root.iter()}
    assert not used & COMPARES_TEXTS
    declared = {str(one.get("identifier")): one for one in root if one.tag.endswith("Declaration")}
    assert all(NCNAME.fullmatch(one) for one in declared)
    assert {one.get("baseType") for one in declared.values()} <= {"float", "identifier"}
    assert {"SCORE", "MAXSCORE"} <= set(declared)
    for name in ("variable", "setOutcomeValue"):
        assert {str(one.get("identifier")) for one in root.iter(Q21 + name)} <= set(declared)
    asked = {str(one.get("responseIdentifier")) for one in root.iter() if "responseIdentifier" in one.attrib}
    assert asked == {name for name, one in declared.items() if one.tag == f"{Q21}responseDeclaration"}
    masks = [str(one.get("patternMask")) for one in root.iter(f"{Q21}textEntryInteraction")]
    for mask in masks:
        assert all(re.fullmatch(mask, text) for text in ("1", "+1.25", "-.5", "2."))
        assert not any(re.fullmatch(mask, text) for text in ("1,25", "plano", "1 D", ""))
    for img in root.iter(f"{Q21}img"):
        assert len(str(img.get("alt"))) <= 256
    shown = [one for one in root if one.tag == f"{Q21}modalFeedback"][-1]
    assert [one.text for one in shown.iter(f"{Q21}li")] == [line.says for line in case.run.lines]


def test_the_words_of_3_0_are_those_of_2_1_with_hyphens() -> None:
    case = draw(all_types()["net-sphere"], 6, Settings())
    root = item(questions(case), "case-001", "Case 1", "case-001.svg", "3.0")
    space = "{http://www.imsglobal.org/xsd/imsqtiasi_v3p0}"
    names = {one.tag.removeprefix(space) for one in root.iter()}
    assert {"qti-assessment-item", "qti-text-entry-interaction", "qti-content-body", "p", "img", "li"} <= names
    entry = next(root.iter(f"{space}qti-text-entry-interaction"))
    assert {"response-identifier", "expected-length", "pattern-mask"} == set(entry.attrib)
