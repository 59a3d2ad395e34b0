"""What a class costs that begins an examination at once: `python -m tests.benchmarks.examining [LEARNERS]`.

Sixty learners of one class begin a patient that was set, do forty acts each in turn, and hand in. Requests go through
the whole app in this process, so that the time is the server's processor time and nothing else. Prints milliseconds of
it for a request of each sort, for the first ten acts and the last ten, as the page's own script asks for them, and what
one second of one core carries. Exit 1 when an act costs more than four times the start page, measured in the same run,
or when late acts cost more than twice the early ones.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from werkzeug.test import TestResponse

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, lots
from tests.quiz.class_people import Browser, learner, make_class, preceptor

LEARNERS, ACTS, ENDS = 60, 40, 10
PART = {"X-Part": "examination"}
SETTING_UP: tuple[dict[str, str], ...] = (
    {"do": "room", "value": "dim"},
    {"do": "target", "value": "6"},
    {"do": "seat", "cm": "50"},
)
ROUND: tuple[dict[str, str], ...] = (
    {"do": "lens", "sphere": "+1.25"},
    {"do": "lens", "sphere": "+1.50"},
    {"do": "end-point", "streak": "175"},
    {"do": "lean-in"},
)


def acts() -> list[dict[str, str]]:
    """Return the forms of one examination in order."""
    return [*SETTING_UP, *(ROUND[one % len(ROUND)] for one in range(ACTS - len(SETTING_UP)))]


def main(people: int) -> int:
    """Print the costs; return 1 where one is out of proportion."""
    spent: dict[str, list[float]] = defaultdict(list)

    def timed(name: str, ask: Callable[..., TestResponse], *what: object, **headers: str) -> TestResponse:
        before = time.process_time()
        reply = ask(*what, **headers)
        spent[name].append(1000 * (time.process_time() - before))
        if reply.status_code >= 400:
            raise SystemExit(f"{name}: {reply.status_code}")
        return reply

    with tempfile.TemporaryDirectory() as folder, closing(DataFile.open(Path(folder) / "class.db")) as file:
        app = create_app(file, clock=Clock(), lots=lots(), hosts=None, beyond=True)
        with closing(Store(file)) as store:
            owner = preceptor(app, store)
            number, code = make_class(owner)
            owner.post(f"/class/{number}/examinations", {"title": "Two", "patient": ["vignette dev", "drawn school"]})
            class_: list[Browser] = []
            for one in range(people):
                if one % 20 == 0:
                    owner.post(f"/class/{number}/know-joined")
                class_.append(learner(app, code, f"Learner {one}"))
            for who in class_[:1]:  # what is made once is made before
                who.get("/examination")
            for who in class_:
                timed("start page", who.get, "/examination")
            begun = []
            for who in class_:
                reply = timed("begin", who.post, "/examination", {"set": "1 0"})
                begun.append(str(reply.location).split("/")[2])
            runs = [(who, f"/examination/{examination}") for who, examination in zip(class_, begun, strict=True)]
            for who, url in runs:
                timed("first page", who.get, f"{url}/right")
            for place, form in enumerate(acts()):
                name = "early act" if place < ENDS else "late act" if place >= ACTS - ENDS else "act"
                for who, url in runs:
                    timed(name, who.post, f"{url}/act", {**form, "eye": "right", "sent": f"{place}"}, **PART)
            record = {"do": "record", "eye": "right", "sent": "z", "end": "yes"}
            record |= {"written-right": "-1.25/-0.50x175", "taken-right": "1.50"}
            for who, url in runs:
                timed("hand in", who.post, f"{url}/act", record)
                timed("end page", who.get, f"{url}/end")
            timed("preceptor's page", owner.get, f"/class/{number}/examinations/1")
    for name, all_of in spent.items():
        print(f"{name:18} {statistics.median(all_of):7.1f} ms  worst {max(all_of):7.1f}  of {len(all_of)}")  # noqa: T201
    early, late, start = (statistics.median(spent[name]) for name in ("early act", "late act", "start page"))
    print(f"one core carries {1000 / statistics.median(spent['act']):.0f} acts a second")  # noqa: T201
    return 1 if early > 4 * start or late > 2 * early else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else LEARNERS))
