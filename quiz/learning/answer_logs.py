"""Answer logs from elsewhere, as comma-separated lines: read into what the memory takes in. Opens no file itself."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence

from quiz.errors import QuizError
from quiz.learning.state import Answered

COLUMNS = ("learner", "seconds", "type", "steps", "right")
OPTIONAL = ("slip",)


class BadLog(QuizError):
    """A log that cannot be read."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"line {line}: {why}")


def read_answer_log(lines: Iterable[str]) -> dict[str, list[Answered]]:
    """Read a log of answers, the oldest answer of each learner first, those of one second in the order of the lines.

    The first line names the columns: learner, seconds (a number; any start of time will do), type, steps (joined by +;
    empty where the type is one step), right (0 or 1), and if known slip: the mistake that explains a wrong answer, as
    step:slip, or by its name alone where there is one step. Other columns are passed over.

    Raises
    ------
    BadLog
        With the number of the line, what was read, and what would be right.
    """
    reader = csv.DictReader(lines, strict=True)
    out: dict[str, list[Answered]] = {}
    try:
        _look_at_columns(reader.fieldnames or ())
        for row in reader:
            out.setdefault(row["learner"], []).append(_event(row, reader.line_num))
    except csv.Error as error:
        raise BadLog(reader.line_num, f"not comma-separated values ({error})") from error
    except UnicodeDecodeError as error:
        raise BadLog(reader.line_num + 1, "from here on it is not UTF-8 text; save it as CSV in UTF-8") from error
    if not out:
        raise BadLog(1, "no answers below it")
    for log in out.values():
        log.sort(key=lambda event: event.at)
    return out


def _look_at_columns(names: Sequence[str]) -> None:
    wanted = ",".join((*COLUMNS, *OPTIONAL))
    missing = [name for name in COLUMNS if name not in names]
    twice = [name for name in (*COLUMNS, *OPTIONAL) if names.count(name) > 1]
    if len(names) == 1 and any(mark in names[0] for mark in ";\t"):
        raise BadLog(1, f"its columns are separated by semicolons or tabs; put commas between them: {wanted}")
    if missing:
        raise BadLog(1, f"no column {', '.join(missing)}; the first line names the columns, such as {wanted}")
    if twice:
        raise BadLog(1, f"column {twice[0]} is there twice; leave one out")


def _event(row: dict[str, str], line: int) -> Answered:
    if None in row.values() or None in row:
        raise BadLog(
            line, f"{len(row)} columns named and another number of values; put a value that holds a comma in quotes"
        )
    for name in ("learner", "type"):
        if not row[name]:
            raise BadLog(line, f"no {name}; each row needs one")
    if row["right"] not in ("0", "1"):
        raise BadLog(line, f"right “{row['right'][:40]}”: write 1 for a right answer and 0 for a wrong one")
    steps = tuple(dict.fromkeys(one for one in row["steps"].split("+") if one))
    right, slip = row["right"] == "1", row.get("slip") or ""
    explanations = () if right or not slip else ((_slip(slip, steps or (row["type"],), line),),)
    verdict = "right" if right else "slip" if explanations else "wrong"
    return Answered(_seconds(row["seconds"], line), row["type"], steps, verdict, explanations)


def _seconds(text: str, line: int) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not math.isfinite(seconds):
        raise BadLog(line, f"seconds “{text[:40]}”: write a number, such as 1767225600")
    return seconds


def _slip(text: str, steps: tuple[str, ...], line: int) -> tuple[str, str]:
    step, colon, slip = text.partition(":")
    if colon:
        return step, slip
    if len(steps) != 1:
        raise BadLog(line, f"slip “{text[:40]}”: {len(steps)} steps; name its step, such as {steps[0]}:{text[:40]}")
    return steps[0], text
