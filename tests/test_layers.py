"""Imports flow one way, each outside library is met in one place; every rule is broken once to see it bite."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SPEAK_SQL = {
    "quiz.storage.store",
    "quiz.storage.schema",
    "quiz.storage.datafile",
    "quiz.storage.result_queries",
    "quiz.storage.class_schema",
    "quiz.storage.class_queries",
}
SPEAK_SQL |= {
    "quiz.storage.accuracy_schema",
    "quiz.storage.accuracy_queries",
    "quiz.practice.focused_sittings",
    "quiz.storage.backups",
    "quiz.storage.checks",
}
SPEAK_SQL |= {"quiz.storage.progress_queries", "quiz.storage.recall_queries", "quiz.storage.soundness"}
WEB = {"flask", "werkzeug", "jinja2", "markupsafe", "itsdangerous"}
SQLITE = {"sqlite3", "sqlite_utils"}
PURE = (
    "quiz.learning.model",
    "quiz.learning.state",
    "quiz.learning.parameters",
    "quiz.learning.catalogue",
    "quiz.learning.scheduler",
)
SQL = re.compile(
    r"\b(SELECT\b.+\bFROM|INSERT INTO|UPDATE \w+ SET|DELETE FROM|CREATE (TABLE|INDEX|TRIGGER)|PRAGMA \w+)\b", re.S
)

Imports = Mapping[str, set[str]]


@cache
def modules() -> dict[str, ast.Module]:
    """Every module of the two packages, by its dotted name."""
    out = {}
    for package in ("cases", "quiz"):
        for path in sorted((ROOT / package).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
            out[name] = ast.parse(path.read_text(encoding="utf-8"))
    return out


def imports_of(tree: ast.Module, known: set[str]) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if inner in known else node.module


@cache
def parsed() -> dict[str, frozenset[str]]:
    trees = modules()
    return {name: frozenset(imports_of(tree, set(trees))) for name, tree in trees.items()}


def graph() -> dict[str, set[str]]:
    return {name: set(ones) for name, ones in parsed().items()}


def outside(name: str) -> str:
    return name.split(".")[0]


def is_page(name: str) -> bool:
    return name.startswith("quiz.pages.")


# --- the rules ---------------------------------------------------------------------------------------------------


def core_reaches_out(imports: Imports) -> list[str]:
    return [
        f"{name} imports {one}"
        for name, ones in imports.items()
        if outside(name) == "cases"
        for one in ones
        if outside(one) in WEB | SQLITE | {"quiz", "time", "datetime", "waitress", "platformdirs"}
    ]


def web_outside_pages(imports: Imports) -> list[str]:
    return [
        f"{name} imports {one}"
        for name, ones in imports.items()
        if name != "quiz.app" and not is_page(name)
        for one in ones
        # The hashing of passwords is met in one place, and is no part of the web.
        if outside(one) in WEB and (name, one) != ("quiz.classroom.sign_in", "werkzeug.security")
    ]


def sqlite_outside_store(imports: Imports) -> list[str]:
    return [
        f"{name} imports {one}"
        for name, ones in imports.items()
        if name not in SPEAK_SQL
        for one in ones
        if outside(one) in SQLITE
    ]


def pages_reached_from_below(imports: Imports) -> list[str]:
    return [
        f"{name} imports {one}"
        for name, ones in imports.items()
        if outside(name) == "quiz" and name != "quiz.app" and not is_page(name)
        for one in ones
        if is_page(one) or (one == "quiz.app" and name != "quiz.web.server")
    ]


def memory_reaches_the_store(imports: Imports) -> list[str]:
    allowed = {*PURE, "quiz.errors"}
    return [
        f"{name} imports {one}"
        for name, ones in imports.items()
        if name in PURE
        for one in ones
        if outside(one) == "quiz" and one not in allowed
    ]


def circles(imports: Imports) -> list[str]:
    done: set[str] = set()
    found: list[str] = []

    def visit(name: str, path: tuple[str, ...]) -> None:
        if name in path:
            found.append(" → ".join((*path[path.index(name) :], name)))
        elif name not in done:
            for one in sorted(imports.get(name, ())):
                if one in imports:
                    visit(one, (*path, name))
            done.add(name)

    for name in sorted(imports):
        visit(name, ())
    return found


def sql_outside_store(trees: Mapping[str, ast.Module]) -> list[str]:
    return [
        f"{name}: {node.value.strip()[:60]}"
        for name, tree in trees.items()
        if name not in SPEAK_SQL
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and SQL.search(node.value)
    ]


RULES = (
    core_reaches_out,
    web_outside_pages,
    sqlite_outside_store,
    pages_reached_from_below,
    memory_reaches_the_store,
    circles,
)

BROKEN = {
    core_reaches_out: ("cases.optics.lens", "quiz.practice.settings"),
    web_outside_pages: ("quiz.practice.dealing", "flask"),
    sqlite_outside_store: ("quiz.practice.learners", "sqlite3"),
    pages_reached_from_below: ("quiz.practice.dealing", "quiz.web.request_context"),
    memory_reaches_the_store: ("quiz.learning.model", "quiz.storage.store"),
    circles: ("quiz.storage.store", "quiz.practice.dealing"),
}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_imports_flow_one_way(rule: object) -> None:
    assert rule(graph()) == []  # type: ignore[operator]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_a_broken_rule_is_seen(rule: object) -> None:
    imports = graph()
    where, what = BROKEN[rule]  # type: ignore[index]
    imports[where].add(what)
    assert rule(imports), f"{where} importing {what} went unseen"  # type: ignore[operator]


def test_sql_is_spoken_in_the_store_alone() -> None:
    assert sql_outside_store(modules()) == []
    planted = modules() | {"quiz.practice.learners": ast.parse('text = "SELECT name FROM learners"')}
    assert sql_outside_store(planted) == ["quiz.practice.learners: SELECT name FROM learners"]
