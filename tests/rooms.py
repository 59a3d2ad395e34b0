"""The rooms of the house and one answer's way through them, drawn from the code: `python -m tests.rooms [--write]`.

Prints what DEVELOPERS.md shows between its two markers: each room with the first line of its sign, which room imports
which, and the functions that an answer passes through. A room is a folder of a package, or a module beside the folders.
With --write the drawing takes its place in DEVELOPERS.md. Exit 1 when what is there was drawn from other code.
"""

from __future__ import annotations

import argparse
import ast
import re
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from string import ascii_letters
from typing import NamedTuple

import grimp

ROOT = Path(__file__).resolve().parent.parent
FRONT = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- drawn by python -m tests.rooms --write -->\n", "<!-- end of the drawing -->\n"
PACKAGES = ("cases", "quiz")


class Stop(NamedTuple):
    """A function that an answer passes through: within the nearest one above it that stands further left."""

    depth: int
    module: str
    function: str

    @property
    def room(self) -> str:
        """The room that it is in."""
        return room_of(self.module)


WAY = (
    Stop(0, "quiz.web.practise.routes", "answer"),
    Stop(1, "quiz.practice.dealing", "take"),
    Stop(2, "cases.procedure.marking", "mark_fields"),
    Stop(3, "cases.notation.prescription", "read_power"),
    Stop(3, "cases.procedure.marking", "mark"),
    Stop(2, "quiz.storage.projection", "cases_to_fold"),
    Stop(2, "quiz.storage.store", "Store.add_answer"),
    Stop(2, "quiz.storage.result_queries", "tally"),
    Stop(2, "quiz.learning.model", "fold"),
    Stop(2, "quiz.storage.projection", "keep_cases"),
    Stop(0, "quiz.web.practise.routes", "mark"),
    Stop(1, "quiz.practice.dealing", "marked"),
    Stop(1, "quiz.web.mark_views", "mark_page"),
    Stop(2, "cases.procedure.chain", "Line.says"),
    Stop(2, "cases.figures.lenses", "trial_frame"),
)
"""The way of a wrong answer to `net-sphere`, and of the page that shows its mark. tests/test_rooms.py walks it."""


def room_of(module: str) -> str:
    """Return the room of a module: `quiz.web` of `quiz.web.bench.routes`."""
    return ".".join(module.split(".")[:2])


@cache
def imports() -> Mapping[str, frozenset[str]]:
    """Return which other rooms each room imports."""
    graph = grimp.build_graph(*PACKAGES, cache_dir=None)
    out: defaultdict[str, set[str]] = defaultdict(set)
    for module in graph.modules:
        out[room_of(module)] |= set(map(room_of, graph.find_modules_directly_imported_by(module)))
    return {room: frozenset(ones - {room}) for room, ones in out.items()}


def in_order() -> list[str]:
    """Return the rooms, each behind those that it imports; `cases` before `quiz`."""
    known = imports()

    @cache
    def level(room: str, *above: str) -> int:
        return 0 if room in above else 1 + max((level(one, room, *above) for one in known[room]), default=0)

    met = set().union(*known.values())
    apart = [room for room in known if known[room] or room in met]
    return sorted(apart, key=lambda room: (room.split(".")[0], level(room), room))


def listed() -> Iterator[str]:
    """Name each room that is a folder, with the heading of its sign."""
    for room in in_order():
        sign = ROOT.joinpath(*room.split("."), "README.md")
        if "." in room and sign.parent.is_dir():
            heading = sign.read_text(encoding="utf-8").splitlines()[0].partition(": ")[2]
            yield f"- [`{room}`]({sign.relative_to(ROOT).as_posix()}): {heading}"


def matrix() -> Iterator[str]:
    """Draw which room imports which: a row's room imports those in whose columns it has a dot."""
    known, rooms = imports(), in_order()
    letters = ascii_letters[: len(rooms)]
    yield f"{'':<21}{' '.join(letters)}"
    for place, (letter, room) in enumerate(zip(letters, rooms, strict=True)):
        cells = ["■" if other == place else "•" if one in known[room] else " " for other, one in enumerate(rooms)]
        yield f"{letter}  {room:<18}{' '.join(cells)}".rstrip()


def says(stop: Stop) -> str:
    """Return how a function's docstring begins, up to its first stop.

    Raises
    ------
    LookupError
        When the function is not there.
    """
    path = ROOT.joinpath(*stop.module.split(".")).with_suffix(".py")
    found: ast.AST = ast.parse(path.read_text(encoding="utf-8"))
    for name in stop.function.split("."):
        inside = [one for one in getattr(found, "body", ()) if getattr(one, "name", None) == name]
        if not inside:
            raise LookupError(f"{stop.module} has no {stop.function}: say in WAY where answers go now")
        found = inside[-1]
    words = ast.get_docstring(found) if isinstance(found, ast.FunctionDef) else None
    return re.split(r"[.;:](?:\s|$)", words or "", maxsplit=1)[0]


def way() -> Iterator[str]:
    """Draw an answer's way."""
    for stop in WAY:
        name = f"{stop.module.removeprefix(stop.room).lstrip('.')}.{stop.function}".lstrip(".")
        yield f"{'  ' * stop.depth + stop.room + ': ' + name:<47}{says(stop)}"


def drawing() -> str:
    """Return what stands between the markers."""
    return "\n".join(
        (
            *listed(),
            "",
            "Which room imports which: a row's room imports those in whose columns it has a dot. No dot is above the",
            "diagonal, because imports flow one way.",
            "",
            "```",
            *matrix(),
            "```",
            "",
            "One wrong answer's way, from the form to the page that says which step went wrong:",
            "",
            "```",
            *way(),
            "```",
            "",
        )
    )


def drawn() -> str:
    """Return what stands between the markers of DEVELOPERS.md."""
    return FRONT.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0]


def main() -> int:
    """Print the drawing, or put it into DEVELOPERS.md; return 1 when what was there is of other code."""
    parser = argparse.ArgumentParser(prog="python -m tests.rooms", description=main.__doc__)
    parser.add_argument("--write", action="store_true", help="put the drawing into DEVELOPERS.md")
    chosen = parser.parse_args()
    if chosen.write:
        before, _, rest = FRONT.read_text(encoding="utf-8").partition(BEGIN)
        FRONT.write_text(f"{before}{BEGIN}{drawing()}{END}{rest.partition(END)[2]}", encoding="utf-8")
        return 0
    sys.stdout.write(drawing())
    return 0 if drawn() == drawing() else 1


if __name__ == "__main__":
    sys.exit(main())
