"""Questions for Moodle, marked by a small marker that is written from its documentation (moodle_marker.py)."""

from __future__ import annotations

import random
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from cases.curriculum.case_list import CaseList, write
from cases.curriculum.register import all_types
from cases.procedure.case_type import Case, draw
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.kinds import Lens
from cases.procedure.settings import Settings
from quiz.__main__ import main
from quiz.exports import moodle_xml
from quiz.exports.carried import NothingToMark
from quiz.exports.numeric_fields import NotCarried, Questions, questions
from tests.quiz.exports.moodle_marker import Part, full_mark, parts_of
from tests.quiz.exports.test_numeric_fields import PAPER, drawn, in_app, near_every_bound


def in_moodle(found: Questions) -> list[Part]:
    """Return the parts of the one question of a case, read back from the file."""
    listed = CaseList((found.case,), 1, "competent")
    root = fromstring(moodle_xml.moodle_xml("A drill", listed))  # noqa: S314 - written by us a moment ago
    return parts_of(root.findall("question")[1])


def typed(found: Questions, given: dict[str, object]) -> list[str | Sequence[str]] | None:
    """Write an answer as a person would give it there; None where a field is empty."""
    texts: list[str | Sequence[str]] = []
    for asked in found.asked:
        for field in asked.fields:
            if given[field.name] is None:
                return None
            texts.append(f"{given[field.name]:.6f}")
        kind, chosen = asked.ask.kind, None if asked.fields else given[asked.ask.name]
        match kind:
            case Choice() | Order():
                texts.append(kind.write(chosen))  # type: ignore[arg-type]
            case Marks(options=options):
                texts.append([one.label for one in options if one.id in chosen] or [moodle_xml.NONE])  # type: ignore[operator]
    return texts


def asks_other_form(found: Questions, given: dict[str, object]) -> bool:
    """Say whether a cylinder has the sign that the question rules out: fields cannot compare forms."""
    signs = {"minus": -1, "plus": 1}
    for asked in found.asked:
        if isinstance(asked.ask.kind, Lens) and asked.fields:
            cylinder = given[asked.fields[1].name]
            if cylinder is not None and cylinder * signs[str(found.case.form)] < 0:  # type: ignore[operator]
                return True
    return False


@pytest.mark.parametrize("type_id", PAPER)
def test_a_full_mark_is_the_verdict_of_the_app(type_id: str) -> None:
    for case in drawn(type_id, range(1, 5)):
        found = None
        with suppress(NotCarried):
            found = questions(case)
            moodle_xml.check(found)
        if found is None or is_refused(found):
            continue
        parts = in_moodle(found)
        for given in near_every_bound(found, random.Random(case.seed)):
            verdict, texts = in_app(found, given), typed(found, given)
            if verdict is not None and texts is not None and not asks_other_form(found, given):
                assert full_mark(parts, texts) == verdict, (case.seed, case.truth, given)


def is_refused(found: Questions) -> bool:
    try:
        moodle_xml.check(found)
    except NotCarried:
        return True
    return False


def refusal(case: Case) -> str:
    with pytest.raises(NothingToMark) as error:
        moodle_xml.moodle_xml("A drill", CaseList((case,), 1, "competent"))
    return str(error.value)


def test_what_is_marked_together_is_left_out_and_said() -> None:
    """A tolerance on each of two numbers is a rectangle; the app's range of a cross and of a plus form is none."""
    cross = draw(all_types()["rx-to-cross"], 3, Settings())
    plus = draw(all_types()["two-spheres"], 3, Settings(form="plus"))
    for case in (cross, plus):
        assert f"Case 1 is left out: {moodle_xml.TOGETHER}." in refusal(case)
    both = CaseList((cross, draw(all_types()["net-sphere"], 3, Settings())), 1, "competent")
    root = fromstring(moodle_xml.moodle_xml("A drill", both))  # noqa: S314
    assert [one.get("type") for one in root.findall("question")] == ["category", "numerical"]
    assert moodle_xml.TOGETHER in str(root.findtext("question/info/text"))


def test_slips_are_wrong_answers_with_feedback_and_lie_in_no_right_range() -> None:
    """Worked by hand: +3.00 at 67 cm is +1.50 net; left in +3.00, added +4.50."""
    case = all_types()["net-sphere"].case_from_json({"gross": 3.0, "distance_cm": 67.0})
    (part,) = in_moodle(questions(case))
    said = {float(one.text): one.says for one in part.answers if not one.fraction}
    assert said[3.0] == "This is what you get if you did not subtract the working distance."
    assert "added the working distance" in said[4.5]
    for type_id in PAPER:
        for one in drawn(type_id, range(1, 2)):
            found = None
            with suppress(NotCarried):
                found = questions(one)
            if found and not is_refused(found):
                for field in in_moodle(found):
                    rights = [right for right in field.answers if right.fraction > 0]
                    for wrong in (answer for answer in field.answers if answer.says and answer.tolerance):
                        if not wrong.fraction:
                            gaps = [
                                abs(float(right.text) - float(wrong.text)) - (right.tolerance or 0) for right in rights
                            ]
                            assert min(gaps) > 0, (type_id, wrong)


def test_the_command_writes_saved_cases_in_each_format(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cases = (draw(all_types()["net-sphere"], 3, Settings()), draw(all_types()["rx-to-cross"], 3, Settings()))
    saved = tmp_path / "cases.json"
    saved.write_text(write(CaseList(cases, 3, "competent")), encoding="utf-8")
    for kind, count in (("qti-2.1", 2), ("qti-3.0", 2), ("moodle", 1)):
        arguments = ["questions", "--cases", str(saved), "--as", kind, str(tmp_path / kind)]
        assert main(arguments) == 0
        said = capsys.readouterr().out
        assert f"{count} questions in" in said
        assert (moodle_xml.TOGETHER in said) == (kind == "moodle")
        assert (tmp_path / kind).read_bytes()[:2] == (b"<?" if kind == "moodle" else b"PK")
        assert main(arguments) == 2, "no file is written over"
        assert "give the name of a new one" in capsys.readouterr().err
