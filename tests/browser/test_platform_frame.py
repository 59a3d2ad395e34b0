"""A launch from a course in a frame: two names, a certificate of our own, third-party cookies blocked."""

from __future__ import annotations

import json
import os
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast
from urllib.parse import urlencode

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from flask import Flask, Response, request
from playwright.sync_api import BrowserContext, Page, Playwright, expect
from werkzeug.serving import make_server

from quiz.app import create_app
from quiz.classroom import preceptors
from quiz.classroom import sign_in as signing
from quiz.lti import grade_outbox, registering
from quiz.lti.registering import Platform
from quiz.practice import learners
from quiz.storage import class_queries, roster_queries
from quiz.storage.datafile import DataFile
from quiz.storage.platform import lti_queries, outcome_queries
from quiz.storage.store import Store
from quiz.web.front.public_address import PublicAddress, behind
from tests.browser.conftest import QUIET, SIDEWAYS, Check, chromium
from tests.conftest import NOON, Clock
from tests.quiz.class_people import DRILL, PASSWORD
from tests.quiz.lti.small_platform import CLAIM, TEACHER, SmallPlatform, Visitor, a_key

DL = "https://purl.imsglobal.org/spec/lti-dl/claim/"
NAMES = ("a.localhost", "b.localhost")
"""The app's and the platform's: two sites to a browser, both this computer."""


def own_certificate(folder: Path) -> ssl.SSLContext:
    """Make a certificate for both names."""
    key, now = a_key(5), datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(1).not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
    names = x509.SubjectAlternativeName([x509.DNSName(one) for one in NAMES])
    signed = made.add_extension(names, critical=False).sign(key, hashes.SHA256())
    pem = serialization.Encoding.PEM
    plain = key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    path = folder / "both.pem"
    path.write_bytes(plain + signed.public_bytes(pem))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(path)
    return context


@contextmanager
def by_https(app: Callable[..., Any], secure: ssl.SSLContext, port: int = 0) -> Iterator[int]:
    server = make_server("127.0.0.1", port, app, threaded=True, ssl_context=secure)
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        server.server_close()


def platform_pages(platform: SmallPlatform) -> Flask:
    """Serve a platform's pages: a course with a frame, its login, and where a choice comes back to."""
    pages = Flask("platform")

    @pages.get("/course")
    def course() -> str:
        asked = {
            "iss": platform.issuer,
            "client_id": platform.client_id,
            "login_hint": request.args["as"],
            "lti_message_hint": request.args.get("deep", "no"),
            "target_link_uri": f"{platform.tool}/lti/launch",
        }
        source = f"{platform.tool}/lti/login?{urlencode(asked)}"
        return f'<h1>Course</h1><iframe name="tool" width="700" height="600" src="{source}">'

    @pages.get("/auth")
    def auth() -> str:
        teacher = request.args["login_hint"] == "2"
        more: dict[str, Any] = dict(TEACHER) if teacher else {}
        if request.args["lti_message_hint"] == "yes":
            settings = {"deep_link_return_url": f"{platform.issuer}/back", "accept_types": ["ltiResourceLink"]}
            more |= {f"{CLAIM}message_type": "LtiDeepLinkingRequest", f"{DL}deep_linking_settings": settings}
        token = platform.token(platform.claims(request.args["nonce"], **more))
        fields = {"state": request.args["state"], "id_token": token}
        held = "".join(f'<input type="hidden" name="{name}" value="{one}">' for name, one in fields.items())
        return (
            f'<form method="post" action="{request.args["redirect_uri"]}">{held}</form>'
            "<script>document.forms[0].submit()</script>"
        )

    @pages.post("/back")
    def back() -> Response:
        return Response(f"<h1>Taken</h1><p>{len(request.form['JWT'].split('.'))} parts</p>")

    return pages


@dataclass
class TwoSites:
    """The app and a platform, each on its own name."""

    tool: str
    course: str
    context: BrowserContext
    store: Store
    drops: list[bool]
    """Whether the app's cookies are dropped on their way to a frame."""
    failed: list[str]

    def open(self, who: str, *, deep: bool = False) -> Page:
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.failed.append(str(error)))
        page.goto(f"{self.course}?as={who}{'&deep=yes' if deep else ''}")
        return page


@pytest.fixture
def two_sites(data_file: DataFile, tmp_path: Path, playwright: Playwright) -> Iterator[TwoSites]:
    secure, clock, drops = own_certificate(tmp_path), Clock(), list[bool]()
    with ExitStack() as stack, closing(Store(data_file)) as store:
        inner: list[Callable[..., Any]] = []

        def served(environ: dict[str, Any], start: Any) -> Any:
            def dropping(status: str, headers: list[tuple[str, str]], *rest: Any) -> Any:
                if drops and environ.get("HTTP_SEC_FETCH_DEST") == "iframe":
                    headers = [one for one in headers if one[0] != "Set-Cookie"]
                return start(status, headers, *rest)

            return inner[0](environ, dropping)

        port = stack.enter_context(by_https(served, secure))
        public = PublicAddress("https", f"a.localhost:{port}", "", 1)
        app = create_app(data_file, clock=clock, hosts=None, beyond=True, public=public)
        inner.append(behind(app, public))
        platform = SmallPlatform(clock, tool=public.url)
        pages = platform_pages(platform)
        platform.issuer = f"https://b.localhost:{stack.enter_context(by_https(pages, secure))}"
        app.extensions["lti"].keys.ask = app.extensions["lti"].services.ask = platform.ask
        at = platform.issuer
        given = Platform(at, platform.client_id, f"{at}/auth", f"{at}/token", f"{at}/keys", deployment_id="1")
        registering.add(store, given, school=1, now=clock())
        teacher = Visitor(app, platform)
        teacher.post(teacher.enter(**TEACHER).location, {"do": "make"})
        platform.tool_keys = lambda: teacher.get("/lti/jwks.json").json
        made = teacher.post("/class/1/drill", {**DRILL, "cases": "2"}).location
        teacher.post(f"{made}/open")
        teacher.post(teacher.enter(**TEACHER).location, {"drill": "1"})
        args = [*QUIET, "--no-sandbox", "--test-third-party-cookie-phaseout"]
        chrome = stack.enter_context(
            closing(playwright.chromium.launch(executable_path=chromium(playwright), args=args))
        )
        context = chrome.new_context(ignore_https_errors=True, viewport={"width": 800, "height": 900})
        sites = TwoSites(public.url, f"{at}/course", context, store, drops, [])
        yield sites
        context.close()
        assert sites.failed == []


def test_a_launch_in_a_frame_opens_the_drill_in_a_tab_of_its_own(two_sites: TwoSites, accessible: Check) -> None:
    page = two_sites.open("4")
    frame = page.frame_locator("iframe")
    expect(frame.get_by_role("button", name="Open")).to_be_visible()
    inside = page.frame("tool")
    assert inside is not None
    accessible(cast("Page", inside))  # a frame is asked as a page is
    with page.expect_popup() as opened:
        frame.get_by_role("button", name="Open").click()
    tab = opened.value
    expect(tab.get_by_role("heading", level=1)).to_have_text("Net from gross")
    assert tab.url == f"{two_sites.tool}/drill/1"
    tab.reload()
    expect(tab.get_by_role("heading", level=1)).to_have_text("Net from gross")


def test_a_browser_without_cookies_in_frames_goes_on_in_a_tab(two_sites: TwoSites, accessible: Check) -> None:
    two_sites.drops.append(True)
    page = two_sites.open("4")
    button = page.frame_locator("iframe").get_by_role("button", name="Open in a tab of its own")
    expect(button).to_be_visible()
    inside = page.frame("tool")
    assert inside is not None
    accessible(cast("Page", inside))  # a frame is asked as a page is
    with page.expect_popup() as opened:
        button.click()
    tab = opened.value
    expect(tab.get_by_role("heading", level=1)).to_have_text("Net from gross")
    assert tab.url == f"{two_sites.tool}/drill/1"


def test_a_teacher_chooses_a_drill_in_the_frame(two_sites: TwoSites, accessible: Check) -> None:
    page = two_sites.open("2", deep=True)
    frame = page.frame_locator("iframe")
    frame.get_by_label("Net from gross").check()
    inside = page.frame("tool")
    assert inside is not None
    accessible(cast("Page", inside))  # a frame is asked as a page is
    frame.get_by_role("button", name="Put it into the course").click()
    expect(frame.get_by_text("One more step")).to_be_visible()
    accessible(cast("Page", inside))  # a frame is asked as a page is
    frame.get_by_role("button", name="into Optics 2").click()
    expect(frame.get_by_role("heading", name="Taken")).to_be_visible()
    expect(frame.get_by_text("3 parts")).to_be_visible()


def test_pages_for_a_signed_in_teacher_pass_axe(two_sites: TwoSites, accessible: Check) -> None:
    page = two_sites.open("2")
    with page.expect_popup() as opened:
        page.frame_locator("iframe").get_by_role("button", name="Open").click()
    tab = opened.value
    expect(tab.get_by_role("heading", level=1)).to_be_visible()
    for path in ("/class/1/platform", "/course/1/link/1", "/lti/config"):
        tab.goto(f"{two_sites.tool}{path}")
        accessible(tab)
    tab.goto(f"{two_sites.tool}/class/1/platform")
    tab.get_by_role("button", name="Fetch the course list").click()
    expect(tab.get_by_text("lists no learner")).to_be_visible()


def test_pages_of_platforms_fit_in_both_themes_and_widths(two_sites: TwoSites, accessible: Check) -> None:
    """With all that they can show: grades held back and not sent, a lost column, learners who left, a refusal."""
    page = two_sites.open("2")
    with page.expect_popup() as opened:
        page.frame_locator("iframe").get_by_role("button", name="Open").click()
    tab = opened.value
    expect(tab.get_by_role("heading", level=1)).to_be_visible()
    with two_sites.store.writing():
        fill_course(two_sites.store)
    shown = ("/class/1/platform", "/course/2", "/course/1/link/1", "/lti/config", "/lti/launch", "/lti/login")
    for path in (*shown, "/lti/register/guess"):
        shoot(tab, f"{two_sites.tool}{path}", accessible, opened=path == "/class/1/platform")


def test_an_administrator_approves_a_platform_on_its_page(two_sites: TwoSites, accessible: Check) -> None:
    store, here = two_sites.store, f"{two_sites.tool}/platforms"
    signing.add_preceptor(store, "Ines Vale", PASSWORD, now=NOON)
    preceptors.make_administrator(store, preceptors.named(store, "Ines Vale"), now=NOON)
    at = "https://evening.example"
    other = Platform(at, "client-2", f"{at}/auth", f"{at}/token", f"{at}/keys", deployment_id="7")
    registering.add(store, other, school=1, now=NOON, state="pending")
    two_sites.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=two_sites.tool)
    page = two_sites.context.new_page()
    page.goto(f"{two_sites.tool}/door")
    page.get_by_label("Your name").fill("Ines Vale")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Course platforms of this server").click()
    shoot(page, here, accessible, opened=True)
    page.get_by_role("button", name="Copy Public keyset URL").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == f"{two_sites.tool}/lti/jwks.json"
    page.get_by_role("button", name="Approve it").click()
    expect(page.get_by_role("status").first).to_contain_text("The platform is active")
    page.get_by_role("button", name="Make an address").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Address for a course platform")
    expect(page.get_by_text(f"{two_sites.tool}/lti/register/")).to_be_visible()
    accessible(page)
    page.goto(here)
    page.locator("summary", has_text="Then type in what the platform shows").click()
    page.get_by_label("Issuer, or platform ID").last.fill("https://day.example")
    page.get_by_role("button", name="Register the platform").click()
    expect(page.locator(":focus")).to_have_attribute("id", "client_id")
    accessible(page)


def test_a_classs_own_page_says_that_it_is_archived(two_sites: TwoSites, accessible: Check) -> None:
    with two_sites.store.writing():
        class_queries.keep_archived(two_sites.store, 1, NOON)
    page = two_sites.open("2")
    with page.expect_popup() as opened:
        page.frame_locator("iframe").get_by_role("button", name="Open").click()
    tab = opened.value
    expect(tab.get_by_text("This class was put into the archive")).to_be_visible()
    shoot(tab, f"{two_sites.tool}/class/1/platform", accessible, name="archived")
    tab.get_by_role("button", name="Make a new class for Optics 2").click()
    expect(tab.get_by_role("heading", level=1)).to_have_text("Course platform of Optics 2 (2026)")
    shoot(tab, f"{two_sites.tool}/class/2/platform", accessible, name="new")


def shoot(page: Page, url: str, accessible: Check, *, name: str = "", opened: bool = False) -> None:
    """See that a page fits on a telephone and on a desk, by day and in the dim room, with all that is closed opened."""
    for width, scheme in ((360, "light"), (360, "dark"), (1280, "light"), (1280, "dark")):
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.goto(url)
        if opened:
            page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")
        assert not page.evaluate(SIDEWAYS), (url, width)
        if folder := os.environ.get("TM_SHOTS"):
            called = name or url.split("/", 3)[3].replace("/", "-")
            page.screenshot(path=f"{folder}/{called}-{width}-{scheme}.png", full_page=True)
        if width == 360:
            accessible(page)


def fill_course(store: Store) -> None:
    """Let a course show everything: learners who left, grades that wait, a column that is gone, another course."""
    names = ("Ada Byron", "Bo Lindqvist", "Cy Nakata", "Dov Almgren-Featherstonehaugh")
    for number, name in enumerate(names):
        learner = learners.added(store, name, NOON).id
        user = lti_queries.add_user(store, 1, f"s{number}", "learner", learner=learner)
        if number == 3:
            lti_queries.keep_left(store, user, NOON)
        else:
            roster_queries.add_member(store, learner, 1, NOON)
        outcome_queries.make_due(store, 1, learner, NOON)
        due = outcome_queries.grade(store, 1, learner)
        assert due is not None
        settled = replace(due, given=1.0, maximum=2.0, comment="", stamp=NOON)
        outcome_queries.settle(store, settled)
        if number == 0:
            outcome_queries.keep_sent(store, settled, NOON)
        elif number == 1:
            outcome_queries.hold(store, settled, grade_outbox.HELD_BACK["deleted"])
        else:
            why = f"the platform refused the grade (404); {grade_outbox.NO_COLUMN}"
            outcome_queries.keep_failed(store, settled, why, None, restamp=False)
    lti_queries.add_course(store, 1, "course-2", "Optics 3")
    lti_queries.add_user(store, 2, "2", "teacher", preceptor=lti_queries.users_of(store, 1, "teacher")[0].preceptor)


def test_the_frame_of_another_site_shows_nothing(two_sites: TwoSites) -> None:
    """A page that is not the platform's cannot frame a page of a launch, nor any page of the app."""
    page = two_sites.context.new_page()
    refused = list[str]()
    page.on("console", lambda said: refused.append(said.text))
    page.goto(f"{two_sites.course.rsplit('/', 1)[0]}/course?as=4")
    page.set_content(f'<iframe src="{two_sites.tool}/door"></iframe>')
    page.wait_for_timeout(300)
    assert any("frame-ancestors" in one for one in refused), json.dumps(refused)
