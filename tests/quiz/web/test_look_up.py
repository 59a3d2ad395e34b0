"""Look up: one field that reads findings, a term of the trade, a mistake or a prompt."""

from __future__ import annotations

import html
import re

import pytest
from flask.testing import FlaskClient

from cases.curriculum.register import all_slips
from cases.recall.prompts import all_groups, all_prompts
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.web.look_up.matches import CHAPTERS, matches
from tests.conftest import Clock, lots


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> FlaskClient:
    client = create_app(data_file, clock=clock, lots=lots()).test_client()
    client.get("/")
    return client


def said(client: FlaskClient, line: str) -> str:
    page = client.get("/look-up", query_string={"line": line})
    assert page.status_code == 200
    text = re.sub(r"<[^>]*>", " ", page.text.split("<main", 1)[1].split("</main>", 1)[0])
    return " ".join(html.unescape(text).replace("\N{NO-BREAK SPACE}", " ").split())


def test_findings_are_worked_out(client: FlaskClient) -> None:
    """+3.25 / −1.50 × 20 at 67 cm: 1.50 comes off, so +1.75 / −1.50 × 20; its mean is +1.00. By hand."""
    page = said(client, "+3.25/-1.50x20 67 cm")
    assert "+1.75 / −1.50 × 20" in page
    assert "Spherical equivalent +1.00 D" in page
    assert "Conventions" not in page, "the lists give way to the answer"


@pytest.mark.parametrize(
    ("line", "finds"),
    [
        ("vertex", "A lens in another plane, a sphere|Formulas"),
        ("subtract the working", "Did not subtract the working distance"),
        ("drops", "Cautions"),
    ],
)
def test_a_term_leads_to_its_chapter_its_mistakes_and_its_prompts(client: FlaskClient, line: str, finds: str) -> None:
    page = said(client, line)
    assert any(one in page for one in finds.split("|"))


def test_every_mistake_and_prompt_is_found_by_its_own_words(client: FlaskClient) -> None:
    with client.application.test_request_context():
        look_for_all()


def look_for_all() -> None:
    for slip in all_slips().values():
        if len(words := re.findall(r"[a-z]{3,}", slip.title.lower())) > 2:
            assert any(one.title.lower() == slip.title.lower() for one in matches(" ".join(words)).slips), slip.id
    for prompt in all_prompts():
        assert matches(prompt.question).prompts, prompt.id


def test_what_is_not_there_is_said(client: FlaskClient) -> None:
    assert "nothing here has that name" in said(client, "xylophone")
    assert "nothing here has that name" in said(client, "<b>&")


def test_below_the_field_stand_the_three_lists(client: FlaskClient) -> None:
    page = said(client, "")
    for title in (*(one[0] for one in CHAPTERS), *(one.title for one in all_groups()), "Work one out"):
        assert title in page


def test_every_chapter_is_there(client: FlaskClient) -> None:
    reference = client.get("/reference").text
    for _, anchor, _ in CHAPTERS:
        assert f'id="{anchor}"' in reference
