"""No text that can reach a screen has a word of tests/words.toml, nor a sentence that is too long to read at once."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path

from tests.texts import Text, of_python, of_template, texts

RULES = tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))
NEVER = [(re.compile(rule["pattern"], re.IGNORECASE), rule["write"]) for rule in RULES["never"]]
QUOTED = re.compile(r"“[^”]{0,400}”")
SENTENCE = re.compile(r"(?<=[.!?:;])\s+")
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
