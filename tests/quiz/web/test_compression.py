"""Text compressed on the way: what is, what is not, and never for another site's request."""

from __future__ import annotations

import gzip

import pytest
from flask.testing import FlaskClient

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from tests.conftest import Clock, lots

HERE = {"Accept-Encoding": "gzip, br", "Sec-Fetch-Site": "none"}


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> FlaskClient:
    client = create_app(data_file, clock=clock, lots=lots()).test_client()
    client.get("/")
    return client


@pytest.mark.parametrize("url", ["/reference", "/static/css/base.css", "/static/js/practise.js"])
def test_a_text_is_sent_compressed_and_is_the_same(client: FlaskClient, url: str) -> None:
    plain, small = client.get(url, buffered=True), client.get(url, headers=HERE, buffered=True)
    assert small.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(small.data) == plain.data
    assert len(small.data) < 0.5 * len(plain.data)
    assert "Accept-Encoding" in small.headers["Vary"]
    assert "Content-Encoding" not in plain.headers


@pytest.mark.parametrize("site", ["cross-site", "same-site", None])
def test_a_page_is_never_compressed_for_another_site(client: FlaskClient, site: str | None) -> None:
    """Where another site can choose part of a page, its length would tell the rest (BREACH)."""
    headers = {"Accept-Encoding": "gzip"} | ({"Sec-Fetch-Site": site} if site else {})
    assert "Content-Encoding" not in client.get("/reference", headers=headers).headers


@pytest.mark.parametrize("url", ["/static/fonts/tm-serif.woff2", "/read-as?case=none"])
def test_what_gains_nothing_is_sent_as_it_is(client: FlaskClient, url: str) -> None:
    assert "Content-Encoding" not in client.get(url, headers=HERE, buffered=True).headers


def test_a_file_that_a_browser_has_is_not_sent_again(client: FlaskClient) -> None:
    first = client.get("/static/css/base.css", headers=HERE, buffered=True)
    known = {"If-None-Match": first.headers["ETag"]}
    again = client.get("/static/css/base.css", headers=HERE | known, buffered=True)
    assert (again.status_code, again.data) == (304, b"")
