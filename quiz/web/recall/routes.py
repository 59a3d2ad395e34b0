"""Recall prompts: beside the case that needs them, one's own words held against the answer, and all to look up."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.evidence.sources import cited
from cases.recall.prompts import Prompt, all_groups, prompt, prompts_in
from quiz.practice import recall_prompts
from quiz.practice.recall_prompts import Unreadable
from quiz.practice.titles import type_title
from quiz.storage.recall_queries import Recall
from quiz.web import request_context

pages = Blueprint("recall", __name__, url_prefix="/recall")

MOST = 400
"""Characters of a learner's own words."""


@dataclass(frozen=True)
class PromptLine:
    """A prompt to look up."""

    question: str
    answer: str
    because: str
    source: str


@dataclass(frozen=True)
class PromptList:
    """The prompts of one group, to look up."""

    id: str
    title: str
    prompts: tuple[PromptLine, ...]


@dataclass(frozen=True)
class PromptPage:
    """What the page of one prompt receives; `typed` is None until something was written."""

    id: str
    group: str
    question: str
    why: str
    beside: str
    """The title of the case beside which it comes; "" where it was asked for by itself."""
    short: bool
    """Whether a number or a word or two is wanted."""
    typed: str | None
    answer: str
    because: str
    source: str
    had: bool | None
    """Whether it was marked as had; None where it is not marked yet."""
    parts: tuple[tuple[str, bool], ...]
    """What the answer holds, and whether the words seem to have it."""
    onward: str
    problem: str = ""
    text: str = ""


def listed() -> tuple[PromptList, ...]:
    """Return every prompt with its answer, group by group: for a page on which they are looked up."""
    return tuple(
        PromptList(
            group.id,
            group.title,
            tuple(
                PromptLine(one.question, one.answer, one.because, cited(one.sources)) for one in prompts_in(group.id)
            ),
        )
        for group in all_groups()
    )


@pages.get("")
def show() -> str:
    """List the groups, and every prompt of the one in the address with its answer: all at once would weigh too much."""
    request_context.learner()
    return render_template("recall.html", groups=listed(), chosen=request.args.get("group", ""))


@pages.get("/<group_id>")
def group(group_id: str) -> Response | str:
    """Show the prompt of a group that waits, put now if there is none."""
    one = recall_prompts.waiting(
        request_context.store(),
        request_context.learner(),
        group_id,
        now=request_context.now(),
        lots=request_context.lots(),
    )
    return redirect(url_for("recall.ask", recall_id=one.id), 303)


@pages.get("/prompt/<recall_id>")
def ask(recall_id: str) -> str:
    """Show a prompt: its question, one's own words held against the answer, or how it was marked."""
    one = recall_prompts.own(request_context.store(), request_context.learner(), recall_id)
    return render_template("recall_prompt.html", page=_page(one))


@pages.post("/prompt/<recall_id>")
def answer(recall_id: str) -> Response:
    """Take one's own words, or that one does not know, or pass over the prompt."""
    store, learner, now = request_context.store(), request_context.learner(), request_context.now()
    one = recall_prompts.own(store, learner, recall_id)
    if request.form.get("later"):
        recall_prompts.pass_over(store, learner, recall_id, now=now)
        return redirect(_onward(one), 303)
    if request.form.get("unknown"):
        recall_prompts.give_up(store, learner, recall_id, now=now)
        return redirect(url_for("recall.ask", recall_id=recall_id), 303)
    text = request.form.get("typed", "")[:MOST]
    try:
        recall_prompts.answer(store, learner, recall_id, text, now=now)
    except Unreadable as error:
        page = _page(one, problem=str(error), text=text)
        return make_response(render_template("recall_prompt.html", page=page), 422)
    return redirect(url_for("recall.ask", recall_id=recall_id), 303)


@pages.post("/prompt/<recall_id>/mark")
def mark(recall_id: str) -> Response:
    """Keep which parts of the answer one's own words had, and go on: all of them, and the prompt was had."""
    store, learner = request_context.store(), request_context.learner()
    one = recall_prompts.own(store, learner, recall_id)
    if one.typed is None:
        return redirect(url_for("recall.ask", recall_id=recall_id), 303)
    parts = recall_prompts.held_against(one).parts
    ticked = {request.form.get(f"part-{number}") == "yes" for number in range(len(parts))}
    recall_prompts.mark(store, learner, recall_id, had=ticked == {True}, now=request_context.now())
    return redirect(_onward(one), 303)


def _onward(one: Recall) -> str:
    return url_for("practise.show") if one.dealt else url_for("recall.group", group_id=one.prompt_group)


def _page(one: Recall, *, problem: str = "", text: str = "") -> PromptPage:
    what: Prompt = prompt(one.prompt)
    store = request_context.store()
    held = recall_prompts.held_against(one)
    dealt = store.dealt(one.dealt) if one.dealt else None
    return PromptPage(
        id=one.id,
        group=what.group.title,
        question=what.question,
        why=one.why,
        beside=type_title(dealt.type) if dealt else "",
        short=what.typed is not None,
        typed=one.typed,
        answer=what.answer,
        because=what.because,
        source=cited(what.sources),
        had=recall_prompts.marked_as(store, one),
        parts=tuple(zip(held.parts, held.had, strict=True)),
        onward=_onward(one),
        problem=problem,
        text=text,
    )
