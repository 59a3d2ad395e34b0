"""The real server is killed in the middle of its work: every answer that it acknowledged is there, field by field."""

from __future__ import annotations

import http.client
import re
import threading
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from quiz import folding, practice
from quiz.datafile import DataFile
from quiz.store import Store
from tests.conftest import written
from tests.quiz.test_serving import serving

LEARNERS = 4
ENOUGH = 40
"""Answers acknowledged before the kill."""


@dataclass
class Hand:
    """One learner at one browser, answering as fast as the server lets them."""

    host: str
    port: int
    name: str
    acknowledged: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    """Case id, texts given, confidence."""
    cut_off: bool = False
    cookie: str = ""

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

    def work(self, file: DataFile) -> None:
        with closing(Store(file)) as store, closing(http.client.HTTPConnection(self.host, self.port)) as self.line:
            with suppress(OSError, http.client.HTTPException):
                self.ask("POST", "/people", {"name": self.name})
                while True:
                    self.ask("GET", "/")
                    case_id = re.search(r"/case/([\w-]+)/answer", self.body).group(1)  # type: ignore[union-attr]
                    dealt = store.dealt(case_id)
                    assert dealt is not None
                    case = practice.case_of(dealt)
                    number = len(self.acknowledged)
                    wrong = [one.answer for one in case.singles if not case.type.form_matters]
                    texts = written(case, wrong[number % len(wrong)] if wrong and number % 3 else None)
                    confidence = str(number % 3 + 1)
                    form = {f"answer-{name}": text for name, text in texts.items()} | {"confidence": confidence}
                    if self.ask("POST", f"/case/{case_id}/answer", form).status == 303:
                        self.acknowledged.append((case_id, texts, confidence))
            self.cut_off = True


def test_every_acknowledged_answer_survives_a_kill(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite3"
    DataFile.open(path).close()
    with serving("--data", path) as (child, host, port), closing(DataFile.open(path)) as file:
        hands = [Hand(host, port, f"Hand {number}") for number in range(LEARNERS)]
        threads = [threading.Thread(target=hand.work, args=(file,)) for hand in hands]
        for thread in threads:
            thread.start()
        deadline = time.monotonic() + 60
        while sum(len(hand.acknowledged) for hand in hands) < ENOUGH:
            assert time.monotonic() < deadline, "the server acknowledged too few answers in a minute"
            assert all(thread.is_alive() for thread in threads)
            time.sleep(0.005)
        child.kill()
        for thread in threads:
            thread.join(20)
        assert all(hand.cut_off for hand in hands), "the kill landed in the middle of the work"

    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        kept = 0
        for hand in hands:
            learner = next(one for one in store.learners() if one.name == hand.name)
            log = {one.dealt: one for one in store.answers_of(learner.id)}
            kept += len(log)
            for case_id, texts, confidence in hand.acknowledged:
                answer, dealt = log[case_id], store.dealt(case_id)
                assert dealt is not None
                case = practice.case_of(dealt)
                assert answer.given == texts
                assert answer.confidence == int(confidence)
                assert (answer.type, answer.seed, answer.findings) == (dealt.type, dealt.seed, dealt.findings)
                assert answer.truth == case.type.answer_json(case.truth)
                assert answer.steps == list(case.skills)
                assert answer.learner == learner.id
                assert dealt.closed_at == answer.at
        acknowledged = sum(len(hand.acknowledged) for hand in hands)
        assert acknowledged >= ENOUGH
        assert kept - acknowledged <= LEARNERS, "at most one answer a learner was kept without being acknowledged"
        assert all(one.as_kept for one in folding.rebuild(store)), "and memory stands where the log stands"
