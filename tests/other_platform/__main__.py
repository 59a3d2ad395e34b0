"""The app launched by the platform half of a library that is not ours: `python -m tests.other_platform`.

lti-consumer-xblock (PyPI, AGPL) is installed at the pinned versions into a virtual environment of its own, a new one
each time unless `--python` names one that has it, and runs there as another program. It sends a teacher and a learner,
takes the answer to a chosen drill, gives access tokens for our signed assertion, and says whether a token may send a
score. Each line says what was seen; the command ends with 1 at the first that was not.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
import venv
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from cryptography.hazmat.primitives import serialization

from quiz.app import create_app
from quiz.classroom import sign_in
from quiz.lti import grade_outbox, registering, signing
from quiz.lti.fetching import Reply
from quiz.lti.registering import Platform
from quiz.lti.services import SCORES
from quiz.practice.randomness import Lots
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.front.public_address import PublicAddress
from tests.conftest import Clock, written
from tests.quiz.class_people import DRILL, waiting_in
from tests.quiz.lti.small_platform import HERE, SmallPlatform, Visitor, hidden

say = print
BESIDE = Path(__file__).parent
ISSUER = "https://platform.example"


@dataclass
class Consumer:
    """The other program."""

    process: subprocess.Popen[str]

    def line(self, what: Any) -> Any:
        if self.process.stdin is None or self.process.stdout is None:
            raise RuntimeError("the other program has no pipes")
        self.process.stdin.write(json.dumps(what) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def asks(self, do: str, **how: Any) -> Any:
        """Ask for one thing; an error of the other side is one here."""
        answer = self.line({"do": do, **how})
        if "error" in answer:
            raise AssertionError(f"{do}: {answer['error']}")
        return answer["is"]


@contextmanager
def a_python(given: Path | None) -> Iterator[Path]:
    """Yield a Python that has the library."""
    if given is not None:
        yield given
        return
    with TemporaryDirectory(prefix="other-platform-") as folder:
        venv.create(folder, with_pip=True)
        python = Path(folder) / ("Scripts" if sys.platform == "win32" else "bin") / "python"
        pinned = BESIDE / "requirements.txt"
        subprocess.run([python, "-m", "pip", "install", "--quiet", "--no-deps", "--requirement", pinned], check=True)
        yield python


def seen(words: str) -> None:
    say(f"good  {words}", flush=True)


def main() -> int:
    """Try it all."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--python", type=Path, help="a Python that has lti-consumer-xblock")
    began = time.monotonic()
    with a_python(parser.parse_args().python) as python, TemporaryDirectory() as folder:
        say(f"installed in {time.monotonic() - began:.0f} s", flush=True)
        with closing(DataFile.open(Path(folder) / "class.sqlite3")) as file, closing(Store(file)) as store:
            command = [str(python), str(BESIDE / "consumer_side.py")]
            process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
            )
            try:
                tried(file, store, Consumer(process))
            finally:
                process.kill()
                process.wait()
    say(f"all in {time.monotonic() - began:.0f} s")
    return 0


def tried(file: DataFile, store: Store, consumer: Consumer) -> None:
    """Launch, choose, answer and grade."""
    public = PublicAddress("https", "school.example", "", 1)
    clock = time.time
    app = create_app(file, clock=clock, hosts=None, beyond=True, public=public)
    sign_in.add_preceptor(store, "Server", "a streak at ninety", now=clock())
    given = {"auth_login_url": f"{ISSUER}/auth", "auth_token_url": f"{ISSUER}/token", "key_set_url": f"{ISSUER}/keys"}
    registering.add(store, Platform(ISSUER, "client-1", **given, deployment_id="1"), school=1, now=clock())
    key = signing.signing_key(store, now=clock(), lots=Lots())
    public_key = serialization.load_pem_private_key(key.private_pem.encode(), None).public_key()
    forms = serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    pem = public_key.public_bytes(*forms).decode()
    keys = consumer.line({"login": f"{HERE}/lti/login", "launch": f"{HERE}/lti/launch", "key": pem})
    scores: list[dict[str, Any]] = []

    def ask(_method: str, url: str, **how: Any) -> Reply:
        path = urlsplit(url).path
        if path == "/keys":
            return Reply(200, json.dumps(keys).encode())
        if path == "/token":
            form = dict(parse_qsl(how["body"].decode()))
            return Reply(200, json.dumps(consumer.asks("token", form=form)).encode())
        token = how["headers"]["Authorization"].removeprefix("Bearer ")
        if path != "/items/1/scores" or not consumer.asks("may", token=token, scopes=[SCORES]):
            return Reply(403, b"")
        scores.append(json.loads(how["body"]))
        return Reply(200, b"")

    state = app.extensions["lti"]
    state.keys.ask = state.services.ask = ask

    def launched(visitor: Visitor, role: str, user: str, name: str, **how: Any) -> tuple[Any, Any]:
        began = consumer.asks("login", user=user, role=role, name=name, **how)
        asked = visitor.get(urlsplit(began).path, **dict(parse_qsl(urlsplit(began).query)))
        assert asked.status_code == 302, asked.text
        preflight = dict(parse_qsl(urlsplit(asked.location).query))
        sent = consumer.asks("launch", preflight=preflight)
        return visitor.send(sent["state"], sent["id_token"]), sent

    teacher = Visitor(app, SmallPlatform(Clock()))
    page, sent = launched(teacher, "instructor", "2", "Marit Osei")
    assert page.status_code == 200, page.text
    assert "(LTI 04)" in teacher.send(sent["state"], sent["id_token"]).text
    seen("a teacher is let in, and the same launch is not let in again")
    course = teacher.post("/lti/enter", {"ticket": hidden(page, "ticket")}).location
    teacher.post(course, {"do": "make"})
    made = teacher.post("/class/1/drill", {**DRILL, "cases": "2"}).location
    teacher.post(f"{made}/open")

    page, _ = launched(teacher, "instructor", "2", "Marit Osei", deep=True)
    done = teacher.post("/lti/choose", {"choice": hidden(page, "choice"), "drill": "1", "points": "10"})
    items = consumer.asks("chosen", token=hidden(done, "JWT"))
    assert items[0]["type"] == "ltiResourceLink"
    assert items[0]["lineItem"]["scoreMaximum"] == 10
    seen("a drill is chosen, and the platform takes the signed answer")

    learner = Visitor(app, SmallPlatform(Clock()))
    page, _ = launched(learner, "student", "4", "Ada Byron", custom=items[0]["custom"])
    assert learner.post("/lti/enter", {"ticket": hidden(page, "ticket")}).location == "/drill/1", page.text
    seen("a learner is let in and comes to that drill")

    learner.post("/drill/1/begin")
    for _ in range(2):
        dealt, case = waiting_in(learner.get("/drill/1"), store)
        texts = {f"answer-{name}": text for name, text in written(case).items()}
        assert learner.post(f"/case/{dealt}/answer", texts).status_code == 303
    assert grade_outbox.send_all(store, state.services, now=clock()) == 1
    assert [(one["userId"], one["scoreGiven"], one["scoreMaximum"]) for one in scores] == [("4", 2.0, 2.0)]
    seen("the platform gives a token for our assertion, and the grade goes out under it")


if __name__ == "__main__":
    sys.exit(main())
