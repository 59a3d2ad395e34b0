"""Recall: plain prompts, answered in the head or typed, then shown; the learner marks."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.evidence.sources import cited
from cases.recall.prompts import Prompt, all_groups, prompt, prompts_in
from quiz.practice import recall_prompts
from quiz.practice.recall_prompts import Stand
from quiz.storage import projection
from quiz.storage.recall_queries import Recall
from quiz.web import request_context

pages = Blueprint("recall", __name__, url_prefix="/recall")


@dataclass(frozen=True)
class GroupLine:
    """One group in the list."""

    id: str
    title: str
    prompts: int
    stand: Stand


@dataclass(frozen=True)
class PromptPage:
    """What the page of one prompt receives; `typed` is None until the answer is shown."""

    id: str
    group: str
    group_id: str
    question: str
    why: str
    may_type: bool
    typed: str | None
    answer: str
    because: str
    source: str
    same: bool | None
    problem: str | None


@pages.get("")
def show() -> str:
    """List the groups and how each stands."""
    state = projection.states_of(request_context.store(), request_context.learner().id).recall
    lines = []
    for group in all_groups():
        prompts = prompts_in(group.id)
        lines.append(
            GroupLine(group.id, group.title, len(prompts), recall_prompts.stand(state, prompts, request_context.now()))
        )
    return render_template("recall.html", groups=tuple(lines))


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
    if one.typed is not None:
        return redirect(url_for("recall.answer", recall_id=one.id), 303)
    return render_template("recall_prompt.html", page=_page(one))


@pages.post("/prompt/<recall_id>/show")
def reveal(recall_id: str) -> Response:
    """Take what was typed, if anything, and show the answer."""
    recall_prompts.show(
        request_context.store(), request_context.learner(), recall_id, request.form.get("typed", "")[:200]
    )
    return redirect(url_for("recall.answer", recall_id=recall_id), 303)


@pages.get("/prompt/<recall_id>")
def answer(recall_id: str) -> Response | str:
    """Show the answer of a prompt, once it was asked for."""
    one = recall_prompts.own(request_context.store(), request_context.learner(), recall_id)
    if one.typed is None or one.closed_at is not None:
        return redirect(url_for("recall.group", group_id=one.prompt_group), 303)
    return render_template("recall_prompt.html", page=_page(one))


@pages.post("/prompt/<recall_id>/mark")
def mark(recall_id: str) -> Response:
    """Keep the learner's own mark and go on."""
    given = request.form.get("had")
    if given not in ("yes", "no"):
        raise recall_prompts.NotMarked
    one = recall_prompts.mark(
        request_context.store(), request_context.learner(), recall_id, had=given == "yes", now=request_context.now()
    )
    return redirect(url_for("recall.group", group_id=one.prompt_group), 303)


def _page(one: Recall) -> PromptPage:
    what: Prompt = prompt(one.prompt)
    compared = recall_prompts.compared(one)
    return PromptPage(
        id=one.id,
        group=what.group.title,
        group_id=what.group.id,
        question=what.question,
        why=one.why,
        may_type=what.typed is not None,
        typed=one.typed,
        answer=what.answer,
        because=what.because,
        source=cited(what.sources),
        same=compared.same,
        problem=compared.problem,
    )
