"""Requests that nobody should send: `python -m tests.benchmarks.mutate [--requests 10000] [--seed 1]`.

Every route of the app is asked with its real forms, found on its own pages, in which values, names, addresses, headers
and bodies were spoilt by chance: by nobody, by a learner, by a learner of a class and by a preceptor. No answer may be
a fault (500), show a traceback, or hold markup that the request brought; and the data file must be sound at the end.
Exit 1, with the request that did it, when one does. tests/quiz/web/test_mutated.py runs a few hundred of them.
"""

from __future__ import annotations

import argparse
import io
import random
import re
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import Rule
from werkzeug.test import TestResponse

from quiz.app import create_app
from quiz.classroom import preceptors
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import NAME, Browser, learner, make_class, preceptor, set_drill

say = print
TAG, ATTRIBUTE = "zq7tag", "zq8attribute"
NASTY = (
    "",
    " ",
    f"<{TAG}>",
    f"\"'><{TAG} {ATTRIBUTE}=1>",
    f'" {ATTRIBUTE}="1',
    f"' {ATTRIBUTE}='1",
    f"</textarea></script><{TAG}>",
    f"javascript:{TAG}()",
    "{{7*7}}{%raw%}",
    "'; DROP TABLE answers; --",
    "\x00",
    "\ud800",
    "‮+1.00‬",
    "🄋​﻿",
    "٣٫٥٠",
    "１．５０",
    "0",
    "-1",
    "1e999",
    "nan",
    "-inf",
    "99999999999999999999999999",
    "9" * 5000,
    "1/0",
    "+" * 3000,
    "true",
    "null",
    "[]",
    '{"a":1}',
    "../../../etc/passwd",
    "..%2f..%2fapp",
    "%",
    "%s%n%d",
    "2026-13-45T99:99",
    "0001-01-01T00:00",
    "9999-12-31T23:59",
    "x" * 70_000,
    "\r\nSet-Cookie: a=b",
    "= 1 + 1",
    "+1.00 / -1.50 x 90",
    "+1.00 / -1.50 x 0",
    "pl",
    "-25",
)
FITTING = ("1", "2", "3", "10", "67", "90", "+1.00", "-0.50", "+1.00 / -1.50 x 90", "plano", "yes", "minus", "once")


ENDS = re.compile(r"remove|clear|leave|sign-out|delete")
"""Addresses that end what there is to ask; asked at the end, and only then."""


class Reading(HTMLParser):
    """A page read as a browser reads it: its forms, its links, and markup that came from the request."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, str, list[tuple[str, str]]]] = []
        self.links: list[str] = []
        self.planted: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == TAG or ATTRIBUTE in given:
            self.planted.append(self.get_starttag_text() or tag)
        if given.get("href", given.get("src", "")).strip().lower().startswith("javascript:"):
            self.planted.append(self.get_starttag_text() or tag)
        if tag == "form":
            self.forms.append((given.get("method", "get").upper(), given.get("action", ""), []))
        elif tag in ("input", "select", "textarea", "button") and self.forms:
            if given.get("name"):
                self.forms[-1][2].append((given["name"], given.get("value", "")))
            if given.get("formaction"):
                method, _, names = self.forms[-1]
                self.forms.append((method, given["formaction"], list(names)))
        elif tag == "a":
            self.links.append(given.get("href", ""))


@dataclass
class Visitor:
    """Someone who sends requests."""

    name: str
    client: FlaskClient
    app: Flask
    forms: dict[tuple[str, str], list[tuple[str, str]]] = field(default_factory=dict)
    """Forms seen so far, by method and address."""
    links: list[str] = field(default_factory=list)

    def learn(self, page: TestResponse) -> list[str]:
        """Take in the forms and links of a page, and return markup that the request planted in it."""
        if page.mimetype != "text/html":
            return []
        reading = Reading()
        reading.feed(page.text)
        for method, action, names in reading.forms:
            address = action or page.request.path
            if address.startswith("/") and not ENDS.search(address):
                self.forms[method, address] = names
        self.links += [one for one in reading.links if one.startswith("/") and one not in self.links][:200]
        return reading.planted


@dataclass
class Sent:
    """A request as it was sent, to be told when it does harm."""

    who: str
    method: str
    url: str
    data: Any
    headers: dict[str, str]

    def __str__(self) -> str:
        data = repr(self.data)
        return f"{self.who}: {self.method} {self.url[:300]} {data[:600]} {self.headers}"


def visitors(folder: Path, clock: Clock) -> tuple[list[Visitor], list[DataFile]]:
    """Make the data files of one computer and of a class, and people who have been there for a while."""
    files = [DataFile.open(folder / "own.sqlite3"), DataFile.open(folder / "class.sqlite3")]
    own = create_app(files[0], clock=clock, lots=lots())
    beyond = create_app(files[1], clock=clock, lots=lots(2), hosts=None, beyond=True)
    with closing(Store(files[1])) as store:
        who = preceptor(beyond, store)
        number, code = make_class(who)
        member = learner(beyond, code, "Ottoline")
        set_drill(who, number)
        preceptors.make_administrator(store, preceptors.named(store, NAME), now=clock())
    return [
        Visitor("someone at this computer", own.test_client(), own),
        Visitor("a preceptor", who.client, beyond),
        Visitor("a learner of a class", member.client, beyond),
        Visitor("nobody", Browser(beyond).client, beyond),
    ], files


class Mutation:
    """Requests made by chance from what a visitor has seen."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.at_the_end = False

    def value(self, was: str) -> str:
        """Spoil a value, or leave it."""
        pick = self.rng.random()
        if pick < 0.4:
            return was or self.rng.choice(FITTING)
        if pick < 0.55:
            return self.rng.choice(FITTING)
        if pick < 0.85 or not was:
            return self.rng.choice(NASTY)
        at = self.rng.randrange(len(was) + 1)
        return was[:at] + self.rng.choice(NASTY)[:200] + was[at + self.rng.randint(0, 2) :]

    def form(self, names: Sequence[tuple[str, str]]) -> dict[str, Any]:
        """Fill a form in, some of it wrongly: names left out, sent twice, misspelt."""
        out: dict[str, Any] = {}
        for name, value in names:
            pick = self.rng.random()
            if pick < 0.1:
                continue
            if pick < 0.15:
                name = self.rng.choice((name.upper(), f"{name}[]", name[:-1], f"{name}<{TAG}>"))
            new = self.value(value)
            out[name] = [new, self.value(value)] if pick > 0.95 else new
        if self.rng.random() < 0.05:
            out[self.rng.choice(("file", "log", "csv"))] = (io.BytesIO(self.rng.randbytes(300)), f"<{TAG}>.csv")
        return out

    def address(self, rule: Rule) -> str:
        """Write an address that fits a rule, with wrong things in its holes."""

        def hole(_: re.Match[str]) -> str:
            return self.rng.choice(("1", "1", "2", "0", "999999999999999999999", "x", f"<{TAG}>", *NASTY[:30]))

        return re.sub(r"<[^>]+>", hole, rule.rule)

    def request(self, visitor: Visitor) -> Sent:
        """Make one request."""
        pick = self.rng.random()
        method, url = "GET", "/"
        data: dict[str, Any] = {}
        if pick < 0.55 and visitor.forms:
            (method, url), names = self.rng.choice(list(visitor.forms.items()))
            data = self.form(names)
        elif pick < 0.65 and visitor.links:
            url = self.rng.choice(visitor.links)
        else:
            rules = visitor.app.url_map.iter_rules()
            rule = self.rng.choice([one for one in rules if self.at_the_end or not ENDS.search(one.rule)])
            methods = sorted((rule.methods or {"GET"}) - {"HEAD", "OPTIONS"})
            method, url = self.rng.choice(methods), self.address(rule)
            part = url.split("/")[1]
            near = [names for (_, address), names in visitor.forms.items() if address.split("/")[1] == part]
            data = self.form(self.rng.choice(near)) if near else {"name": self.value(""), "text": self.value("")}
        if self.rng.random() < 0.1:
            method = self.rng.choice(("GET", "POST", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS"))
        if self.rng.random() < 0.15:
            name = self.rng.choice(("case", "name", "text", "page", "drill", "type"))
            url += ("&" if "?" in url else "?") + f"{name}={self.value('1').replace('#', '')}"
        return Sent(visitor.name, method, url, data, self.headers(visitor))

    def headers(self, visitor: Visitor) -> dict[str, str]:
        """Name where a request comes from, mostly rightly."""
        out = {"Origin": "http://localhost"}
        pick = self.rng.random()
        if pick < 0.05:
            out["Accept"] = "application/json"
        elif pick < 0.08:
            out["Origin"] = self.rng.choice(("null", "http://elsewhere.example", f"<{TAG}>"))
        elif pick < 0.10:
            out["Accept"] = f"text/html;q=<{TAG}>"
        elif pick < 0.12 and visitor.name == "nobody":
            out["Cookie"] = self.rng.choice(("two-meridians=x.y.z", "two-meridians=", f"a=<{TAG}>", "=;=;="))
        elif pick < 0.14:
            out["Content-Type"] = self.rng.choice(("application/json", "text/plain", "multipart/form-data", f"<{TAG}>"))
        return out


def fault_of(sent: Sent, page: TestResponse, planted: Sequence[str]) -> str | None:
    """Say what is wrong with an answer, if anything is."""
    if page.status_code >= 500:
        return f"answered {page.status_code}"
    text = page.get_data(as_text=False)
    if b"Traceback (most recent" in text or b"sqlite3." in text:
        return "showed its insides"
    if planted:
        return f"gave back markup: {planted[0][:200]}"
    if page.mimetype == "text/html" and f"<{TAG}".encode() in text:
        return "gave back markup unescaped"
    if any("\n" in value or "\r" in value for _, value in page.headers):
        return "gave back a header line"
    if sent.method == "GET" and page.headers.get("X-Content-Type-Options") != "nosniff":
        return "lets a browser guess what it is"
    return None


def send(visitor: Visitor, sent: Sent) -> TestResponse:
    """Send a request."""
    where = {"REMOTE_ADDR": "192.0.2.9" if visitor.name == "nobody" else "127.0.0.1"}
    return visitor.client.open(
        sent.url, method=sent.method, data=sent.data, headers=sent.headers, environ_overrides=where
    )


def run(folder: Path, requests: int, seed: int, told: Callable[[str], None]) -> tuple[int, Counter[int]]:
    """Send this many requests, tell of those that did harm, and return how many did and what was answered."""
    rng, clock = random.Random(seed), Clock()
    people, files = visitors(folder, clock)
    mutation, answers, bad = Mutation(rng), Counter[int](), 0
    for one in people:
        for rule in one.app.url_map.iter_rules():
            if "GET" in (rule.methods or ()) and rule.endpoint != "static":
                one.learn(one.client.get(re.sub(r"<[^>]+>", "1", rule.rule)))
    for number in range(requests):
        one = people[number % len(people)]
        # Long enough that tries which failed are soon forgotten, short enough that the preceptor stays signed in.
        clock.move(seconds=min(30, 40_000 / requests))
        mutation.at_the_end = number > 0.95 * requests
        sent = mutation.request(one)
        try:
            page = send(one, sent)
        except (UnicodeError, ValueError, TypeError):
            continue  # what the client itself cannot write down never reaches the app
        answers[page.status_code] += 1
        fault = fault_of(sent, page, one.learn(page))
        if fault:
            bad += 1
            told(f"{fault}\n  {sent}")
        if rng.random() < 0.02:
            one.learn(one.client.get("/"))
    for file in files:
        file.close()
        for found in check(file.path):
            if not found.good:
                bad += 1
                told(f"the data file: {found.words}")
    return bad, answers


def main(arguments: Sequence[str] | None = None) -> int:
    """Send them and say what was answered."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.mutate", description=__doc__.split("\n\n")[0])
    parser.add_argument("--requests", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    with TemporaryDirectory(prefix="mutate-") as folder:
        bad, answers = run(Path(folder), options.requests, options.seed, say)
    say(f"{answers.total()} requests: " + ", ".join(f"{code} × {count}" for code, count in sorted(answers.items())))
    say(f"{bad} did harm")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
