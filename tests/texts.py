"""Every text that can reach a screen, read from the code: `python -m tests.texts [--catalogue] [PATH…]`.

A text is a string of two words or more: in Python (no docstring, no SQL, no pattern, no message that only a maintainer
meets), in a template, in a script of a page, or in the tables of prompts and sources. An f-string is given as one
text, each value in it as `{…}`, so that sentences can be read whole. With `--catalogue` they come as a template of GNU
gettext (its manual, "PO files"), the start of another language.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
VALUE = "{…}"
"""What stands in a text for a value that the program puts there."""

TWO_WORDS = re.compile(r"[A-Za-z’']{2,}[,:;]?\s+(?:\S{1,20}\s+){0,3}[A-Za-z’'{]{2,}")
NOT_SPOKEN = re.compile(r"\b(?:SELECT|INSERT|UPDATE|DELETE|CREATE|PRAGMA|REFERENCES|NOT NULL)\b|^[\w.-]+\.[a-z]{1,4}$")
JINJA_VALUE = re.compile(r"\{\{(?:[^{}]|\{[a-z]\}){0,400}\}\}")
JINJA_LOGIC = re.compile(r"\{%[^%]{0,400}%\}|\{#(?:[^#]|#(?!\})){0,4000}#\}")
SCRIPT_STRING = re.compile(r"\"((?:[^\"\\\n]|\\.){2,400})\"|`((?:[^`\\]|\\.){2,400})`")
SCRIPT_COMMENT = re.compile(r"/\*(?:[^*]|\*(?!/)){0,8000}\*/|(?<![:\"'`])//[^\n]{0,400}")
SCRIPT_VALUE = re.compile(r"\$\{[^{}]{0,200}\}")
BLANKS = re.compile(r"\s+")
SPOKEN_ATTRIBUTES = ("alt", "aria-label", "title", "placeholder", "data-says", "value", "content")
BLOCKS = "p h1 h2 h3 h4 li td th tr dt dd div section button label legend option summary figcaption"
TO_MAINTAINERS = {"AssertionError", "RuntimeError", "NotImplementedError", "deprecated", "compile", "getLogger"}


@dataclass(frozen=True)
class Text:
    """A text and where it stands: a path from the top of the project, and a line from 1."""

    path: str
    line: int
    says: str


def _tidy(words: str) -> str:
    return BLANKS.sub(" ", words).strip()


def _spoken(words: str) -> bool:
    return bool(TWO_WORDS.search(words)) and not NOT_SPOKEN.search(words)


def _name_of(call: ast.Call) -> str:
    if isinstance(call.func, ast.Attribute):
        return call.func.attr
    return call.func.id if isinstance(call.func, ast.Name) else ""


def _unspoken(tree: ast.AST) -> set[ast.AST]:
    """Nodes whose strings reach nobody who uses the app: docstrings, patterns, messages of broken promises."""
    found: set[ast.AST] = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            # A docstring, or a string under a name as its description.
            found.update(one.value for one in body if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant))
        if isinstance(node, ast.Call) and _name_of(node) in TO_MAINTAINERS:
            found.update(ast.walk(node))
        if isinstance(node, ast.Assert) and node.msg is not None:
            found.update(ast.walk(node.msg))
    return found


def _whole(node: ast.AST) -> str | None:
    """Give a string with its values as VALUE, or None where the node is no string."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(one.value) if isinstance(one, ast.Constant) else VALUE for one in node.values)
    return None


def of_python(source: str) -> Iterator[tuple[int, str]]:
    """Give the line and words of each text of a module, f-strings whole."""
    tree = ast.parse(source)
    skipped = _unspoken(tree)
    for node in ast.walk(tree):
        if node in skipped:
            continue
        words = _whole(node)
        if words is None:
            continue
        if isinstance(node, ast.JoinedStr):
            skipped.update(one for one in node.values if isinstance(one, ast.Constant))
        if _spoken(words):
            yield getattr(node, "lineno", 1), _tidy(words)


def _pieces(value: ast.expr) -> list[str] | None:
    """Return the strings that one place of a sentence may hold, or None where they are not written there."""
    if not isinstance(value, ast.IfExp):
        return None
    words = [_whole(one) for one in (value.body, value.orelse)]
    return [one for one in words if one is not None] or None


def assembled(source: str) -> Iterator[tuple[int, str]]:
    """Give the line and words of each sentence of a module that is put together from pieces.

    A place of a sentence may take one term ("plus" or "minus"). Where it takes nothing, or several words, another
    language could not order or bend them: both sentences are written whole (`cases.notation.plurals` for a number).
    """
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.JoinedStr) or not _spoken(_whole(node) or ""):
            continue
        for place in node.values:
            pieces = _pieces(place.value) if isinstance(place, ast.FormattedValue) else None
            if pieces and any(len(one.split()) != 1 for one in pieces):
                yield node.lineno, _whole(node) or ""


def catalogue_entry(text: Text) -> str:
    """Return a text as an entry of a gettext template, its values as numbered places such as {1}."""
    numbers = iter(range(1, text.says.count(VALUE) + 1))
    words = re.sub(re.escape(VALUE), lambda _: f"{{{next(numbers)}}}", text.says)
    quoted = words.replace("\\", "\\\\").replace('"', '\\"')
    return f'#: {text.path}:{text.line}\nmsgid "{quoted}"\nmsgstr ""\n'


class _Page(HTMLParser):
    """Collects what a template says: runs of text between blocks, and attributes that are read out."""

    BREAKS = frozenset(BLOCKS.split())

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self.run: list[str] = []
        self.since = 1
        self.hidden = 0

    def end_run(self) -> None:
        words = _tidy("".join(self.run))
        if _spoken(words):
            self.found.append((self.since, words))
        self.run = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self.BREAKS:
            self.end_run()
        self.hidden += tag in {"script", "style"}
        for name, value in attrs:
            if name in SPOKEN_ATTRIBUTES and value and _spoken(value):
                self.found.append((self.getpos()[0], _tidy(value)))

    def handle_endtag(self, tag: str) -> None:
        if tag in self.BREAKS:
            self.end_run()
        self.hidden -= tag in {"script", "style"}

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            if not self.run:
                self.since = self.getpos()[0]
            self.run.append(data)


def _blank(found: re.Match[str]) -> str:
    return "\n" * found.group().count("\n")


def of_template(source: str) -> Iterator[tuple[int, str]]:
    """Give the line and words of each text of a template, and of strings inside its expressions."""
    for found in JINJA_VALUE.finditer(source):
        for text in SCRIPT_STRING.finditer(found.group()):
            words = text.group(1) or text.group(2)
            if _spoken(words):
                yield source.count("\n", 0, found.start()) + 1, _tidy(words)
    page = _Page()
    page.feed(JINJA_LOGIC.sub(_blank, JINJA_VALUE.sub(VALUE, source)))
    page.close()
    page.end_run()
    yield from page.found


def of_script(source: str) -> Iterator[tuple[int, str]]:
    """Give the line and words of each string of a page's script."""
    bare = SCRIPT_COMMENT.sub(_blank, source)
    for found in SCRIPT_STRING.finditer(bare):
        words = SCRIPT_VALUE.sub(VALUE, found.group(1) or found.group(2))
        if _spoken(words) and "=>" not in words and "</" not in words:
            yield bare.count("\n", 0, found.start()) + 1, _tidy(words)


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _strings(one)
    elif isinstance(value, list):
        for one in value:
            yield from _strings(one)


def of_table(source: str) -> Iterator[tuple[int, str]]:
    """Give the line and words of each string of a TOML table."""
    for words in _strings(tomllib.loads(source)):
        if _spoken(words):
            start = source.find(words.splitlines()[0][:40])
            yield source.count("\n", 0, max(start, 0)) + 1, _tidy(words)


READERS = {".py": of_python, ".html": of_template, ".js": of_script, ".toml": of_table}


def texts(under: Sequence[str] = ("cases", "quiz", "static")) -> list[Text]:
    """List every text under folders or files of the project, by path and line."""
    found = []
    for top in under:
        here = ROOT / top
        files = [here] if here.is_file() else sorted(here.rglob("*"))
        for path in files:
            read = READERS.get(path.suffix)
            if read is None or "schema" in path.name or path.name == "skeleton.py":
                continue
            name = path.relative_to(ROOT).as_posix()
            found += [Text(name, line, says) for line, says in read(path.read_text(encoding="utf-8"))]
    return sorted(found, key=lambda one: (one.path, one.line))


def main() -> None:
    """Print the texts, one a line, and how many there are."""
    asked = [one for one in sys.argv[1:] if not one.startswith("--")]
    found = texts(asked or ("cases", "quiz", "static"))
    if "--catalogue" in sys.argv:
        print("\n".join(catalogue_entry(one) for one in found))  # noqa: T201
        return
    for one in found:
        print(f"{one.path}:{one.line}: {one.says}")  # noqa: T201
    words = sum(len(one.says.split()) for one in found)
    print(f"{len(found)} texts, {words} words.")  # noqa: T201


if __name__ == "__main__":
    main()
