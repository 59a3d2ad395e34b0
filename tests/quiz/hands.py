"""Learners at their browsers, as threads that answer a real server as fast as it lets them, and what they were told."""

from __future__ import annotations

import http.client
import re
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from urllib.parse import urlencode

from quiz.practice import dealing
from quiz.storage.datafile import Away
from quiz.storage.engines.seam import Engine
from quiz.storage.store import Store
from tests.conftest import written


@dataclass
class Hand:
    """One learner at one browser, answering as fast as the server lets them."""

    host: str
    port: int
    name: str
    acknowledged: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    """Case id, texts given, confidence."""
    other: list[tuple[str, int]] = field(default_factory=list)
    """Requests that were answered otherwise than hoped: address and status."""
    cut_off: bool = False
    cookie: str = ""
    stop: threading.Event = field(default_factory=threading.Event)

    def ask(self, method: str, url: str, form: dict[str, str] | None = None) -> http.client.HTTPResponse:
        self.line.request(
            method,
            url,
            urlencode(form or {}),
            {
                "Cookie": self.cookie,
                "Origin": f"http://{self.host}:{self.port}",
                "Content-Type": "application/x-www-form-urlencoded",
            },
        )
        response = self.line.getresponse()
        self.body = response.read().decode()
        if response.getheader("Set-Cookie"):
            self.cookie = str(response.getheader("Set-Cookie")).split(";")[0]
        return response

    def answer_one(self, store: Store) -> None:
        found = self.ask("GET", "/practise")
        refused = 0
        for _ in range(3):
            where = str(found.getheader("Location"))
            if not where.startswith(("/first-questions", "/recall/prompt/")):
                example = re.search(r"/worked/[\w-]+", self.body)
                if not example or found.status != 200:
                    break
                where = example.group(0)
            passed_over = self.ask("POST", where, {"skip": "yes", "later": "yes"}).status
            refused = passed_over if passed_over >= 400 else refused
            found = self.ask("GET", "/practise")
        form_of = re.search(r"/case/([\w-]+)/answer", self.body)
        if found.status != 200 or form_of is None:
            self.other.append(("/practise", refused or found.status))
            time.sleep(0.02)
            return
        case_id = form_of.group(1)
        dealt = store.dealt(case_id)
        assert dealt is not None
        case = dealing.case_of(dealt)
        number = len(self.acknowledged)
        wrong = [one.answer for one in case.singles if not case.type.form_matters]
        texts = written(case, wrong[number % len(wrong)] if wrong and number % 3 else None)
        confidence = str(number % 3 + 1)
        form = {f"answer-{name}": text for name, text in texts.items()} | {"confidence": confidence}
        status = self.ask("POST", f"/case/{case_id}/answer", form).status
        if status == 303:
            self.acknowledged.append((case_id, texts, confidence))
        else:
            self.other.append((f"/case/{case_id}/answer", status))
            time.sleep(0.02)

    def work(self, file: Engine) -> None:
        with closing(Store(file)) as store, closing(http.client.HTTPConnection(self.host, self.port)) as self.line:
            with suppress(OSError, http.client.HTTPException, Away):
                if not self.cookie:
                    self.ask("POST", "/people", {"name": self.name})
                while not self.stop.is_set():
                    self.answer_one(store)
                return
            self.cut_off = True


def total(hands: Sequence[Hand]) -> int:
    return sum(len(hand.acknowledged) for hand in hands)


@contextmanager
def at_work(hands: Sequence[Hand], file: Engine) -> Iterator[None]:
    """Let the hands work until the block ends."""
    threads = [threading.Thread(target=hand.work, args=(file,)) for hand in hands]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        for hand in hands:
            hand.stop.set()
        for thread in threads:
            thread.join(30)


def wait_for(hands: Sequence[Hand], answers: int, *, seconds: float = 60) -> None:
    """Wait until this many answers were acknowledged in all."""
    deadline = time.monotonic() + seconds
    while total(hands) < answers:
        assert time.monotonic() < deadline, f"{total(hands)} answers were acknowledged, of {answers}"
        time.sleep(0.005)


def nothing_lost(store: Store, hands: Sequence[Hand]) -> int:
    """See that every acknowledged answer stands in the log, field by field, and return how many stand there in all."""
    kept = 0
    for hand in hands:
        learner = next((one for one in store.learners() if one.name == hand.name), None)
        if learner is None:
            assert hand.acknowledged == []
            continue
        answers = store.answers_of(learner.id)
        log = {one.dealt: one for one in answers}
        assert len(log) == len(answers), "no case has two answers"
        kept += len(log)
        for case_id, texts, confidence in hand.acknowledged:
            answer, dealt = log[case_id], store.dealt(case_id)
            assert dealt is not None
            case = dealing.case_of(dealt)
            assert answer.given == texts
            assert answer.confidence == int(confidence)
            assert (answer.type, answer.seed, answer.findings) == (dealt.type, dealt.seed, dealt.findings)
            assert answer.truth == case.type.answer_json(case.truth)
            assert answer.steps == case.skills
            assert answer.learner == learner.id
            assert dealt.closed_at == answer.at
    return kept
