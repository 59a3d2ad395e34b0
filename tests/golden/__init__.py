"""Golden cases: one drawn case for each type, level and form, kept as files that a change must not touch unnoticed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cases.curriculum.register import all_types
from cases.procedure.case_type import CannotDraw, CaseType, draw
from cases.procedure.documents import case_document
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.practice.type_catalogue import DRAWN_BEFORE, called_for

HERE = Path(__file__).parent
SEED = 1
FORMS = ("minus", "plus")
COMMAND = "python -m tests.golden --write"


def path_of(type_id: str) -> Path:
    """Return where the golden cases of a type are kept."""
    return HERE / f"{type_id}.json"


def drawn(one: CaseType) -> dict[str, Any]:
    """Draw a case of a type at each level and in each form, named "novice, minus"; a refusal where there is none."""
    return {f"{level}, {form}": _case(one, level, form) for level in LEVELS for form in FORMS}


def _case(one: CaseType, level: str, form: str) -> Any:
    try:
        found = case_document(draw(one, SEED, Settings(level=level, form=form)))
    except CannotDraw as error:
        return str(error)
    return {
        "findings": found["findings"],
        "answer": found["answer"],
        "working": [[line["step"], line["says"], line["value"]] for line in found["working"]],
        "slips": [[one["step"], one["slip"], one["answer"]] for one in found["slips"]],
    }


def as_text(cases: dict[str, Any]) -> str:
    """Write the cases of a type as JSON with a line for each finding, step and slip, so that a change reads as one."""
    return "{\n" + ",\n".join(f"{_json(name)}: {_case_text(case)}" for name, case in cases.items()) + "\n}\n"


def _case_text(case: Any) -> str:
    if isinstance(case, str):
        return _json(case)
    findings = ",\n".join(f"  {_json(name)}: {_json(value)}" for name, value in case["findings"].items())
    parts = [f' "findings": {{\n{findings}\n }}', f' "answer": {_json(case["answer"])}']
    for name in ("working", "slips"):
        lines = ",\n".join(f"  {_json(line)}" for line in case[name])
        parts.append(f' "{name}": [\n{lines}\n ]')
    return "{\n" + ",\n".join(parts) + "\n}"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def changes() -> Iterator[tuple[str, str]]:
    """Yield each type whose cases are not as they are kept, with what that means for drills."""
    types = all_types()
    for one in types.values():
        if not path_of(one.id).exists():
            yield one.id, "new: it has no golden cases yet"
            continue
        kept, now = json.loads(path_of(one.id).read_text(encoding="utf-8")), json.loads(as_text(drawn(one)))
        if kept != now:
            yield one.id, _meaning(kept, now)
    for path in sorted(HERE.glob("*.json")):
        if path.stem not in types:
            yield path.stem, "gone: drills that keep cases of it can no longer show them"


def _meaning(kept: dict[str, Any], now: dict[str, Any]) -> str:
    differ = [name for name in {**kept, **now} if kept.get(name) != now.get(name)]
    redrawn = [name for name in differ if _findings(kept.get(name)) != _findings(now.get(name))]
    if redrawn:
        return (
            f"draws otherwise ({'; '.join(redrawn)}): drills that were set before keep their own cases, and so do "
            f"worksheets whose cases were kept; a key drawn again from a seed has another digest and does not fit"
        )
    return (
        f"works out or says otherwise, with the same findings ({'; '.join(differ)}): cases that drills keep are worked "
        f"out in the new way as well"
    )


def _findings(case: Any) -> Any:
    return case.get("findings") if isinstance(case, dict) else case


def write() -> None:
    """Keep the cases as they are drawn now, and drop those of types that are gone."""
    types = all_types()
    for path in HERE.glob("*.json"):
        if path.stem not in types:
            path.unlink()
    for one in types.values():
        path_of(one.id).write_text(as_text(drawn(one)), encoding="utf-8", newline="\n")
    DRAWN_BEFORE.write_text(called_for_today(), encoding="utf-8", newline="\n")


def called_for_today() -> str:
    """Write anew, by level and form, which steps the cases of a type call for: half a minute of drawing."""
    found = {f"{level} {form}": called_for(Settings(level=level, form=form)) for level in LEVELS for form in FORMS}
    return json.dumps(found, indent=1, sort_keys=True) + "\n"


def called_for_changes() -> Iterator[tuple[str, str]]:
    """Yield the file of steps called for where it is not as it would be drawn today."""
    if called_for_today() != DRAWN_BEFORE.read_text(encoding="utf-8"):
        yield DRAWN_BEFORE.name, "changed: the choice of cases goes by other steps"
