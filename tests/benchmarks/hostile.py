"""Text that nobody should send, as long as it can be: `python -m tests.benchmarks.hostile`.

Every form of the app is sent every text, in all of its fields at once, as large as a request may be; and every file of
the accuracy log, as large as a file may be. Told is the slowest answer of each address, and whether a text four times
as long took more than ten times the processor: exit 1 where it did, with the address and the text.
tests/quiz/web/test_hostile_text.py sends a few.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from werkzeug.test import TestResponse

from quiz.app import BIGGEST_REQUEST
from tests.benchmarks.mutate import Sent, Visitor, send, visitors
from tests.conftest import Clock

say = print
HOSTILE = (
    *("a", "A", "a@", "@", "a@a.", "9", "1 ", "1-", "1.", "1,", "1/", "1;", " 1:11", "1jan", "1st", "12:00 "),
    *(
        " ",
        "\t",
        "\n",
        "+",
        "-",
        "−",
        "'",
        '"',
        "(",
        "[",
        "(a",
        ",",
        ";",
        "|",
        ":",
        "=",
        "@1 ",
        "×",
        "x",
        ".",
        "%",
        "&",
    ),
    *("with ", "+1.00 with ", "1 D ", "+1.00 / −1.00 × ", "plano ", "Aa", "A a", "Aa-", "Mr ", "name ", "none;", "ds "),
    *("e\u0301", "\u0301", "\u0301\u0316", "１", "ﷺ", "\u200b", "ß", "İ", "\U0001f441", "<b>", "{{", "\\", "the "),
)
"""Marks that a reader may work at, each repeated to the length wanted: what it takes for the beginning of something."""
HEAD = "patient,eye,date,distance,retinoscopy,end-point,remark\n"
"""Of a file of the accuracy log."""
MOST_FOLD = 10.0
"""Times the processor that four times the length may take: in proportion is four, with the square it is sixteen."""
WORTH_TELLING = 0.2
"""Seconds under which a ratio says more of the clock than of the work."""


def of_length(mark: str, length: int) -> str:
    """Repeat a mark to a length; what spoils a match stands at its end."""
    return (mark * (length // len(mark) + 1))[: length - 1] + "!"


def forms_of(one: Visitor, links: int = 100) -> list[tuple[str, str, tuple[str, ...]]]:
    """Return every form that a visitor meets on pages and this many links, with the names of its fields."""
    for rule in one.app.url_map.iter_rules():
        if "GET" in (rule.methods or ()) and rule.endpoint != "static":
            one.learn(one.client.get(re.sub(r"<[^>]+>", "1", rule.rule)))
    for link in one.links[:links]:
        one.learn(one.client.get(link))
    # Forms that differ by the number of a row, a case or a learner only are one form.
    found = {
        (method, re.sub(r"case-\w+|\d+", "1", url)): (method, url, tuple(dict.fromkeys(name for name, _ in names)))
        for (method, url), names in one.forms.items()
    }
    return list(found.values())


def sent(
    one: Visitor, method: str, url: str, names: Sequence[str], mark: str, size: int = BIGGEST_REQUEST
) -> TestResponse:
    """Fill a form with a text that makes it as large as a request may be, and send it."""
    names = names or ("name", "text", "case")
    # A mark takes up to three characters for each of its bytes in an address or a form.
    each = max(20, size // (len(names) * 3 * max(1, len(mark.encode()) // len(mark))))
    form = dict.fromkeys(names, of_length(mark, each))
    if "text" in form and url.startswith("/accuracy/import"):
        cell = of_length(mark, min(each, 100_000)).replace('"', '""')
        form["text"] = f'{HEAD}7,right,2020-05-02,67,+1.00,+0.75,"{cell}"\n{cell}\n'
    return send(one, Sent(one.name, method, url, form, {"Origin": "http://localhost"}))


def _took(one: Visitor, method: str, url: str, names: Sequence[str], mark: str, size: int) -> float:
    before = time.process_time()
    sent(one, method, url, names, mark, size)
    return time.process_time() - before


def main() -> int:
    """Send them and tell what took long."""
    bad, number = 0, 0
    with TemporaryDirectory(prefix="hostile-") as folder:
        people, files = visitors(Path(folder), Clock())
        for one in people:
            for method, url, names in forms_of(one):
                # What is taken as a file may be larger than any other request.
                size = 2 * 1024 * 1024 if url.startswith("/accuracy/import") else BIGGEST_REQUEST
                slowest, by = 0.0, ""
                for mark in HOSTILE:
                    number += 1
                    took = _took(one, method, url, names, mark, size)
                    if took > slowest:
                        slowest, by = took, mark
                    if took > WORTH_TELLING and took > MOST_FOLD * _took(one, method, url, names, mark, size // 4):
                        bad += 1
                        say(f"more than in proportion: {one.name}, {method} {url}, {mark!r}: {took:.2f} s")
                if slowest > WORTH_TELLING:
                    say(f"{slowest:6.2f} s  {method} {url[:70]} by {one.name}, {by!r}")
        for file in files:
            file.close()
    say(f"{number} requests, {bad} of them worked at for longer than in proportion")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
