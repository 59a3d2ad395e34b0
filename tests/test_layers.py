"""Imports flow one way, by the contracts of pyproject.toml; each is broken once to see it bite."""

from __future__ import annotations

import ast
import re
from collections.abc import Mapping
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

import grimp
import pytest
from importlinter.api import read_configuration
from importlinter.contracts.forbidden import ForbiddenContract
from importlinter.contracts.independence import IndependenceContract
from importlinter.contracts.layers import LayersContract
from importlinter.domain.contract import Contract

ROOT = Path(__file__).resolve().parent.parent
SQL = re.compile(
    r"\b(SELECT\b.+\bFROM|INSERT INTO|UPDATE \w+ SET|DELETE FROM|CREATE (TABLE|INDEX|TRIGGER)|PRAGMA \w+)\b", re.S
)
OPTIONS = read_configuration(str(ROOT / "pyproject.toml"))
CONTRACTS = {one["id"]: one for one in OPTIONS["contracts_options"]}
KINDS: dict[str, type[Any]] = {
    "layers": LayersContract,
    "forbidden": ForbiddenContract,
    "independence": IndependenceContract,
}
BROKEN = {
    "rooms-of-cases": ("cases.optics.lens", "cases.notation.prescription"),
    "rooms-of-quiz": ("quiz.practice.dealing", "quiz.web.request_context"),
    "core-alone": ("cases.optics.lens", "quiz.practice.settings"),
    "families": ("cases.curriculum.near.lag", "cases.curriculum.sighting.fixation"),
    "pages": ("quiz.practice.dealing", "flask"),
    "data-file": ("quiz.practice.learners", "sqlite3"),
}
LONGEST_CHAIN = 12


@cache
def graph() -> grimp.ImportGraph:
    return grimp.build_graph("cases", "quiz", include_external_packages=True, cache_dir=None)


def kept(contract_id: str, imports: grimp.ImportGraph) -> bool:
    options = CONTRACTS[contract_id]
    contract: Contract = KINDS[options["type"]](options["name"], OPTIONS["session_options"], options)
    return bool(contract.check(deepcopy(imports), verbose=False).kept)


@pytest.mark.parametrize("contract_id", CONTRACTS)
def test_imports_flow_one_way(contract_id: str) -> None:
    assert kept(contract_id, graph()), f"run `lint-imports` to see where “{CONTRACTS[contract_id]['name']}” is broken"


@pytest.mark.parametrize("contract_id", CONTRACTS)
def test_a_broken_contract_is_seen(contract_id: str) -> None:
    importer, imported = BROKEN[contract_id]
    imports = deepcopy(graph())
    imports.add_import(importer=importer, imported=imported)
    assert not kept(contract_id, imports), f"{importer} importing {imported} went unseen"


def test_every_family_is_held_apart_from_the_others() -> None:
    folders = {path.parent.name for path in (ROOT / "cases" / "curriculum").glob("*/__init__.py")}
    assert {name.rpartition(".")[2] for name in CONTRACTS["families"]["modules"]} == folders


def own(name: str) -> bool:
    return name.partition(".")[0] in ("cases", "quiz")


def longest_chain(imports: grimp.ImportGraph) -> tuple[str, ...]:
    """Return the longest way from import to import; a circle is an error, told by its modules."""
    found: dict[str, tuple[str, ...]] = {}

    def longest(name: str, path: tuple[str, ...]) -> tuple[str, ...]:
        assert name not in path, f"modules import each other: {' → '.join((*path[path.index(name) :], name))}"
        if name not in found:
            below = [
                longest(one, (*path, name))
                for one in sorted(imports.find_modules_directly_imported_by(name))
                if own(one)
            ]
            found[name] = (name, *max(below, key=len, default=()))
        return found[name]

    return max((longest(name, ()) for name in sorted(imports.modules) if own(name)), key=len)


def test_no_chain_of_imports_is_long_and_none_is_a_circle() -> None:
    chain = longest_chain(graph())
    assert len(chain) <= LONGEST_CHAIN, " → ".join(chain)


def test_a_circle_is_seen() -> None:
    imports = deepcopy(graph())
    imports.add_import(importer="quiz.storage.store", imported="quiz.practice.dealing")
    with pytest.raises(AssertionError, match="import each other"):
        longest_chain(imports)


def sql_outside_storage(trees: Mapping[str, ast.Module]) -> list[str]:
    return [
        f"{name}: {node.value.strip()[:60]}"
        for name, tree in trees.items()
        if not name.startswith("quiz/storage/")
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and SQL.search(node.value)
    ]


def test_sql_is_spoken_in_storage_alone() -> None:
    paths = [path for package in ("cases", "quiz") for path in (ROOT / package).rglob("*.py")]
    trees = {path.relative_to(ROOT).as_posix(): ast.parse(path.read_text(encoding="utf-8")) for path in paths}
    assert sql_outside_storage(trees) == []
    planted = {"quiz/practice/learners.py": ast.parse('text = "SELECT name FROM learners"')}
    assert sql_outside_storage(planted) == ["quiz/practice/learners.py: SELECT name FROM learners"]
