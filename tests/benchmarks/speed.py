"""How quick the core and the first page are: `python -m tests.benchmarks.speed [--cases 20]`.

Prints, for every type, the median time to draw a case, to work it, and to mark an answer that no slip explains (the
longest way); what each page weighs with everything that it asks for, nothing cached; how long `--help` takes, and from
the command to the first case on the page. Times are processor times where other work on the machine would count.
Exit 1 when a page weighs 120 kB or more, `--help` takes 0.1 s or the first page a second.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from flask.testing import FlaskClient

from cases.curriculum.register import all_types
from cases.procedure.case_type import CaseType, draw
from cases.procedure.documents import case_document
from cases.procedure.marking import mark_fields
from cases.procedure.settings import Settings
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from tests.conftest import Clock, lots, written

HEAVIEST = 120_000
PAGES = (
    *(
        "/",
        "/practise",
        "/bench",
        "/work",
        "/recall",
        "/progress",
        "/accuracy",
        "/reference",
        "/reference/slips",
        "/settings",
    ),
    *("/class", "/door"),
)
RUNS = 7
say = print


def milliseconds(action: Callable[[], object]) -> float:
    began = time.thread_time()
    action()
    return 1e3 * (time.thread_time() - began)


def worked(one: CaseType, findings: object) -> object:
    """Work a case with numbers that were given, as far as the document of it."""
    return case_document(one.case_from_json(findings))


def core(cases: int) -> None:
    """Time every type."""
    say(f"{'type':<28}{'draw':>9}{'work':>9}{'mark':>9}   ms, medians of {cases}")
    middles: list[tuple[float, float, float]] = []
    for one in all_types().values():
        draws, works, marks = [], [], []
        draw(one, 0, Settings())
        for seed in range(1, cases + 1):
            draws.append(milliseconds(partial(draw, one, seed, Settings())))
            case = draw(one, seed, Settings())
            findings = one.findings.to_json(case.findings)
            works.append(milliseconds(partial(worked, one, findings)))
            # Another case's answer: as a rule no slip leads to it, so that all of them are tried, and every pair.
            texts = written(draw(one, seed + 99, Settings()))
            marks.append(milliseconds(partial(mark_fields, one.case_from_json(findings), texts)))
        middle = (statistics.median(draws), statistics.median(works), statistics.median(marks))
        middles.append(middle)
        say(f"{one.id:<28}" + "".join(f"{value:9.2f}" for value in middle))
    over = [statistics.median(column) for column in zip(*middles, strict=True)]
    worst = [max(column) for column in zip(*middles, strict=True)]
    say(f"{'median of the types':<28}" + "".join(f"{value:9.2f}" for value in over))
    say(f"{'slowest type':<28}" + "".join(f"{value:9.2f}" for value in worst))


def weight(client: FlaskClient, url: str) -> tuple[int, int]:
    """Return how many bytes a page comes to with all that it asks for, and how many files that is."""
    seen: dict[str, int] = {}
    waiting = [url]
    while waiting:
        asked = waiting.pop()
        if asked in seen:
            continue
        answer = client.get(asked)
        while answer.status_code in (301, 302, 303, 308):
            answer = client.get(answer.location)
        body = answer.get_data()
        seen[asked] = len(body)
        text = body.decode("utf-8", "replace")
        if answer.mimetype == "text/html":
            waiting += re.findall(r'<(?:link|script|img)\b[^>]*?(?:href|src)="(/[^"]+)"', text)
        elif answer.mimetype in ("text/css", "text/javascript", "application/javascript"):
            base = asked.rsplit("/", 1)[0]
            parts = re.findall(r"""(?:@import|from|import)\s*(?:url\()?["'](\.?/?[\w./-]+)["']""", text)
            waiting += [part if part.startswith("/") else f"{base}/{part.removeprefix('./')}" for part in parts]
    return sum(seen.values()), len(seen)


def pages() -> bool:
    """Weigh every page."""
    good = True
    with TemporaryDirectory() as folder, closing(DataFile.open(Path(folder) / "a.sqlite3")) as file:
        client = create_app(file, clock=Clock(), lots=lots()).test_client()
        for url in PAGES:
            size, files = weight(client, url)
            good &= size < HEAVIEST
            say(f"{url:<16} {size / 1000:6.1f} kB in {files} files" + ("" if size < HEAVIEST else "   TOO HEAVY"))
    return good


def processor(action: Callable[[], None]) -> float:
    """Return the least processor time that a action's child processes took, in seconds."""
    times = []
    for _ in range(RUNS):
        began = os.times()
        action()
        ended = os.times()
        times.append(ended[2] + ended[3] - began[2] - began[3])
    return min(times)


def best(action: Callable[[], None]) -> float:
    """Return the best of several runs in seconds: what the machine's other work added is least there."""
    times = []
    for _ in range(RUNS):
        began = time.perf_counter()
        action()
        times.append(time.perf_counter() - began)
    return min(times)


def first_page() -> None:
    """Serve, ask for the first case, and stop."""
    with TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "quiz", "serve", "--no-browser", "--data", f"{folder}/a.sqlite3"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
            found = re.search(r"http://\S+", server.stdout.readline() if server.stdout else "")
            if found is None:
                raise RuntimeError("the server did not say where it is")
            urllib.request.urlopen(found[0], timeout=10).read()
            server.kill()


def help_page() -> None:
    """Ask for the help."""
    subprocess.run([sys.executable, "-m", "quiz", "--help"], stdout=subprocess.DEVNULL, check=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print everything."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed", description="How quick the core is.")
    parser.add_argument("--cases", type=int, default=20, help="cases of each type")
    options = parser.parse_args(arguments)
    say(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    core(options.cases)
    good = pages()
    took, first = best(help_page), best(first_page)
    say(f"python -m quiz --help      {took:.3f} s by the clock, {processor(help_page):.3f} s of a processor")
    say(f"command to the first page  {first:.2f} s by the clock, {processor(first_page):.2f} s of a processor")
    say(f"(best of {RUNS}; with other work on the machine the clock counts that as well)")
    return 0 if good and took < 0.1 and first < 1 else 1


if __name__ == "__main__":
    sys.exit(main())
