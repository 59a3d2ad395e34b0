"""Plants faults in the case types to see that they are refused: names spelt wrong, and steps left out.

    python -m tests.benchmarks.planted [--names 60] [--seed 1]

A misspelt name is put into a copy of one family's file; it counts as refused when the file cannot be imported, or when
mypy reports it. Every step of every type is left out in turn; it counts as refused when the type cannot be made. Where
it can, the step gives only what it reads, and the golden cases have to differ.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.case_type import CaseType
from cases.procedure.wiring import BrokenChain
from tests.golden import as_text, drawn, path_of

ROOT = Path(__file__).resolve().parents[2]
say = print


@dataclass(frozen=True)
class Plant:
    """A name in a file, and what it is misspelt as."""

    file: str
    line: int
    column: int
    name: str
    wrong: str


def names_in(path: Path) -> Iterator[Plant]:
    """Yield every use of a name of four letters or more in a family's file, with two of its letters exchanged."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    every = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load) and len(node.id) >= 4:
            wrong = f"{node.id[:-3]}{node.id[-2]}{node.id[-3]}{node.id[-1]}"
            if wrong not in every and wrong != node.id:
                yield Plant(f"{path.parent.name}/{path.name}", node.lineno, node.col_offset, node.id, wrong)


def planted(text: str, one: Plant) -> str:
    """Put a misspelt name into a file's text."""
    lines = text.splitlines(keepends=True)
    line = lines[one.line - 1].encode()
    changed = line[: one.column] + one.wrong.encode() + line[one.column + len(one.name.encode()) :]
    lines[one.line - 1] = changed.decode()
    return "".join(lines)


def passes_import(folder: Path, one: Plant) -> bool:
    """Say whether a planted file can be imported, with every other as it is."""
    module = f"cases.curriculum.{one.file.removesuffix('.py').replace('/', '.')}"
    ran = subprocess.run([sys.executable, "-c", f"import {module}"], cwd=folder, capture_output=True, check=False)
    return ran.returncode == 0


def misspelt(count: int, seed: int) -> tuple[int, int, list[Plant]]:
    """Plant misspelt names; return how many the import refused, how many mypy refused, and those that passed both."""
    families = sorted((ROOT / "cases" / "curriculum").glob("*/[!_]*.py"))
    rng = random.Random(seed)
    at_import, in_mypy, passed = 0, 0, []
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        shutil.copytree(ROOT / "cases", folder / "cases", ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        for number in range(count):
            path = families[number % len(families)]
            one, text = rng.choice(list(names_in(path))), path.read_text(encoding="utf-8")
            target = folder / path.relative_to(ROOT)
            target.write_text(planted(text, one), encoding="utf-8")
            if not passes_import(folder, one):
                at_import += 1
            else:
                checked = [sys.executable, "-m", "mypy", str(target.relative_to(folder))]
                said = subprocess.run(checked, cwd=folder, capture_output=True, text=True, check=False).stdout
                if f"{path.name}:{one.line}:" in said:
                    in_mypy += 1
                else:
                    passed.append(one)
            target.write_text(text, encoding="utf-8")
    return at_import, in_mypy, passed


def differs(case_type: CaseType) -> bool:
    """Say whether a type's golden cases are drawn, worked out or said otherwise than they are kept."""
    try:
        return as_text(drawn(case_type)) != path_of(case_type.id).read_text(encoding="utf-8")
    except (CaseError, KeyError):
        return True


def left_out() -> tuple[int, list[str], list[str]]:
    """Leave out each step in turn; return how many were refused, which golden cases caught, and which nothing saw."""
    refused, golden, unseen = 0, list[str](), list[str]()
    for one in all_types().values():
        for number, step in enumerate(one.steps):
            try:
                without = replace(one, steps=one.steps[:number] + one.steps[number + 1 :])
            except BrokenChain:
                refused += 1
                continue
            (golden if differs(without) else unseen).append(f"{one.id}: {step.skill.id}")
    return refused, golden, unseen


def main() -> None:
    """Plant, and say what refused what."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--names", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    at_import, in_mypy, passed = misspelt(chosen.names, chosen.seed)
    say(f"misspelt names: {chosen.names}; refused at import {at_import}, by mypy {in_mypy}, by neither {len(passed)}")
    for one in passed:
        say(f"  {one}")
    refused, golden, unseen = left_out()
    say(f"steps left out: refused at import {refused}, caught by golden cases {len(golden)}, unseen {len(unseen)}")
    for line in (*golden, *(f"UNSEEN {one}" for one in unseen)):
        say(f"  {line}")
    sys.exit(bool(passed or unseen))


if __name__ == "__main__":
    main()
