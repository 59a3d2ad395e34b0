"""Text of the largest size that each entry takes: read or refused at once, never worked at for minutes.

What is bounded is processor time, and so widely that only work which grows with the square of a length is past it:
`python -m tests.benchmarks.hostile` sends every text by every form, and holds each reader to work in proportion.
"""

from __future__ import annotations

import ast
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.fields import Field, Group, Several
from cases.procedure.kinds import Kind
from cases.procedure.marking import mark_text
from quiz.accuracy import columns, entries
from quiz.accuracy.columns import Dates
from quiz.accuracy.importing import BadTable, Wishes, read_table
from quiz.app import BIGGEST_REQUEST, create_app
from quiz.classroom import sign_in
from quiz.errors import QuizError
from quiz.exports import answers
from quiz.practice import names, settings
from quiz.storage.datafile import DataFile
from quiz.web.typography import unbroken
from tests.benchmarks.hostile import HEAD, HOSTILE, forms_of, of_length, sent
from tests.benchmarks.mutate import Visitor, visitors
from tests.conftest import Clock, lots

TODAY = date(2031, 5, 28)
SECONDS = 6.0
"""Of the processor, for one text: some thousand times what is needed on the slowest machine that we know."""
ROOT = Path(__file__).resolve().parents[3]


@contextmanager
def soon(what: object) -> Iterator[None]:
    before = time.process_time()
    yield
    assert time.process_time() - before < SECONDS, what


def kinds() -> Iterator[Kind[Any]]:
    """Every kind of quantity that any type finds or asks, and the parts of those that have parts."""
    seen = dict.fromkeys(kind for one in all_types().values() for kind in _within((*one.findings.fields, *one.asks)))
    yield from seen


def _within(fields: tuple[Field[Any], ...]) -> Iterator[Kind[Any]]:
    for one in fields:
        yield one.kind
        inner = one.kind.of if isinstance(one.kind, Several) else one.kind
        if isinstance(inner, Group):
            yield from _within(inner.fields)


READERS: dict[str, Callable[[str], object]] = {
    "remark": lambda text: entries.doubts(entries.tidy_remark(text)),
    "doubts": entries.doubts,
    "entry": lambda text: entries.read_entry(
        dict.fromkeys(("patient", "retinoscopy", "end_point", "distance_cm", "on", "eye", "age", "remark"), text),
        today=TODAY,
    ),
    "heading": columns.column_of,
    "patient": lambda text: columns.patient_of(text, []),
    "eye": lambda text: columns.eye_of(text, []),
    "day": lambda text: columns.day_of(text, Dates(), None, TODAY, []),
    "order of days": lambda text: columns.date_order([text]),
    "age": lambda text: columns.age_of(text, []),
    "state": lambda text: columns.wet_of(text, []),
    "lens": lambda text: columns.lens_of("lens", text, []),
    "parts of a lens": lambda text: columns.lens_of_parts("lens", (text, text, text), "", []),
    "name": lambda text: names.tidy_name(text, []),
    "code": sign_in.tidy_code,
    "exam day": settings.ExamDay().read,
    "on a page": unbroken,
    "in a sheet": answers.no_formula,
}


@pytest.mark.parametrize("name", READERS)
def test_a_hostile_text_is_read_or_refused_at_once(name: str) -> None:
    for mark in HOSTILE:
        text = of_length(mark, BIGGEST_REQUEST)
        with soon((name, mark)), suppress(CaseError, QuizError):
            READERS[name](text)


def test_every_kind_of_answer_reads_or_refuses_a_hostile_text_at_once() -> None:
    every = list(kinds())
    assert len({(type(kind), kind.id) for kind in every}) > 12, "units of quantities are kinds of their own"
    for kind in every:
        for mark in HOSTILE:
            with soon((kind.id, mark)), suppress(CaseError):
                kind.read(of_length(mark, BIGGEST_REQUEST))


def test_an_answer_on_the_command_line_is_marked_at_once_however_long() -> None:
    for one in (all_types()["net-sphere"], all_types()["two-eyes"]):
        case = one.case_from_json(one.findings.to_json(_drawn(one.id)))
        for mark in HOSTILE:
            with soon((one.id, mark)):
                assert mark_text(case, of_length(mark, 120_000)).verdict in ("unreadable", "wrong", "slip", "right")


def test_findings_in_json_of_any_size_are_refused_at_once() -> None:
    huge: dict[str, object] = {
        "text": "a" * 120_000,
        "list": [0.25] * 40_000,
        "name": {"x" * 90_000: 1},
        "number": 10**4000,
        "lists in a list": [[[]]] * 30_000,
        "texts": ["+1.00 with"] * 9_000,
    }
    for kind in kinds():
        for name, value in huge.items():
            with soon((kind.id, name)), pytest.raises(CaseError):
                kind.from_json(value)


def _drawn(type_id: str) -> dict[str, object]:
    from cases.procedure.case_type import draw

    return dict(draw(all_types()[type_id], 1).findings)


# --- a file of the accuracy log ----------------------------------------------------------------------------------


@pytest.mark.parametrize("where", range(7))
def test_a_cell_of_100000_hostile_marks_is_a_refused_row(where: int) -> None:
    for mark in HOSTILE:
        cells = ["7", "right", "2031-05-02", "67", "+1.00", "+0.75", ""]
        cells[where] = '"' + of_length(mark, 100_000).replace('"', '""') + '"'
        with soon((where, mark)):
            found = read_table(HEAD + ",".join(cells) + "\n", Wishes(), today=TODAY)
        if found.good:
            assert not of_length(mark, 100_000).strip() or where == 6, "what prints nothing is an empty cell"
        else:
            assert all(len(fault) < 500 for row in found.bad for fault in row.faults)


def test_a_remark_of_100000_letters_is_refused_by_its_length() -> None:
    text = HEAD + '7,right,2031-05-02,67,+1.00,+0.75,"' + "a" * 100_000 + '"\n'
    with soon("remark"):
        (row,) = read_table(text, Wishes(), today=TODAY).rows
    assert row.faults == ("a remark of 100000 characters: 200 is the most",)


def test_a_whole_file_of_hostile_marks_is_refused_at_once() -> None:
    for mark in HOSTILE:
        for text in (HEAD + of_length(mark, 100_000), HEAD.strip() + of_length(mark, 100_000)):
            with soon(mark), suppress(BadTable):
                read_table(text, Wishes(), today=TODAY)
    for text in (HEAD + "\n" * 2_000_000, HEAD + "a\n" * 1_000_000, "a," * 1_000_000 + "\n1\n", HEAD + '"' * 2_000_001):
        with soon(text[-3:]), pytest.raises(BadTable):
            read_table(text, Wishes(), today=TODAY)


def test_accents_are_put_in_order_only_once_the_length_is_known() -> None:
    """Marks of two combining classes, each out of order: composing them takes the square of their number."""
    accents = "a" + "\u0301" * 60_000 + "\u0316" * 60_000
    with soon("remark"), pytest.raises(entries.BadEntry, match="200 are the most"):
        entries.read_entry({**_ENTRY, "remark": accents}, today=TODAY)
    with soon("name"), pytest.raises(names.BadName, match="60 is the most"):
        names.tidy_name(accents, [])
    assert names.tidy_name("e\u0301" * 60, []) == "é" * 60, "what is short once composed is not too long"
    assert entries.tidy_remark("e\u0323\u0302" * 200) == "ệ" * 200


_ENTRY = {
    "eye": "right",
    "patient": "1",
    "retinoscopy": "+1",
    "end_point": "+1",
    "distance_cm": "67",
    "on": "2031-05-02",
}


# --- the app -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def people_here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Visitor]]:
    found, files = visitors(tmp_path_factory.mktemp("hostile"), Clock())
    yield found
    for file in files:
        file.close()


def test_every_form_answers_a_hostile_text_at_once(people_here: list[Visitor]) -> None:
    """Each form is sent one of the texts, all of them by turns, in every field at once, as large as a request."""
    number = 0
    for one in people_here:
        for method, url, fields in forms_of(one, links=20):
            number += 1
            mark = HOSTILE[number % len(HOSTILE)]
            with soon((one.name, method, url, mark)):
                page = sent(one, method, url, fields, mark)
            assert page.status_code < 500, (one.name, method, url, mark)
    assert number > 40


@pytest.mark.parametrize("url", ["/look-up", "/work-one-out"])
def test_words_that_are_looked_up_are_held_to_a_line(data_file: DataFile, url: str) -> None:
    """Every word of the line is compared with each of some thousand texts, and an address may have 32 kB."""
    client = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    client.get(url)
    short, long = (_seconds(client, f"{url}?line={'the+' * words}") for words in (40, 7_500))
    assert long < 5 * short + 0.1, "what is longer than a line is not looked for at all"


def _seconds(client: FlaskClient, url: str) -> float:
    before = time.process_time()
    page = client.get(url)
    assert page.status_code in (200, 422)
    return time.process_time() - before


def test_headers_of_any_size_are_answered_at_once(data_file: DataFile) -> None:
    client: FlaskClient = create_app(data_file, clock=Clock(), lots=lots()).test_client()
    for name in ("Cookie", "Accept", "Origin", "Referer", "Accept-Language", "Content-Type", "Sec-Fetch-Site", "Range"):
        for mark in ("a", "a=", ";", ",", "=", '"', "two-meridians=", "text/html;q=", " ", "http://[", "a/b,", "\\"):
            with soon((name, mark)):
                page = client.post("/settings", headers={"Origin": "http://localhost", name: of_length(mark, 60_000)})
            assert page.status_code < 500, (name, mark)
    assert client.post("/settings", headers={"Origin": "http://["}).status_code == 403


# --- every pattern -----------------------------------------------------------------------------------------------


def test_every_pattern_is_compiled_in_one_place_and_searches_in_bounded_work() -> None:
    """No repeat without an end is followed by what may fail, or else the work would grow with the square."""
    found = dict(_patterns())
    assert len(found) > 20
    for where, pattern in found.items():
        for mark in HOSTILE:
            text = of_length(mark, 8_000)
            with soon((where, mark)):
                pattern.search(text)
                pattern.fullmatch(text)


def _patterns() -> Iterator[tuple[str, re.Pattern[str]]]:
    """Every pattern of both packages: those that modules keep under a name, alone or in a tuple."""
    import importlib

    for package in ("cases", "quiz"):
        for path in sorted((ROOT / package).rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            if "re." not in text or path.name == "__main__.py":
                continue
            for node in ast.walk(ast.parse(text)):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and isinstance(node.func.value, ast.Name)
                    and node.func.value.id == "re"
                ):
                    assert node.func.attr == "compile", f"{path}:{node.lineno}: give the pattern a name of its own"
            module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
            for name, value in vars(module).items():
                each = value if isinstance(value, tuple) else (value,)
                for at, one in enumerate(
                    part for item in each for part in (item if isinstance(item, tuple) else (item,))
                ):
                    if isinstance(one, re.Pattern):
                        yield f"{module.__name__}.{name} {at}", one
