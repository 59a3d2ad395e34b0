"""No text that can reach a screen has a word of tests/words.toml, nor a sentence that is too long to read at once."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path

from cases.notation.plurals import counted, plural
from tests.texts import ROOT, Text, assembled, catalogue_entry, of_python, of_template, texts

RULES = tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))
NEVER = [(re.compile(rule["pattern"], re.IGNORECASE), rule["write"]) for rule in RULES["never"]]
QUOTED = re.compile(r"“[^”]{0,400}”")
SENTENCE = re.compile(r"(?<=[.!?:;])\s+")
PLURAL_BY_HAND = re.compile(r"\{\{[^{}]{0,200}== 1 else[^{}]{0,200}\}\}")
TITLES = ("cases/evidence/sources.toml",)
"""Titles of works, in the words of their authors."""


@cache
def every_text() -> list[Text]:
    """Read the texts once for the tests of this file."""
    return texts()


def broken(text: Text) -> list[str]:
    """Say what is wrong with a text: a word to avoid, or a sentence of too many words."""
    said = QUOTED.sub("“…”", text.says)
    found = [
        f"{text.path}:{text.line}: “{hit.group()}” (write: {instead}) in: {text.says}"
        for pattern, instead in NEVER
        for hit in pattern.finditer(said)
    ]
    if text.path not in TITLES:
        found += [
            f"{text.path}:{text.line}: {len(one.split())} words in one sentence: {one}"
            for one in SENTENCE.split(said)
            if len(one.split()) > RULES["longest_sentence"]
        ]
    return found


def test_no_text_has_a_word_to_avoid_or_a_sentence_too_long() -> None:
    found = [line for text in every_text() for line in broken(text)]
    assert not found, f"{len(found)} places:\n" + "\n".join(found)


def test_the_list_is_read_from_every_kind_of_file_and_finds_what_it_should() -> None:
    kinds = {Path(text.path).suffix for text in every_text()}
    assert kinds == {".py", ".html", ".js", ".toml"}
    assert len(every_text()) > 5000
    python = 'x = f"The eye wants {power} D more."\ny = re.compile("nought and two")\n'
    assert [says for _, says in of_python(python)] == ["The eye wants {…} D more."]
    page = '<p>Whoever\n{{ name }} is</p><img alt="a lens of nought">{# nought #}'
    assert [says for _, says in of_template(page)] == ["Whoever {…} is", "a lens of nought"]
    assert broken(Text("a.py", 1, "The eye wants {…} D more."))
    assert broken(Text("a.py", 1, " ".join(["word"] * 31)))
    assert not broken(Text("a.py", 1, "The eye needs +1.00 D more. “Whoever wrote this” is quoted."))


def test_no_sentence_is_put_together_from_pieces() -> None:
    """Else a catalogue of another language could not take it over: whole sentences, with one term in a place."""
    found = [
        f"{path.relative_to(ROOT)}:{line}: {words}"
        for top in ("cases", "quiz")
        for path in sorted((ROOT / top).rglob("*.py"))
        for line, words in assembled(path.read_text(encoding="utf-8"))
    ]
    assert not found, "\n".join(found)
    plurals = [
        f"{path.relative_to(ROOT)}: {hit.group()}"
        for path in sorted((ROOT / "quiz").rglob("*.html"))
        for hit in PLURAL_BY_HAND.finditer(path.read_text(encoding="utf-8"))
    ]
    assert not plurals, "\n".join(plurals)


def test_pieces_are_found_and_a_term_in_its_place_is_none() -> None:
    assert list(assembled("""x = f"You saw {n} eye{'' if n == 1 else 's'} today"\n"""))
    assert list(assembled("""x = f"It is {'over there' if far else 'here'} that you sat"\n"""))
    assert not list(assembled("""x = f"It is too {'plus' if power > 0 else 'minus'} by far"\n"""))
    assert PLURAL_BY_HAND.search('{{ n }} row{{ "" if n == 1 else "s" }}')
    assert plural(1, "1 row is refused", "{n} rows are refused") == "1 row is refused"
    assert plural(0, "1 row is refused", "{n} rows are refused") == "0 rows are refused"
    assert counted(2, "case") == "2 cases"


def test_the_catalogue_is_a_template_of_gettext() -> None:
    text = Text("a.py", 3, 'The eye needs {…} D, "not" {…}.')
    assert catalogue_entry(text) == '#: a.py:3\nmsgid "The eye needs {1} D, \\"not\\" {2}."\nmsgstr ""\n'
