"""Spoilt data files: `python -m tests.benchmarks.spoil [--copies 200] [--seed 1]`.

A small data file with everything in it is copied and each copy spoilt by chance: bytes flipped, cut short, pages zeroed
or swapped, text in a wrong encoding, JSON that is none, values of a wrong type or beyond all bounds. Each copy then
goes through every command of the app and, where it is served at all, through every page and export. A command may end
with one line on standard error, never with a traceback; a page comes whole, and is no fault (500); an export comes
whole or is refused; whatever `salvage` saves passes `check`. Exit 1, with the copy that did it, when one does not.
The tests take one copy of each way of spoiling.
"""

from __future__ import annotations

import argparse
import io
import random
import re
import shutil
import sqlite3
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from flask import Flask
from werkzeug.routing import Rule

from cases.optics.lens import SphCyl
from cases.recall.glossary import TERMS
from cases.recall.prompts import all_groups
from quiz.__main__ import main as quiz
from quiz.accuracy.entries import Entry
from quiz.app import create_app
from quiz.classroom import preceptors
from quiz.practice import dealing
from quiz.storage import accuracy_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.front.public_address import LOOPBACK
from quiz.web.reference.evidence_views import all_strengths
from tests.conftest import NOON, Clock, lots, written
from tests.quiz.class_people import NAME, Browser, answer, learner, make_class, preceptor, set_drill

say = print
PAGE = 4096
GROUP = "rules"

Spoiler = Callable[[Path, random.Random], str]


@dataclass(frozen=True)
class Sound:
    """The file as it was before it was spoilt, and the cookies of those who were there."""

    path: Path
    cookies: dict[str, str]
    dealt: dict[str, str]
    """A case that was answered, for each of them to look at."""
    holes: dict[str, str]
    """What to put into the holes of an address."""


def sound(folder: Path) -> Sound:
    """Make a data file with a learner of this computer, a class with two learners, a drill, and a log of everything."""
    path = folder / "sound.sqlite3"
    chance = lots(2)
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        beyond = create_app(file, clock=Clock(), lots=chance, hosts=None, beyond=True)
        own = Browser(create_app(file, clock=Clock(), lots=chance))
        own.get("/practise")
        alone = store.learners()[0]
        for number in range(12):
            one = dealing.waiting(store, alone, now=NOON + 60 * number, lots=chance)
            wrong = one.case.singles[0].answer if one.case.singles and number % 3 else None
            dealing.take(store, alone, one.dealt.id, written(one.case, wrong), 2, now=NOON + 60 * number + 20)
        own.get("/practise")
        examined = own.post("/examination", {"vignette": "dev"}).location.split("/")[2]
        plus, less = SphCyl(1.5, -0.5, 90), SphCyl(1.25, -0.5, 85)
        eyes = [Entry("right", number, plus, less, 67, date(2026, 1, 5), False, False) for number in range(1, 9)]
        accuracy_queries.add(store, alone.id, eyes)
        group = all_groups()[0].id
        for _ in range(3):
            put = own.get(f"/recall/{group}").location.rsplit("/", 1)[1]
            own.post(f"/recall/prompt/{put}", {"typed": "67 cm"})
            own.post(f"/recall/prompt/{put}/mark", {"part-0": "yes"})
        teacher = preceptor(beyond, store)
        class_id, code = make_class(teacher)
        set_drill(teacher, class_id)
        # They administer the school and the installation, so that those pages are looked at too.
        preceptors.make_administrator(store, preceptors.named(store, NAME), now=NOON)
        secret = re.findall(r"/invitation/([\w-]+)", teacher.post("/school/1/invite", {"whom": "Rosa"}).text)[0]
        members = [learner(beyond, code, name) for name in ("Ottoline", "Bartholomea")]
        for member in members:
            for _ in range(3):
                answer(member, store, "/practise")
            member.post("/drill/1/begin")
            answer(member, store, "/drill/1")
        everyone = {"own": own, "preceptor": teacher, "member": members[0]}
        cookies = {name: who.client.get_cookie("two-meridians").value for name, who in everyone.items()}  # type: ignore[union-attr]
        dealt = {
            who: store.fetch("SELECT dealt FROM answers WHERE learner = ? ORDER BY id LIMIT 1", number)[0][0]
            for who, number in (("own", 1), ("preceptor", 2), ("member", 2))
        }
    holes = {"group_id": group, "recall_id": put, "version": "2.1", "type_id": "net-sphere", "examination_id": examined}
    holes |= {"school_id": "1", "secret": secret, "which": "changes"}
    return Sound(path, cookies, dealt, holes)


# --- ways of spoiling a file --------------------------------------------------------------------------------------


def flipped(path: Path, rng: random.Random) -> str:
    """Turn single bits over, as a failing disk does."""
    raw, places = bytearray(path.read_bytes()), []
    for _ in range(rng.choice((1, 3, 30, 300))):
        at = rng.randrange(len(raw))
        raw[at] ^= 1 << rng.randrange(8)
        places.append(at)
    path.write_bytes(raw)
    return f"bits flipped at {places[:5]}"


def beginning(path: Path, rng: random.Random) -> str:
    """Overwrite bytes where the header and the schema stand, but not the mark that says whose file it is."""
    raw, places = bytearray(path.read_bytes()), []
    for _ in range(rng.choice((1, 2, 8))):
        at = rng.choice([rng.randrange(16, 68), rng.randrange(72, PAGE), rng.randrange(100, 3 * PAGE)])
        raw[at] = rng.randrange(256)
        places.append(at)
    path.write_bytes(raw)
    return f"bytes of the beginning at {places}"


def cut_short(path: Path, rng: random.Random) -> str:
    """Lose the end, as a copy does that was broken off."""
    raw = path.read_bytes()
    size = rng.choice((rng.randrange(len(raw)), rng.randrange(len(raw) // PAGE) * PAGE))
    path.write_bytes(raw[:size])
    return f"cut to {size} bytes"


def zeroed(path: Path, rng: random.Random) -> str:
    """Empty whole pages, as a crash of the system does."""
    return _pages(path, rng, lambda pages, a, _: pages.__setitem__(a, bytes(PAGE)))


def swapped(path: Path, rng: random.Random) -> str:
    """Put pages into one another's place."""

    def swap(pages: list[bytes], a: int, b: int) -> None:
        pages[a], pages[b] = pages[b], pages[a]

    return _pages(path, rng, swap)


def doubled(path: Path, rng: random.Random) -> str:
    """Let a page stand in another's place too."""
    return _pages(path, rng, lambda pages, a, b: pages.__setitem__(a, pages[b]))


def _pages(path: Path, rng: random.Random, do: Callable[[list[bytes], int, int], None]) -> str:
    raw, which = path.read_bytes(), []
    pages = [raw[at : at + PAGE] for at in range(0, len(raw), PAGE)]
    for _ in range(rng.choice((1, 1, 4))):
        a, b = rng.randrange(1, len(pages)), rng.randrange(1, len(pages))
        do(pages, a, b)
        which.append((a, b))
    path.write_bytes(b"".join(pages))
    return f"pages {which}"


def rubbish_beside(path: Path, rng: random.Random) -> str:
    """Leave a log beside the file that is none."""
    end = rng.choice(("-wal", "-journal", "-shm"))
    Path(f"{path}{end}").write_bytes(rng.randbytes(rng.choice((10, 5000, 40_000))))
    return f"rubbish in {end}"


def not_utf8(path: Path, rng: random.Random) -> str:
    """Write a text cell in the encoding of another system."""
    return _cells(path, rng, lambda was, _: f"CAST({_hex(_latin(str(was), rng))} AS TEXT)", ("TEXT",))


def no_json(path: Path, rng: random.Random) -> str:
    """Put into a text cell what is no JSON, or JSON of another shape."""
    texts = (
        "{",
        "",
        "null",
        "[]",
        "{}",
        "17",
        '"a"',
        '[["a"]]',
        '{"a": [1, {"b": null}]}',
        "[" * 5000,
        "\x00",
        "nonsense",
    )

    def one(was: object, _: str) -> str:
        half = str(was)[: len(str(was)) // 2]
        return f"CAST({_hex(rng.choice((*texts, half)).encode())} AS TEXT)"

    return _cells(path, rng, one, ("TEXT",))


def wrong_type(path: Path, rng: random.Random) -> str:
    """Put a value of a type into a cell that its column does not allow."""
    values = ("NULL", "17", "-1", "3.5", "'a'", "''", "x'00ff'", "x''")
    return _cells(path, rng, lambda *_: rng.choice(values), ("TEXT", "INTEGER", "REAL"), strict=False)


def beyond_bounds(path: Path, rng: random.Random) -> str:
    """Put a number into a cell that no clock and no answer has."""
    whole, real = ("-1", "9223372036854775807", "-9223372036854775808"), ("1e300", "-1e300", "9e999", "-9e999", "-1.0")
    return _cells(path, rng, lambda _, kind: rng.choice(real if kind == "REAL" else whole), ("INTEGER", "REAL"))


def _latin(text: str, rng: random.Random) -> bytes:
    raw = bytearray(text.encode("latin-1", "replace") or b"a")
    raw.insert(rng.randrange(len(raw) + 1), rng.choice((0xE9, 0xFF, 0xC3, 0xA9)))
    return bytes(raw)


def _hex(raw: bytes) -> str:
    return f"x'{raw.hex()}'"


def _cells(
    path: Path,
    rng: random.Random,
    value: Callable[[object, str], str],
    kinds: tuple[str, ...],
    *,
    strict: bool = True,
) -> str:
    """Give some cells other values behind the app's back: no trigger, no reference and no type is heeded."""
    done = []
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.execute("PRAGMA writable_schema = ON")
        conn.execute("PRAGMA ignore_check_constraints = ON")
        schema = conn.execute("SELECT * FROM sqlite_master").fetchall()
        conn.text_factory = lambda raw: raw.decode("latin-1")  # a cell may have been spoilt already
        conn.execute("DELETE FROM sqlite_master WHERE type = 'trigger'")
        if not strict:
            conn.execute(
                "UPDATE sqlite_master SET sql = replace(replace(sql, 'STRICT', ''), 'NOT NULL', '') "
                "WHERE type = 'table' AND sql NOT LIKE '%WITHOUT%'"
            )
        conn.execute("PRAGMA writable_schema = RESET")
        tables = [row[1] for row in schema if row[0] == "table" and not row[1].startswith(("sqlite_", "_sqlite_"))]
        for _ in range(rng.choice((1, 1, 3))):
            for _ in range(100):
                table = rng.choice(tables)
                columns = [
                    row
                    for row in conn.execute(f"PRAGMA table_info({table})")
                    if row[2] in kinds and (strict or not row[5])
                ]
                rows = conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0]  # noqa: S608
                if columns and rows:
                    break
            _, name, kind, *_ = rng.choice(columns)
            skip = rng.choice((rng.randrange(rows), rows - 1))
            was = conn.execute(f"SELECT {name} FROM {table} LIMIT 1 OFFSET {skip}").fetchone()[0]  # noqa: S608
            new = value(was, kind)
            keys = [row[1] for row in conn.execute(f"PRAGMA table_info({table})") if row[5]]
            pick = f"({', '.join(keys)}) = (SELECT {', '.join(keys)} FROM {table} LIMIT 1 OFFSET {skip})"  # noqa: S608
            try:
                conn.execute(f"UPDATE {table} SET {name} = {new} WHERE {pick}")  # noqa: S608
            except sqlite3.IntegrityError:
                continue
            done.append(f"{table}.{name} of row {skip}: {new[:60]}")
        conn.execute("PRAGMA writable_schema = ON")
        conn.execute("DELETE FROM sqlite_master")
        conn.executemany("INSERT INTO sqlite_master VALUES (?, ?, ?, ?, ?)", schema)
        conn.execute("PRAGMA writable_schema = RESET")
    return "; ".join(done)


SPOILERS: Sequence[Spoiler] = (
    flipped,
    flipped,
    beginning,
    cut_short,
    zeroed,
    swapped,
    doubled,
    rubbish_beside,
    not_utf8,
    not_utf8,
    no_json,
    no_json,
    wrong_type,
    beyond_bounds,
)


# --- what a copy goes through -------------------------------------------------------------------------------------


def trial(made: Sound, copy: Path, folder: Path) -> Iterator[str]:
    """Put one spoilt copy through every command, and say of each thing that it did which it must not."""
    rng = random.Random(copy.name)
    backup, good = folder / "backup.sqlite3", folder / "good.sqlite3"
    served: list[str] = []

    def walk(_: object, file: DataFile, *__: object, **___: object) -> None:
        served.extend(walked(made, file, rng))

    def fresh(*ends: str) -> Path:
        at = folder / "at" / "answers.sqlite3"
        shutil.rmtree(at.parent, ignore_errors=True)
        at.parent.mkdir()
        for end in ends:
            if Path(f"{copy}{end}").exists():
                shutil.copy(f"{copy}{end}", f"{at}{end}")
        return at

    all_of = ("", "-wal", "-journal", "-shm")
    commands: tuple[tuple[str, ...], ...] = (
        ("serve", "--no-browser", "--one-person"),
        ("check",),
        ("rebuild",),
        ("refit",),
        ("add-preceptor", "Bartholomea Quill"),
        ("backup", str(backup)),
    )
    for words in commands:
        backup.unlink(missing_ok=True)
        at = fresh(*all_of)
        with (
            patch("quiz.web.front.server._serve", walk),
            patch("quiz.__main__._asked_password", lambda: "ten characters"),
        ):
            yield from ran((*words, "--data", str(at)))
        yield from (f"{words[0]}: {one}" for one in served)
        served.clear()
    yield from _saved(made, fresh(*all_of))
    shutil.copy(made.path, good)
    yield from ran(("restore", str(good), "--data", str(fresh(*all_of))))
    spoilt = fresh(*all_of)
    yield from ran(("restore", str(spoilt), "--data", str(spoilt.with_name("new.sqlite3"))))


def _saved(made: Sound, at: Path) -> Iterator[str]:
    """Salvage a copy with a backup at hand: whatever is saved must pass `check`."""
    new = at.with_name("saved.sqlite3")
    yield from ran(("salvage", str(at), str(new), "--like", str(made.path)))
    if new.exists():
        before = outcomes["check: exit 0"]
        yield from ran(("check", "--data", str(new)))
        if outcomes["check: exit 0"] == before:
            yield f"salvage: what was saved is not sound: {heard[-1]}"


def ran(words: Sequence[str]) -> Iterator[str]:
    """Run a command, and say what is wrong with how it ended."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = quiz(list(words))
    except Exception as error:
        yield f"{words[0]}: {type(error).__name__}: {str(error)[:200]} at {_where(error)}"
        return
    lines = err.getvalue().splitlines()
    if code == 2 and (len(lines) != 1 or not lines[0].startswith("quiz: ")):
        yield f"{words[0]}: exit 2 with {lines[:3]}"
    if code != 2 and lines:
        yield f"{words[0]}: exit {code} with {lines[:3]}"
    outcomes[f"{words[0]}: exit {code}"] += 1
    heard.append(f"{words[0]} {code} {(lines or out.getvalue().splitlines()[-1:] or [''])[0]}")


outcomes: Counter[str] = Counter()
heard: list[str] = []


def _where(error: BaseException) -> str:
    last = error.__traceback__
    while last is not None and last.tb_next is not None:
        last = last.tb_next
    return "" if last is None else f"{Path(last.tb_frame.f_code.co_filename).name}:{last.tb_lineno}"


def walked(made: Sound, file: DataFile, rng: random.Random) -> Iterator[str]:
    """Ask for every page and every export of a file that is served; say which was a fault, and which was cut off."""
    for number, (who, cookie) in enumerate(made.cookies.items()):
        app = _app_over(file, beyond=who != "own", seed=7 + number)
        client = app.test_client()
        client.set_cookie("two-meridians", cookie)
        faults: list[BaseException] = []
        with _listening(app, faults):
            every = addresses(app, made, who)
            for url in rng.sample(every, len(every)):
                try:
                    page = client.get(url)
                    whole = page.get_data()
                except Exception as error:
                    yield f"{who} {url}: cut off by {type(error).__name__}: {str(error)[:100]} at {_where(error)}"
                    continue
                outcomes[f"page {page.status_code}"] += 1
                if page.status_code == 500:
                    why = faults[-1] if faults else None
                    yield f"{who} {url}: 500 {type(why).__name__}: {str(why)[:100]} at {_where(why) if why else ''}"
                if page.content_length not in (None, len(whole)):
                    yield f"{who} {url}: {len(whole)} bytes of {page.content_length}"


def _app_over(file: DataFile, *, beyond: bool, seed: int) -> Flask:
    """Make the app over a file; the pages asked for are those of the first that was made, whose templates are read."""
    new = create_app(file, clock=Clock(), lots=lots(seed), hosts=None if beyond else LOOPBACK, beyond=beyond)
    app = _apps.setdefault(beyond, new)
    app.extensions["desk"], app.secret_key = new.extensions["desk"], new.secret_key
    return app


_apps: dict[bool, Flask] = {}


@contextmanager
def _listening(app: Flask, faults: list[BaseException]) -> Iterator[None]:
    def keep(*_: object, exc_info: BaseException | None = None, **__: object) -> None:
        if exc_info is not None:
            faults.append(exc_info)

    with patch.object(app.logger, "error", keep):
        yield


def addresses(app: Flask, made: Sound, who: str) -> list[str]:
    """Return every address that can be looked at, with what is there in its holes."""

    def fill(rule: Rule) -> str:
        holes = made.holes | {"dealt_id": made.dealt[who], "class_id": "1", "drill_id": "1", "number": "1"}
        holes |= {"learner_id": "2", "sitting_id": "1" if who == "own" else "2", "phrase": "aaaa-bbbb-cccc-dddd"}
        holes |= {"strength_id": all_strengths()[0].id, "term_id": TERMS[0].id, "eye": "right"}
        holes |= {"course_id": "1", "link_id": "1", "invitation": "a"}
        return re.sub(r"<(?:\w+(?:\([^()]*\))?:)?(\w+)>", lambda hole: holes[hole.group(1)], rule.rule)

    rules = [one for one in app.url_map.iter_rules() if "GET" in (one.methods or ()) and "static" not in one.rule]
    return sorted(fill(one) for one in rules)


def main(arguments: Sequence[str] | None = None) -> int:
    """Spoil this many copies and say what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.spoil", description=__doc__.split("\n\n")[0])
    parser.add_argument("--copies", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args(arguments)
    bad = 0
    with TemporaryDirectory(prefix="spoil-") as text:
        folder = Path(text)
        made = sound(folder)
        for number in range(options.copies):
            rng = random.Random(f"{options.seed} {number}")
            spoiler = SPOILERS[number % len(SPOILERS)]
            copy = folder / "spoilt.sqlite3"
            for end in ("", "-wal", "-journal", "-shm"):
                Path(f"{copy}{end}").unlink(missing_ok=True)
            shutil.copy(made.path, copy)
            what = spoiler(copy, rng)
            heard.clear()
            harm = list(trial(made, copy, folder))
            bad += bool(harm)
            if harm or options.verbose:
                say(f"copy {number}, {spoiler.__name__}: {what}")
                for one in (heard if options.verbose else []) + harm[:8]:
                    say(f"    {one}")
    say(f"{options.copies} copies: " + ", ".join(f"{what} × {count}" for what, count in sorted(outcomes.items())))
    say(f"{bad} did harm")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
