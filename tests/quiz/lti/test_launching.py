"""Logins and launches: the good ones come in, and every hostile one that is known is refused and changes nothing.

The rules are those of LTI Core 1.3 and the Security Framework 1.0 (1EdTech), OpenID Connect Core 1.0 section 3.2.2 and
RFC 8725 (best practice for JSON web tokens).
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import jwt
import pytest
from cryptography.hazmat.primitives import serialization

from quiz.lti import launching, registering
from quiz.lti.fetching import Reply
from quiz.storage.datafile import DataFile
from quiz.storage.platform import lti_queries
from quiz.storage.store import Store
from tests.conftest import Clock, all_rows
from tests.quiz.lti.conftest import School, made_school, platform_given
from tests.quiz.lti.small_platform import CLAIM, HERE, MEMBER, TEACHER, SmallPlatform, Visitor, a_key, hidden

Made = Callable[[SmallPlatform, str], str]


def told(**claims: Any) -> Made:
    """Make a token with other claims; one of None is left out."""
    return lambda platform, nonce: platform.token(platform.claims(nonce, **claims))


def aged(**seconds: float) -> Made:
    """Make a token whose times are this many seconds from now."""
    return lambda platform, nonce: platform.token(
        platform.claims(nonce, **{name: platform.clock() + by for name, by in seconds.items()})
    )


def _none(platform: SmallPlatform, nonce: str) -> str:
    parts = ({"alg": "none", "kid": platform.kid}, platform.claims(nonce))
    return ".".join(base64.urlsafe_b64encode(json.dumps(one).encode()).rstrip(b"=").decode() for one in parts) + "."


def _by_public_key(platform: SmallPlatform, nonce: str) -> str:
    """Sign by HS256 with the public key as if it were a secret (RFC 8725 section 2.1)."""
    forms = (serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo)
    pem = platform.key.public_key().public_bytes(*forms)
    head, body = (
        base64.urlsafe_b64encode(json.dumps(one).encode()).rstrip(b"=")
        for one in ({"alg": "HS256", "kid": platform.kid}, platform.claims(nonce))
    )
    mac = jwt.algorithms.HMACAlgorithm(jwt.algorithms.HMACAlgorithm.SHA256).sign(head + b"." + body, pem)
    return b".".join((head, body, base64.urlsafe_b64encode(mac).rstrip(b"="))).decode()


def _changed(platform: SmallPlatform, nonce: str) -> str:
    head, _, mac = platform.token(platform.claims(nonce)).split(".")
    claims = {**platform.claims(nonce), f"{CLAIM}roles": [f"{MEMBER}Instructor"]}
    return ".".join((head, base64.urlsafe_b64encode(json.dumps(claims).encode()).rstrip(b"=").decode(), mac))


HOSTILE: dict[str, tuple[int, Made]] = {
    "no signature": (6, _none),
    "signed by the public key as a secret": (6, _by_public_key),
    "another algorithm": (6, lambda p, n: p.token(p.claims(n), alg="RS512")),
    "another key under the right name": (6, lambda p, n: p.token(p.claims(n), key=a_key(1))),
    "an unknown key": (6, lambda p, n: p.token(p.claims(n), kid="other")),
    "no name of a key": (6, lambda p, n: p.token(p.claims(n), kid=None)),
    "changed after signing": (6, _changed),
    "no token": (6, lambda _p, _n: "nonsense"),
    "another issuer": (6, told(iss="https://evil.example")),
    "another audience": (6, told(aud="client-2")),
    "several audiences without azp": (6, told(aud=["client-1", "client-2"])),
    "azp of another client": (6, told(aud=["client-1", "client-2"], azp="client-2")),
    "one audience and azp of another": (6, told(azp="client-2")),
    "run out": (4, aged(exp=-11)),
    "no end": (6, told(exp=None)),
    "an end that is no number": (6, told(exp="tomorrow")),
    "not issued": (6, told(iat=None)),
    "issued in the future": (16, aged(iat=11, exp=90)),
    "issued long ago, with a far end": (16, aged(iat=-311, exp=1e6)),
    "not valid yet": (6, aged(nbf=60)),
    "no subject": (6, told(sub=None)),
    "no nonce": (6, told(nonce=None)),
    "another nonce": (6, told(nonce="other")),
    "a nonce that is no text": (6, told(nonce=["x"])),
    "another version": (7, told(**{f"{CLAIM}version": "1.1.0"})),
    "another message": (7, told(**{f"{CLAIM}message_type": "LtiSubmissionReviewRequest"})),
    "no message": (7, told(**{f"{CLAIM}message_type": None})),
    "no deployment": (7, told(**{f"{CLAIM}deployment_id": None})),
    "an unknown deployment": (8, told(**{f"{CLAIM}deployment_id": "2"})),
    "no link": (7, told(**{f"{CLAIM}resource_link": None})),
    "a target elsewhere": (3, told(**{f"{CLAIM}target_link_uri": "https://school.example.evil.example/lti/launch"})),
    "no course": (10, told(**{f"{CLAIM}context": None})),
    "no role": (9, told(**{f"{CLAIM}roles": []})),
    "roles that are no list": (9, told(**{f"{CLAIM}roles": {"Instructor": 1}})),
    "an administrator of the system": (
        9,
        told(**{f"{CLAIM}roles": ["http://purl.imsglobal.org/vocab/lis/v2/system/person#Administrator"]}),
    ),
    "a teacher of the institution": (
        9,
        told(**{f"{CLAIM}roles": ["http://purl.imsglobal.org/vocab/lis/v2/institution/person#Instructor"]}),
    ),
    "a drill that is none": (12, told(**{f"{CLAIM}custom": {"drill": "f" * 32}})),
    "a learner who chooses": (14, told(**{f"{CLAIM}message_type": "LtiDeepLinkingRequest"})),
}


def everything(school: School) -> list[str]:
    """All that the data file holds, but states that were used up and deployments that wait for approval."""
    lines = all_rows(school.store)
    return [one for one in lines if not re.search("lti_(states|deployments)", one)]


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Make a course with a class once: what is refused changes nothing, so all can be tried on it."""
    path = tmp_path_factory.mktemp("steady") / "class.sqlite3"
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        school = made_school(file, store, Clock())
        school.teacher()
        yield school


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_launch_is_refused_and_changes_nothing(
    steady: School, what: str, caplog: pytest.LogCaptureFixture
) -> None:
    number, made = HOSTILE[what]
    school = steady
    before, visitor = everything(school), school.visitor()
    asked = visitor.begun()
    token = made(school.platform, asked["nonce"])
    reply = visitor.send(asked["state"], token)
    assert reply.status_code == 403
    assert f"(LTI {number:02d})" in reply.text
    assert "ticket" not in reply.text
    assert everything(school) == before
    assert visitor.get("/class").location == "/door"
    said = caplog.text
    assert f"LTI {number:02d}" in said
    assert not any(secret in said for secret in (token, asked["nonce"], asked["state"], "Ada"))


def test_a_platform_whose_keys_cannot_be_fetched_is_told_apart(school: School) -> None:
    school.teacher()
    school.state.keys.ask = lambda *_: pytest.fail("asked twice")  # kept for an hour
    assert school.visitor().launch(**TEACHER).status_code == 200


def test_a_launch_is_let_in_once(school: School) -> None:
    school.teacher()
    visitor = school.visitor()
    asked = visitor.begun()
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    assert visitor.send(asked["state"], token).status_code == 200
    again = visitor.send(asked["state"], token)
    assert again.status_code == 403
    assert "(LTI 04)" in again.text
    other = visitor.begun()
    assert "(LTI 06)" in visitor.send(other["state"], token).text  # the nonce is another state's


def test_a_state_is_used_up_even_by_a_launch_that_fails(school: School) -> None:
    visitor = school.visitor()
    asked = visitor.begun()
    visitor.send(asked["state"], "nonsense")
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    assert "(LTI 04)" in visitor.send(asked["state"], token).text


def test_a_state_runs_out(school: School) -> None:
    visitor = school.visitor()
    asked = visitor.begun()
    school.clock.move(seconds=601)
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    assert "(LTI 04)" in visitor.send(asked["state"], token).text
    assert "(LTI 04)" in visitor.send("", token).text


def test_another_browser_cannot_end_a_login(school: School) -> None:
    visitor, other = school.visitor(), school.visitor()
    asked = visitor.begun()
    other.begun()
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    assert "(LTI 05)" in other.send(asked["state"], token).text


def test_a_browser_without_the_cookie_begins_again_in_a_tab_of_its_own(school: School) -> None:
    visitor, bare = school.visitor(), school.visitor()
    asked = visitor.begun()
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    page = bare.send(asked["state"], token)
    assert page.status_code == 200
    assert 'target="_blank"' in page.text
    fields = {name: hidden(page, name) for name in ("iss", "client_id", "login_hint", "target_link_uri")}
    assert bare.get("/lti/login", **fields).status_code == 302
    assert "(LTI 04)" in visitor.send(asked["state"], token).text


def test_the_cookie_of_a_login_is_for_these_addresses_alone_and_partitioned(school: School) -> None:
    header = school.visitor().login().headers["Set-Cookie"]
    assert header.startswith("tm-lti=")
    assert {one.strip() for one in header.split(";")[1:]} == {
        *("Max-Age=600", "Path=/lti", "Secure", "HttpOnly", "SameSite=None", "Partitioned"),
        next(one.strip() for one in header.split(";") if "Expires" in one),
    }


@pytest.mark.parametrize(
    ("other", "number"),
    [
        ({"iss": ""}, 1),
        ({"login_hint": ""}, 1),
        ({"target_link_uri": ""}, 1),
        ({"login_hint": "x" * 4001}, 1),
        ({"iss": "https://evil.example"}, 2),
        ({"client_id": "client-2"}, 2),
        ({"target_link_uri": "https://evil.example/lti/launch"}, 3),
        ({"target_link_uri": f"{HERE}.evil.example/"}, 3),
        ({"target_link_uri": "http://school.example/lti/launch"}, 3),
    ],
)
def test_a_login_that_does_not_fit_is_refused(school: School, other: dict[str, str], number: int) -> None:
    reply = school.visitor().login(**other)
    assert reply.status_code == 403
    assert f"(LTI {number:02d})" in reply.text
    assert "Set-Cookie" not in reply.headers


def test_a_login_asks_the_platform_as_the_specification_has_it(school: School) -> None:
    """The parameters of LTI Security Framework 1.0, section 5.1.1.2."""
    asked = school.visitor().begun()
    assert {name: asked[name] for name in asked if name not in ("state", "nonce")} == {
        "scope": "openid",
        "response_type": "id_token",
        "response_mode": "form_post",
        "prompt": "none",
        "client_id": "client-1",
        "redirect_uri": f"{HERE}/lti/launch",
        "login_hint": "4",
        "lti_message_hint": "hint",
    }
    assert len(asked["state"]) >= 22  # 128 bits in base64
    assert len(asked["nonce"]) >= 22
    kept = str(school.store.fetch("SELECT * FROM lti_states")[0][:3])
    assert asked["state"] not in kept
    assert asked["nonce"] not in kept


def test_one_issuer_may_have_two_clients(school: School) -> None:
    other = SmallPlatform(school.clock, client_id="client-2", key=a_key(1), kid="k2")
    registering.add(
        school.store, platform_given(other, key_set_url="https://platform.example/keys2"), school=1, now=school.clock()
    )
    seen = school.platform.ask
    school.state.keys.ask = lambda method, url: (
        other.ask(method, other.issuer + "/keys") if "keys2" in url else seen(method, url)
    )
    visitor = Visitor(school.app, other)
    assert visitor.launch(**TEACHER).status_code == 200
    assert "(LTI 02)" in visitor.login(client_id="").text  # which of the two is not said
    asked = visitor.begun()
    crossed = school.platform.token(school.platform.claims(asked["nonce"], aud="client-2", **TEACHER))
    assert "(LTI 06)" in visitor.send(asked["state"], crossed).text


def test_a_new_key_is_fetched_and_not_for_every_unknown_one(school: School) -> None:
    school.teacher()
    school.platform.key, school.platform.kid = a_key(1), "k2"
    fetched = school.platform.log.count("GET https://platform.example/keys")
    assert "(LTI 06)" in school.visitor().launch(**TEACHER).text  # not asked again within two minutes
    school.clock.move(seconds=121)
    assert school.visitor().launch(**TEACHER).status_code == 200
    for _ in range(3):
        asked = (visitor := school.visitor()).begun()
        visitor.send(asked["state"], school.platform.token(school.platform.claims(asked["nonce"]), kid="k9"))
    assert school.platform.log.count("GET https://platform.example/keys") == fetched + 1


@pytest.mark.filterwarnings("ignore:The RSA key is 1024 bits long")
def test_a_short_key_is_refused(school: School) -> None:
    school.platform.key = a_key(2, 1024)
    assert "(LTI 06)" in school.visitor().launch(**TEACHER).text


def test_two_audiences_with_the_right_azp_come_in(school: School) -> None:
    assert school.visitor().launch(**TEACHER, aud=["client-1", "other"], azp="client-1").status_code == 200


def test_a_registration_that_is_off_lets_nobody_in_and_ends_sign_ins(school: School) -> None:
    teacher = school.teacher()
    assert teacher.get("/class").status_code == 200
    waiting = school.visitor()
    asked = waiting.begun()
    ticket = hidden(school.visitor().launch(**TEACHER), "ticket")
    registering.turn_off(school.store, school.registration)
    assert teacher.get("/class").location == "/door"
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    assert "(LTI 04)" in waiting.send(asked["state"], token).text
    assert "(LTI 04)" in waiting.post("/lti/enter", {"ticket": ticket}).text
    assert "(LTI 18)" in waiting.login().text


def test_an_unknown_deployment_waits_for_approval(school: School) -> None:
    elsewhere = {**TEACHER, f"{CLAIM}deployment_id": "2"}
    assert "(LTI 08)" in school.visitor().launch(**elsewhere).text
    assert [one.state for one in lti_queries.deployments_of(school.store, school.registration)] == ["active", "pending"]
    assert registering.approve(school.store, school.registration) == ["2"]
    assert school.visitor().launch(**elsewhere).status_code == 200


def test_only_login_and_launch_take_what_another_site_sends(school: School) -> None:
    visitor = school.visitor()
    for path in ("/lti/enter", "/lti/choose", "/course/1", "/class/1/platform"):
        assert visitor.post(path, {"ticket": "x"}, site="cross-site").status_code == 403, path
        assert "another site" in visitor.post(path, {"ticket": "x"}, site="cross-site").text
    assert "another site" not in visitor.send("", "").text


def test_only_the_platform_may_frame_a_launch_and_nobody_the_rest(school: School) -> None:
    page = school.visitor().launch(**TEACHER)
    assert "frame-ancestors https://platform.example;" in f"{page.headers['Content-Security-Policy']};"
    assert page.headers["Cross-Origin-Opener-Policy"] == "unsafe-none"
    teacher = school.teacher()
    for path in ("/class", "/class/1/platform", "/lti/config"):
        reply = teacher.get(path)
        assert reply.status_code == 200, path
        assert "frame-ancestors 'none'" in reply.headers["Content-Security-Policy"]
        assert reply.headers["Cross-Origin-Opener-Policy"] == (
            "unsafe-none" if path == "/lti/config" else "same-origin"
        )


def test_a_refusal_can_be_read_in_the_frame_of_a_registered_platform_alone(school: School) -> None:
    for page in (school.visitor().send("used", "x"), school.visitor().launch(aud="client-2")):
        assert page.status_code == 403
        assert "frame-ancestors https://platform.example;" in f"{page.headers['Content-Security-Policy']};"
    registering.turn_off(school.store, school.registration)
    assert "frame-ancestors 'none'" in school.visitor().send("used", "x").headers["Content-Security-Policy"]


def test_without_https_there_is_no_platform(school: School) -> None:
    from quiz.app import create_app

    app = create_app(school.store._file, hosts=None, beyond=True)
    for path in ("/lti/jwks.json", "/lti/login", "/lti/config"):
        assert app.test_client().get(path).status_code == 404


# --- refusals that an administrator can act on -----------------------------------------------------------------------


@pytest.mark.parametrize(("by_s", "minutes"), [(600, "10 minutes"), (-600, "10 minutes"), (-4200, "70 minutes")])
def test_clocks_that_differ_are_told_with_the_minutes(
    school: School, by_s: int, minutes: str, caplog: pytest.LogCaptureFixture
) -> None:
    at = int(school.clock()) + by_s
    page = school.visitor().launch(**TEACHER, iat=at, exp=at + 60)
    assert f"are {minutes} or more apart" in page.text
    assert "(LTI 16)" in page.text
    assert f"https://platform.example: the platform's clock is {abs(by_s)} s or more" in caplog.text
    assert "NTP" in caplog.text


def test_a_page_that_was_left_open_is_no_matter_of_clocks(school: School) -> None:
    visitor = school.visitor()
    asked = visitor.begun()
    school.clock.move(seconds=1)
    token = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER))
    school.clock.move(seconds=400)
    assert "(LTI 04)" in visitor.send(asked["state"], token).text


def test_another_key_under_the_same_name_is_fetched_and_not_at_each_failure(school: School) -> None:
    school.teacher()
    url = "GET https://platform.example/keys"
    school.platform.key = a_key(1)
    fetched = school.platform.log.count(url)
    for _ in range(3):
        assert "(LTI 06)" in school.visitor().launch(**TEACHER).text
    assert school.platform.log.count(url) == fetched
    school.clock.move(seconds=121)
    assert school.visitor().launch(**TEACHER).status_code == 200
    assert school.platform.log.count(url) == fetched + 1
    asked = (visitor := school.visitor()).begun()
    forged = school.platform.token(school.platform.claims(asked["nonce"], **TEACHER), key=a_key(2))
    school.clock.move(seconds=121)
    assert "(LTI 06)" in visitor.send(asked["state"], forged).text
    assert school.platform.log.count(url) == fetched + 2


def test_a_key_set_that_cannot_be_fetched_is_not_asked_for_at_each_launch(
    school: School, caplog: pytest.LogCaptureFixture
) -> None:
    asked: list[str] = []

    def gone(_method: str, url: str) -> Reply:
        asked.append(url)
        return Reply(404, b"")

    school.state.keys.ask = gone
    for _ in range(3):
        assert "(LTI 06)" in school.visitor().launch(**TEACHER).text
    assert len(asked) == 1
    assert "https://platform.example/keys answered 404" in caplog.text


def test_the_log_says_which_registration_does_not_fit(school: School, caplog: pytest.LogCaptureFixture) -> None:
    assert "(LTI 02)" in school.visitor().login(iss="https://platform.example/").text
    assert "number 1 has https://platform.example with client client-1" in caplog.text
    school.visitor().login(iss="https://evil.example/\nLTI 01: forged")
    assert "\nLTI 01: forged" not in caplog.text
    with school.store.writing():
        lti_queries.keep_registration_state(school.store, 1, "pending")
    assert "(LTI 17)" in school.visitor().login().text
    assert "python -m quiz lti approve 1" in caplog.text
    registering.approve(school.store, 1)
    school.visitor().launch(**TEACHER, **{f"{CLAIM}deployment_id": "faculty-7"})
    assert "deployment “faculty-7” of registration 1 waits to be approved: python -m quiz lti approve 1" in caplog.text


def test_a_refusal_has_a_way_back_to_the_course(school: School) -> None:
    there = {f"{CLAIM}launch_presentation": {"return_url": "https://platform.example/course-1"}}
    assert 'href="https://platform.example/course-1">Back to your course' in school.visitor().launch(**there).text
    there = {f"{CLAIM}launch_presentation": {"return_url": "javascript:alert(1)"}}
    assert "Back to your course" not in school.visitor().launch(**there).text


def test_every_refusal_is_in_the_table_for_administrators() -> None:
    text = Path(launching.__file__).with_name("COURSE-PLATFORMS.md").read_text(encoding="utf-8")
    listed = [line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| LTI ")]
    assert listed == [f"LTI {number:02d}" for number in sorted(launching.REFUSALS)]
