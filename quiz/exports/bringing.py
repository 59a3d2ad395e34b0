"""Own data brought in: the JSON lines of `own_data.json_lines`, read, looked over, appended, and folded again.

What is here already is not doubled. Answers come in as ordinary practice, whatever they were: none counts in a drill.
"""

from __future__ import annotations

import gzip
import io
import math
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import msgspec

from cases.procedure.vocabulary import CREDITED, MISSED
from quiz.accuracy.entries import BadEntry, Entry
from quiz.errors import QuizError
from quiz.exports.own_data import FORMAT
from quiz.learning.state import SlipKey, Weighed
from quiz.practice.dealing import CONFIDENCES
from quiz.practice.what_to_practise import Aim
from quiz.storage import accuracy_queries, bringing_queries, desk_queries, projection, recall_queries, result_queries
from quiz.storage.desk_queries import WorkedExample
from quiz.storage.recall_queries import Recall, RecallMark
from quiz.storage.rows import to_row
from quiz.storage.soundness import FIRST_MOMENT, LAST_MOMENT, unfit
from quiz.storage.store import Answer, Dealt, Learner, Retyped, Store

Kind = TypeVar("Kind")

MOST_BYTES = 48 * 1024 * 1024
"""Of a file once it is unpacked: some 30,000 answers."""
MOST_LINES = 100_000
MOST_KEPT = 50_000
"""Answers and recall marks of one learner, those here among them: files brought one after another fill no disk."""
LONGEST_LINE = 64 * 1024
LONGEST_ANSWER = 16 * 1024
"""Of a line that is taken in; that of a whole examination, which is not, may be longer. Answers have some 2 kB."""
MOST_OF_EACH = 100
"""Steps of one answer, slips that it could show, ways to it: six times what any type has."""
MOST_NAMES = 2_000
"""Steps and slips that one file names: four times what there are. Memory holds each for good."""
FAULTS_SHOWN = 5
BROUGHT = "brought"
"""What a sitting of answers that were brought in is for."""
WHY = "Brought in from another computer."


class BadData(QuizError):
    """A file that is no such data, or cannot be taken as a whole."""


@dataclass
class Bundle:
    """What a file holds, for one learner of this data file."""

    name: str = ""
    """Whose it says it is."""
    answers: list[Answer] = field(default_factory=list)
    meant: list[Retyped] = field(default_factory=list)
    marks: list[RecallMark] = field(default_factory=list)
    eyes: list[Entry] = field(default_factory=list)
    worked: list[WorkedExample] = field(default_factory=list)
    known: int = 0
    """Lines that are here already."""
    elsewhere: int = 0
    """Lines that belong to another learner of this data file."""
    faults: list[str] = field(default_factory=list)
    """Of the first lines that cannot be read: which, and why."""
    unread: int = 0
    names: set[str] = field(default_factory=set)
    """Of all steps and slips that it names."""
    examinations: int = 0
    """Whole examinations, which stay where they were done."""

    @property
    def empty(self) -> bool:
        """Whether it holds nothing new."""
        return not (self.answers or self.meant or self.marks or self.eyes or self.worked)


def unpacked(data: bytes) -> str:
    """Return the text of a file, compressed by gzip or not.

    Raises
    ------
    BadData
        When it is too long, cannot be unpacked, or is not UTF-8.
    """
    try:
        if data[:2] == b"\x1f\x8b":
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as file:
                data = file.read(MOST_BYTES + 1)
        text = data.decode("utf-8-sig")
    except (OSError, EOFError, zlib.error, UnicodeDecodeError) as error:
        raise BadData("This file cannot be read. Choose the file that Own data gave: own-data.jsonl.gz.") from error
    if len(data) > MOST_BYTES:
        raise BadData(f"The file is longer than {MOST_BYTES // 1024 // 1024} MB. Part it, whole lines each.")
    return text


def read_bundle(store: Store, learner: Learner, text: str) -> Bundle:
    """Look over what a file holds, beside what a learner has here.

    Raises
    ------
    BadData
        When it is no such file at all.
    """
    out = Bundle()
    first = True
    if text.count("\n") > MOST_LINES:
        raise BadData(f"The file has over {MOST_LINES:,} lines. Part it, whole lines each.")
    # Not splitlines, which also parts a text at marks that stand in JSON as they are, such as U+2028.
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        try:
            row = _row(line)
            if first and (row.get("kind"), row.get("format")) != ("learner", FORMAT):
                raise BadData(f"This is not own data of this app. Its first line must name “{FORMAT}”.")
            first = False
            _add(out, row, learner)
        except (ValueError, BadEntry) as error:
            if first:
                raise BadData("This is not own data of this app: its first line cannot be read.") from error
            out.unread += 1
            if len(out.faults) < FAULTS_SHOWN:
                out.faults.append(f"Line {number}: {_short(error)}")
    if first:
        raise BadData("The file is empty.")
    found = _new_ones(store, learner, out)
    new, held = len(found.answers) + len(found.marks), bringing_queries.held(store, learner.id)
    if new and held + new > MOST_KEPT:
        raise BadData(
            f"The file has {new:,} new answers and recall marks, and {held:,} are here: {MOST_KEPT:,} is the most."
        )
    return found


def _short(error: Exception) -> str:
    words = str(error)
    return f"{words[:1].lower()}{words[1:160]}".rstrip(".") + "."


def _row(line: str) -> dict[str, Any]:
    if len(line) > LONGEST_LINE:
        raise ValueError("it is too long")
    try:
        row = msgspec.json.decode(line, type=dict[str, Any])
    except RecursionError:
        raise ValueError("it has more lists in lists than any line of own data") from None
    if len(line) > LONGEST_ANSWER and row.get("kind") != "examination":
        raise ValueError("it is too long for an answer")
    return row


def _add(out: Bundle, row: Mapping[str, Any], learner: Learner) -> None:
    values = {**row, "learner": learner.id}
    match row.get("kind"):
        case "learner":
            out.name = str(row.get("name", ""))[:60]
        case "answer":
            one = replace(_made(values, Answer), drill=None, late=False, for_drill=False)
            _check_answer(one)
            _add_names(out, one.steps, one.could_show, one.explanations, one.weighed or ())
            out.answers.append(one)
        case "answer meant":
            meant = _made(values, Retyped)
            _check_verdict(meant.verdict)
            _check_row("retyped", to_row(meant))
            _add_names(out, (), (), meant.explanations, meant.weighed)
            out.meant.append(meant)
        case "recall mark":
            mark = _made(values, RecallMark)
            _check_row("recall_marks", to_row(mark))
            out.marks.append(mark)
        case "eye":
            eye = _made(values, Entry)
            _check_row("accuracy", accuracy_queries.row_of(eye))
            out.eyes.append(eye)
        case "worked example":
            worked = _made(values, WorkedExample)
            _check_row("worked", to_row(worked))
            out.worked.append(worked)
        case "examination":
            out.examinations += 1
        case "doubt" | "remark" | "course platform":
            pass  # said to somebody there, or by somebody there
        case kind:
            raise ValueError(f"“{str(kind)[:30]}” is not a kind of line that this version knows")


def _made(values: Mapping[str, Any], kind: type[Kind]) -> Kind:
    return msgspec.convert(values, kind)


def _check_answer(one: Answer) -> None:
    _check_verdict(one.verdict)
    if one.seconds is not None and not (math.isfinite(one.seconds) and one.seconds >= 0):
        raise ValueError(f"seconds {one.seconds}: give a time of 0 or more")
    if one.confidence is not None and one.confidence not in CONFIDENCES:
        raise ValueError(f"confidence {one.confidence}: give {', '.join(map(str, CONFIDENCES))} or none")
    if not 1 <= len(one.dealt) <= 80:
        raise ValueError("the id of the case is empty or too long")
    _check_row("answers", to_row(one))
    _check_row("dealt", to_row(_dealt(one, one.learner, one.sitting)))


def _add_names(
    out: Bundle,
    steps: Sequence[str],
    could_show: Sequence[SlipKey],
    ways: Sequence[Sequence[SlipKey]],
    weighed: Sequence[Weighed],
) -> None:
    """Add what an answer names to what its file does, and refuse more than there can be: every name is folded."""
    ways = [*ways, *(one.slips for one in weighed)]
    if max(map(len, (steps, could_show, ways, *ways))) > MOST_OF_EACH:
        raise ValueError(f"it names more than {MOST_OF_EACH} steps or slips, and no answer has as many")
    slips = {f"{step} {slip}" for step, slip in (*could_show, *(key for way in ways for key in way))}
    new = {*steps, *slips} - out.names
    if len(out.names) + len(new) > MOST_NAMES:
        raise ValueError(f"with it the file names more than {MOST_NAMES} steps and slips, and there are not as many")
    out.names |= new


def _check_row(table: str, row: Mapping[str, Any]) -> None:
    """Refuse what the data file could not be read with again: all of its learners would be kept out by one line."""
    name = unfit(table, row)
    if name == "at" or name == "dealt_at":
        raise ValueError(
            f"at {row[name]}: give seconds since 1970 in UTC, from {FIRST_MOMENT:.0f} to {LAST_MOMENT:.0f}"
        )
    if name is not None:
        raise ValueError(f"{name} “{str(row[name])[:30]}”: nothing of this kind is ever saved there")


def _check_verdict(verdict: str) -> None:
    if verdict not in CREDITED + MISSED:
        raise ValueError(f"verdict “{verdict[:20]}”: give {', '.join(CREDITED + MISSED)}")


def _new_ones(store: Store, learner: Learner, found: Bundle) -> Bundle:
    """Leave out what is here already, and what is another's."""
    dealt = bringing_queries.owners(store, "dealt", [one.dealt for one in found.answers])
    recalls = bringing_queries.owners(store, "recalls", [one.recall for one in found.marks])
    seen: set[str] = set()
    answers = [one for one in found.answers if one.dealt not in dealt and not _twice(one.dealt, seen)]
    marks = [one for one in found.marks if one.recall not in recalls and not _twice(one.recall, seen)]
    here = {one.dealt for one in answers} | {id_ for id_, owner in dealt.items() if owner == learner.id}
    has = store.retyped_of(learner.id)
    meant = [one for one in found.meant if one.dealt in here and one.dealt not in has]
    log = {kept.entry for kept in accuracy_queries.entries_of(store, learner.id, Entry)}
    eyes = [one for one in found.eyes if one not in log]
    done = desk_queries.worked_of(store, learner.id)
    worked = [one for one in found.worked if one.type not in done or done[one.type].parts < one.parts]
    others = sum(owner != learner.id for owner in (*dealt.values(), *recalls.values()))
    taken = len(answers) + len(marks) + len(meant) + len(eyes) + len(worked)
    lines = len(found.answers) + len(found.marks) + len(found.meant) + len(found.eyes) + len(found.worked)
    return replace(
        found,
        answers=sorted(answers, key=lambda one: one.at),
        marks=sorted(marks, key=lambda one: one.at),
        meant=meant,
        eyes=eyes,
        worked=worked,
        elsewhere=others,
        known=lines - taken - others,
    )


def _twice(id_: str, seen: set[str]) -> bool:
    was = id_ in seen
    seen.add(id_)
    return was


def take_in(store: Store, learner: Learner, found: Bundle) -> None:
    """Append what a bundle holds and fold the learner's logs again, in one transaction.

    Raises
    ------
    FullLog
        When the accuracy log cannot hold the eyes; nothing is taken in.
    """
    with store.writing():
        for sitting in _sittings(found.answers):
            _add_sitting(store, learner, sitting)
        for meant in found.meant:
            store.retype(meant)
        for mark in found.marks:
            recall_queries.put_recall(store, _recall(mark))
            recall_queries.add_recall_mark(store, mark)
        for one in found.worked:
            desk_queries.keep_worked(store, learner.id, one.type, one.parts, now=one.at)
        projection.keep(store, learner.id, projection.refolded(store, learner.id))
        result_queries.tally_anew(store, learner)
        accuracy_queries.append(store, learner.id, found.eyes)
        bringing_queries.forget(store, learner.id)


def _sittings(answers: Sequence[Answer]) -> Iterator[list[Answer]]:
    by_number: dict[int, list[Answer]] = {}
    for one in answers:
        by_number.setdefault(one.sitting, []).append(one)
    yield from by_number.values()


def _add_sitting(store: Store, learner: Learner, answers: Sequence[Answer]) -> None:
    began = min(one.at - (one.seconds or 0.0) for one in answers)
    number = store.begin_ended_sitting(
        learner.id, began=began, ended=max(one.at for one in answers), cases=len(answers)
    )
    desk_queries.keep_aim(store, number, Aim(what=BROUGHT))
    for one in answers:
        store.deal(_dealt(one, learner.id, number))
        store.add_answer(replace(one, sitting=number))


def _dealt(one: Answer, learner_id: int, sitting: int) -> Dealt:
    return Dealt(
        id=one.dealt,
        learner=learner_id,
        sitting=sitting,
        type=one.type,
        seed=one.seed,
        settings={},
        findings=one.findings,
        why=WHY,
        must_show=None,
        probe_of=one.probe_of,
        for_drill=False,
        dealt_at=one.at - (one.seconds or 0.0),
        lines_shown=len(one.hints),
        closed_at=one.at,
    )


def _recall(mark: RecallMark) -> Recall:
    return Recall(
        mark.recall, mark.learner, mark.prompt, mark.prompt_group, WHY, mark.at, typed=mark.typed, closed_at=mark.at
    )


def packed(lines: Iterable[str]) -> bytes:
    """Return lines compressed by gzip, the same for the same lines."""
    return gzip.compress("".join(lines).encode(), mtime=0)
