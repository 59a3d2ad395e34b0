"""Plain recall prompts: a question for the head, then its short answer, why, and the sources. Data: prompts.toml."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from importlib.resources import files
from typing import Any

from cases.errors import CaseError
from cases.evidence.sources import check_sources
from cases.notation.prescription import read_power, read_quantity
from cases.notation.tokens import plain_characters

_READERS: Mapping[str, Callable[[str], float]] = {
    "D": read_power,
    "cm": partial(read_quantity, unit="cm"),
    "°": partial(read_quantity, unit="°"),
}
_NEEDED = {"id", "group", "question", "answer", "because", "sources"}
_MAY_HAVE = {"typed", "steps", "explains"}
_KEBAB = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


class BadPrompt(CaseError):
    """prompts.toml breaks one of its own rules; the message names the prompt or table."""

    def __init__(self, where: str, rule: str) -> None:
        super().__init__(f"recall prompt “{where}”: {rule}")


class UnknownPrompt(CaseError):
    """No recall prompt has this id, or no group of them does."""

    def __init__(self, what: str, given: str, known: tuple[str, ...]) -> None:
        near = difflib.get_close_matches(given, known, n=1)
        hint = f"did you mean {near[0]}?" if near else "the Recall screen lists them all"
        super().__init__(f"{what} “{given[:40]}” is unknown: {hint}")


@dataclass(frozen=True)
class TypedNumber:
    """An answer that may be typed as a number: `value` and `within` in `unit`, which is "D", "cm" or "°".

    `size` is true where only a size is asked, so that a sign typed before it does not matter.
    """

    value: float
    within: float
    unit: str
    size: bool = False

    def accepts(self, text: str) -> bool:
        """Say whether the number typed, with or without its unit, lies within `within` of the value.

        Raises
        ------
        NotationError
            When no such number can be read; the message says what would be right, so ask back and do not mark.
        """
        typed = _READERS[self.unit](text)
        return abs((abs(typed) if self.size else typed) - self.value) <= self.within + 1e-9


@dataclass(frozen=True)
class TypedWords:
    """An answer that may be typed as a word or two. `words` are those that are surely right."""

    words: tuple[str, ...]

    def accepts(self, text: str) -> bool:
        """Say whether the text is one of the words, whatever its capitals, spacing, article or closing full stop.

        False means only that it was not recognised: people have more words than a list, so let them judge themselves.
        """
        return _bare(text) in {_bare(word) for word in self.words}


@dataclass(frozen=True)
class PromptGroup:
    """A group of prompts. `notice` is "" or, for the cautions, the sentence that each of its prompts ends with."""

    id: str
    title: str
    notice: str = ""


@dataclass(frozen=True)
class Prompt:
    """One prompt. `because` is why the answer is so, and holds its group's notice where there is one.

    `sources` are keys of evidence/sources.toml. `caution` is true for what touches drugs, referral or prescribing,
    where local rules prevail. `typed` is None where the answer is a sentence: the learner compares it and judges.
    `steps` are the ids of the steps of cases that rest on it; `explains` those of them whose every line it explains.
    """

    id: str
    group: PromptGroup
    question: str
    answer: str
    because: str
    sources: tuple[str, ...]
    typed: TypedNumber | TypedWords | None = None
    steps: tuple[str, ...] = ()
    explains: tuple[str, ...] = ()

    @property
    def caution(self) -> bool:
        """Whether local rules prevail over what is printed."""
        return bool(self.group.notice)


@cache
def all_prompts() -> tuple[Prompt, ...]:
    """Return every prompt, group by group in the order of prompts.toml."""
    return read_prompts(files("cases.recall").joinpath("prompts.toml").read_text(encoding="utf-8"))


@cache
def all_groups() -> tuple[PromptGroup, ...]:
    """Return the groups in their order; none is empty."""
    return tuple(dict.fromkeys(one.group for one in all_prompts()))


@cache
def prompts_in(group_id: str) -> tuple[Prompt, ...]:
    """Return the prompts of one group in their order.

    Raises
    ------
    UnknownPrompt
        With the nearest group there is.
    """
    found = tuple(one for one in all_prompts() if one.group.id == group_id)
    if not found:
        raise UnknownPrompt("group", group_id, tuple(one.id for one in all_groups()))
    return found


def prompt(prompt_id: str) -> Prompt:
    """Return the prompt of this id.

    Raises
    ------
    UnknownPrompt
        With the nearest id there is.
    """
    by_id = _by_id()
    if prompt_id not in by_id:
        raise UnknownPrompt("recall prompt", prompt_id, tuple(by_id))
    return by_id[prompt_id]


@cache
def prompts_for(step: str) -> tuple[Prompt, ...]:
    """Return the prompts that a step rests on, in their order."""
    return tuple(one for one in all_prompts() if step in one.steps)


@cache
def _by_id() -> dict[str, Prompt]:
    return {one.id: one for one in all_prompts()}


def read_prompts(text: str) -> tuple[Prompt, ...]:
    """Read prompts from TOML in the form of prompts.toml: a table `groups` and a list `prompt`.

    Raises
    ------
    BadPrompt
        When a key is missing, unknown or empty, an id is not kebab-case or comes twice, a source is unknown or named
        twice, a group is unknown, the groups are not each in one piece, or `typed` has the wrong shape.
    """
    data = tomllib.loads(text)
    groups = {name: PromptGroup(name, **table) for name, table in data["groups"].items()}
    prompts = tuple(_prompt(table, groups) for table in data["prompt"])
    seen: set[str] = set()
    for one in prompts:
        if one.id in seen:
            raise BadPrompt(one.id, "the id comes twice: ids are kept in people's records, so each is used once")
        seen.add(one.id)
    runs = [one.group.id for at, one in enumerate(prompts) if at == 0 or prompts[at - 1].group != one.group]
    if runs != list(groups):
        raise BadPrompt("groups", f"prompts stand in {', '.join(runs)}; they must follow {', '.join(groups)}")
    return prompts


def _prompt(table: dict[str, Any], groups: Mapping[str, PromptGroup]) -> Prompt:
    where = str(table.get("id", "without an id"))
    if odd := (_NEEDED - table.keys()) | (table.keys() - _NEEDED - _MAY_HAVE):
        raise BadPrompt(where, f"missing or unknown: {', '.join(sorted(odd))}")
    if blank := [key for key in sorted(_NEEDED) if not table[key]]:
        raise BadPrompt(where, f"{', '.join(blank)} must not be empty")
    if not _KEBAB.fullmatch(where):
        raise BadPrompt(where, "an id is lower-case words joined by hyphens")
    if table["group"] not in groups:
        raise BadPrompt(where, f"group {table['group']} is unknown; there are {', '.join(groups)}")
    sources = tuple(table["sources"])
    try:
        check_sources(sources)
    except CaseError as error:
        raise BadPrompt(where, str(error)) from error
    if stray := set(table.get("explains", ())) - set(table.get("steps", ())):
        raise BadPrompt(where, f"it explains {', '.join(sorted(stray))}, which must be among its steps")
    group = groups[table["group"]]
    return Prompt(
        id=where,
        group=group,
        question=table["question"],
        answer=table["answer"],
        because=f"{table['because']} {group.notice}".rstrip(),
        sources=sources,
        typed=_typed(where, table["typed"]) if "typed" in table else None,
        steps=tuple(table.get("steps", ())),
        explains=tuple(table.get("explains", ())),
    )


def _typed(where: str, table: dict[str, Any]) -> TypedNumber | TypedWords:
    if table.keys() == {"words"} and table["words"]:
        return TypedWords(tuple(table["words"]))
    if table.keys() - {"size"} == {"number", "within", "unit"} and table["unit"] in _READERS and table["within"] >= 0:
        return TypedNumber(float(table["number"]), float(table["within"]), table["unit"], table.get("size", False))
    raise BadPrompt(where, f"typed is words, or else number, within, unit ({', '.join(_READERS)}) and maybe size")


def _bare(text: str) -> str:
    """Strip what makes no difference to a word: characters' variants, spacing, a leading article."""
    words = plain_characters(text).split()
    return " ".join(words[1:] if words[:1] in (["the"], ["a"], ["an"]) and len(words) > 1 else words)
