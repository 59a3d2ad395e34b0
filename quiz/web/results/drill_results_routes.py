"""Results of one drill: scores, its cases one by one, its learners sorted; the same to print; two drills compared."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flask import Blueprint, make_response, render_template, request, url_for
from werkzeug.wrappers import Response

from cases.curriculum.register import all_skills, all_types
from cases.procedure.marking import as_given, named
from quiz.classroom import drills
from quiz.classroom.drills import Outcome, members_for
from quiz.classroom.item_analysis import ItemFacts, Spread, items, spread
from quiz.learning.intervals import Interval
from quiz.lru_cache import LockedCache
from quiz.practice.titles import slip_title, step_title, type_title
from quiz.storage import class_queries, item_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill, KeptCase
from quiz.storage.classroom import own_case_queries, paper_queries
from quiz.storage.item_queries import WrongAnswer
from quiz.web import request_context
from quiz.web.classroom.ownership import own_class, own_drill
from quiz.web.drill_views import deletion_words, state_words
from quiz.web.pictures import Picture, picture
from quiz.web.results.score_chart import Scored, score_chart

if TYPE_CHECKING:
    from quiz.classroom.before_after import StepChange

pages = Blueprint("drill_results", __name__, url_prefix="/class/<int:class_id>")

A_PAGE = 30
"""Learners in the table at once; to print, all."""
LONGEST_SEARCH = 60
SORTS = ("name", "group", "score", "time", "state")
CASE_SORTS = ("number", "right", "discrimination", "time")


@dataclass(frozen=True)
class Heading:
    """One heading of a table that can be sorted."""

    words: str
    link: str
    """Sorts by it; once more, the other way round."""
    sorted: str
    """"ascending", "descending" or "" where the table is sorted by another."""
    amount: bool = False


@dataclass(frozen=True)
class ScoreRow:
    """One learner in a drill."""

    learner: int
    name: str
    groups: str
    right: int | None
    score: str
    seconds: float | None
    time: str
    """Of all their cases together, where it is known."""
    state: str
    answers: str
    """Where their answers are."""
    passed: bool | None
    finished: bool
    begun: bool
    on_paper: bool
    """Whether it was worked on paper and typed in."""


@dataclass(frozen=True)
class CaseRow:
    """One case of a drill."""

    number: int
    title: str
    link: str
    """Where its answers are."""
    facts: ItemFacts
    right: str
    interval: str
    discrimination: str
    discrimination_interval: str
    median: str
    wrong: tuple[tuple[str, str, int], ...]
    """The commonest wrong answers: as given, what slip it is, how many gave it."""
    why: tuple[str, ...]
    """Why it is one to look at again."""


@dataclass(frozen=True)
class ScoresPage:
    """What the page receives."""

    class_id: int
    class_name: str
    drill: Drill
    state: str
    asked: int
    """Whom it is for."""
    handed_in: int
    passed: int | None
    spread: Spread
    chart: Picture | None
    headings: tuple[Heading, ...]
    learners: tuple[ScoreRow, ...]
    found: int
    """How many the search finds; a page shows some of them."""
    searched: str
    show: str
    earlier: str | None
    later: str | None
    case_headings: tuple[Heading, ...]
    cases: tuple[CaseRow, ...]
    not_begun: int
    unsure: str
    """Why there is no table of cases."""
    deletions: tuple[str, ...]
    others: tuple[tuple[int, str], ...]
    """Drills that it can be compared with."""
    printed: bool


def per_cent(share: float) -> str:
    """Write a share as per cent."""
    return f"{100 * share:.0f} %"


def _ends(one: Interval, write: Callable[[float], str]) -> str:
    return f"{write(one.low)} to {write(one.high)}"


def _correlation(value: float) -> str:
    return f"{value:+.2f}".replace("-", "−")


def _clock(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds // 60:.0f}:{seconds % 60:02.0f}"


# --- learners ----------------------------------------------------------------------------------------------------


def score_rows(what: Class, drill: Drill) -> list[ScoreRow]:
    """Return everyone whom a drill is for, with the score of their run."""
    store = request_context.store()
    groups = roster_queries.groups_by_learner(store, what.id)
    runs = {run.learner: run for run in class_queries.runs_of(store, drill.id)}
    sums = {one.learner: one for one in result_queries.learner_sums(store, what.id, "all", drill=drill.id)}
    late = result_queries.late_answers(store, drill.id)
    paper = paper_queries.runs_in(store, drill.id)
    given, now = class_queries.allowances_in(store, drill.id), request_context.now()
    behind, rows = url_for("results.answers", class_id=what.id), []
    for who in members_for(store, drill, roster_queries.members_of(store, what.id)):
        run, found = runs.get(who.learner), sums.get(who.learner)
        answered, right = (found.answered, found.right) if found else (0, 0)
        # A run that nobody can go on with has come to its end, too.
        over = run is not None and (run.ended_at is not None or not drill.is_open(now, given.get(who.learner)))
        came = drills.outcome(drill, answered, right)
        rows.append(
            ScoreRow(
                learner=who.learner,
                name=who.name,
                groups=", ".join(groups.get(who.learner, ())),
                right=right if over else None,
                score=_score(came) if over else "",
                seconds=found.seconds if found and found.timed else None,
                time=_clock(found.seconds) if found and found.timed else "",
                state=_state(run is not None, over, late.get(who.learner, 0), on_paper=who.learner in paper),
                answers=f"{behind}?drill={drill.id}&learner={who.learner}",
                passed=came.passed if over else None,
                finished=over,
                begun=run is not None,
                on_paper=who.learner in paper,
            )
        )
    return rows


def _score(came: Outcome) -> str:
    return f"{came.right}" if came.asked is None else f"{came.right} of {came.asked}"


def _state(begun: bool, over: bool, late: int, *, on_paper: bool) -> str:
    words = "from paper" if on_paper else "" if over else "under way" if begun else "not begun"
    return ", ".join([*([words] if words else []), *([f"{late} late"] if late else [])])


_KEYS: Mapping[str, Callable[[ScoreRow], Any]] = {
    "name": lambda one: one.name.casefold(),
    "group": lambda one: (not one.groups, one.groups.casefold()),
    "score": lambda one: -1 if one.right is None else one.right,
    "time": lambda one: -1.0 if one.seconds is None else one.seconds,
    "state": lambda one: (one.finished, one.begun),
}


def _sorted(rows: Sequence[ScoreRow], by: str, down: bool) -> list[ScoreRow]:
    return sorted(sorted(rows, key=_KEYS["name"]), key=_KEYS[by], reverse=down)


# --- cases -------------------------------------------------------------------------------------------------------


def _case_rows(what: Class, drill: Drill, finished: frozenset[int]) -> list[CaseRow]:
    """Return the cases of a drill, which are kept until an answer changes them: sorting asks for them again."""
    store = request_context.store()
    key = (store.secret(), drill.id, finished, item_queries.state_of(store, drill.id))
    kept_rows = _ROWS.get(key)
    if kept_rows is None:
        kept_rows = tuple(_worked_out(what, drill, finished))
        _ROWS.keep(key, kept_rows)
    return list(kept_rows)


_ROWS = LockedCache[tuple[object, ...], tuple["CaseRow", ...]](8)
"""Drills whose cases are kept in memory."""


def _worked_out(what: Class, drill: Drill, finished: frozenset[int]) -> list[CaseRow]:
    store = request_context.store()
    answers = item_queries.answers_by_case(store, drill.id)
    places = drill.cases or max((place for _, place in answers), default=-1) + 1
    wrong: dict[int, list[WrongAnswer]] = {}
    for one in item_queries.wrong_answers(store, drill.id, finished):
        wrong.setdefault(one.place, []).append(one)
    commonest = {place: found[0].learners for place, found in wrong.items() if not found[0].did_not_know}
    kept = {one.place: one for one in class_queries.kept_cases(store, drill.id, first=places)}
    own = {one.id: one.title for one in own_case_queries.cases_numbered(store, drill.own_cases)}
    behind, rows = url_for("results.answers", class_id=what.id), []
    for facts in items(places, answers, finished, commonest):
        case = kept.get(facts.place)
        share, r = facts.share, facts.discrimination
        rows.append(
            CaseRow(
                number=facts.place + 1,
                title=_case_title(case, own) if case else "",
                link=f"{behind}?drill={drill.id}&place={facts.place + 1}",
                facts=facts,
                right=f"{facts.right} of {facts.answered}" if facts.answered else "nobody",
                interval=_ends(share, per_cent) if share else "",
                discrimination="" if r is None else _correlation(r),
                discrimination_interval=_ends(facts.discrimination_interval, _correlation)
                if facts.discrimination_interval
                else "",
                median="" if facts.median_seconds is None else f"{facts.median_seconds:.0f} s",
                wrong=tuple(map(_wrong, wrong.get(facts.place, ())[:2])),
                why=tuple(_why(facts)),
            )
        )
    return rows


def _case_title(case: KeptCase, own: Mapping[int, str]) -> str:
    name = own.get(case.seed - drills.OWN_SEEDS)
    return type_title(case.type) if name is None else f"{name} ({type_title(case.type)})"


def _wrong(one: WrongAnswer) -> tuple[str, str, int]:
    of = all_types().get(one.type)
    parts = named(of.asks, as_given(of.asks, one.given)) if of else list(one.given.values())
    words = "I don’t know" if one.did_not_know else "; ".join(part for part in parts if part)
    slips = [" and ".join(sorted(slip_title(slip) for _, slip in each)) for each in one.explanations]
    return words, " or ".join(slips[:2]) if slips else "", one.learners


def _why(facts: ItemFacts) -> list[str]:
    said = ["those who did better on the other cases did worse on this one"] if facts.against else []
    return [*said, *(["one wrong answer was given more often than the right one"] if facts.rather else [])]


_CASE_KEYS: Mapping[str, Callable[[CaseRow], Any]] = {
    "number": lambda one: one.number,
    "right": lambda one: one.facts.right / one.facts.answered if one.facts.answered else -1.0,
    "discrimination": lambda one: -2.0 if one.facts.discrimination is None else one.facts.discrimination,
    "time": lambda one: one.facts.median_seconds or 0.0,
}


# --- the page ----------------------------------------------------------------------------------------------------


def _asked(name: str, of: tuple[str, ...]) -> tuple[str, bool]:
    """Return by what a table is to be sorted, and whether downward: "score" or "-score"."""
    value = request.args.get(name, "")
    return (value.removeprefix("-") if value.removeprefix("-") in of else of[0]), value.startswith("-")


def _headings(
    name: str, by: str, down: bool, columns: Sequence[tuple[str, str]], url: Callable[..., str]
) -> tuple[Heading, ...]:
    amounts = ("score", "time", "right", "discrimination")
    return tuple(
        Heading(
            words,
            url(**{name: f"-{key}" if key == by and not down else key}),
            ("descending" if down else "ascending") if key == by else "",
            key in amounts,
        )
        for key, words in columns
    )


@pages.get("/drill/<int:drill_id>/scores")
def scores(class_id: int, drill_id: int) -> Response:
    """Show the scores of a drill, its cases and its learners."""
    return make_response(render_template("drill_results.html", page=_scores(*own_drill(class_id, drill_id))))


@pages.get("/drill/<int:drill_id>/report")
def report(class_id: int, drill_id: int) -> Response:
    """Show the same to be printed: everyone, and no forms."""
    page = _scores(*own_drill(class_id, drill_id), printed=True)
    return make_response(render_template("drill_report.html", page=page))


def _scores(what: Class, drill: Drill, *, printed: bool = False) -> ScoresPage:
    store, args = request_context.store(), request.args
    everyone = score_rows(what, drill)
    by, down = _asked("sort", SORTS)
    case_by, case_down = _asked("cases", CASE_SORTS)
    searched = args.get("q", "").strip()[:LONGEST_SEARCH]
    show = "not-begun" if args.get("show") == "not-begun" else "all"
    wanted = [
        one
        for one in everyone
        if searched.casefold() in one.name.casefold() and not (show == "not-begun" and one.begun)
    ]
    number = max(0, args.get("page", 0, type=request_context.whole))
    shown = _sorted(wanted, by, down)
    if not printed:
        shown = shown[number * A_PAGE : (number + 1) * A_PAGE]

    def url(**more: object) -> str:
        same: dict[str, Any] = {name: args.get(name) or None for name in ("sort", "cases", "q", "show")}
        return url_for("drill_results.scores", class_id=what.id, drill_id=drill.id, **{**same, **more})

    finished = [one for one in everyone if one.finished]
    cases = _case_rows(what, drill, frozenset(one.learner for one in finished)) if drill.same and finished else []
    cases.sort(key=_CASE_KEYS[case_by], reverse=case_down)
    columns = (("name", "Name"), ("group", "Group"), ("score", "Score"), ("time", "Time"), ("state", "State"))
    case_columns = (
        ("number", "No."),
        ("right", "Right"),
        ("discrimination", "Discrimination"),
        ("time", "Median time"),
    )
    return ScoresPage(
        class_id=what.id,
        class_name=what.name,
        drill=drill,
        state=state_words(drill, request_context.now()),
        asked=len(everyone),
        handed_in=len(finished),
        passed=sum(one.passed is True for one in finished) if any(one.passed is not None for one in finished) else None,
        spread=spread([one.right or 0 for one in finished]),
        chart=_chart(drill, finished) if finished else None,
        headings=_headings("sort", by, down, columns, url),
        learners=tuple(shown),
        found=len(wanted),
        searched=searched,
        show=show,
        earlier=url(page=number - 1) if number else None,
        later=url(page=number + 1) if len(wanted) > (number + 1) * A_PAGE else None,
        case_headings=_headings("cases", case_by, case_down, case_columns, url),
        cases=tuple(cases),
        not_begun=sum(not one.begun for one in everyone),
        unsure="" if drill.same else "Each learner had their own cases, so there is no case to compare them on.",
        deletions=tuple(map(deletion_words, class_queries.deletions_in(store, drill.id))),
        others=tuple((one.id, one.title) for one in class_queries.drills_of(store, what.id) if one.id != drill.id),
        printed=printed,
    )


def _chart(drill: Drill, finished: Sequence[ScoreRow]) -> Picture | None:
    scored = [Scored(one.right or 0, one.passed) for one in finished]
    most = drill.cases or max(one.right for one in scored)
    pass_from = None
    if drill.cases is not None and drill.pass_mark is not None:
        pass_from = -(-drill.pass_mark * drill.cases // 100)
    words = f"right answers of {drill.cases}" if drill.cases else "right answers"
    return picture(score_chart(scored, most, pass_from, words))


# --- two drills side by side -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChangeRow:
    """One step in two drills."""

    step: str
    learners: int
    before: str
    after: str
    change: str
    interval: str
    sure: str


@dataclass(frozen=True)
class SlipChange:
    """One slip in two drills: how often, of the answers in which it could show."""

    words: str
    before: str
    after: str


@dataclass(frozen=True)
class ComparePage:
    """What the page receives."""

    class_id: int
    class_name: str
    drills: tuple[tuple[int, str], ...]
    before: Drill | None
    after: Drill | None
    steps: tuple[ChangeRow, ...]
    slips: tuple[SlipChange, ...]
    learners: int
    """Who came to both."""
    problem: str | None
    """Why these two are not compared."""


SAME_DRILL = "the same drill is chosen twice: choose two different drills, the earlier one as Before"


@pages.get("/compare")
def compare(class_id: int) -> Response:
    """Set two drills side by side: by step, paired by learner; slips of the answers in which they could show."""
    what, store = own_class(class_id), request_context.store()
    chosen: list[Drill | None] = []
    for name in ("before", "after"):
        number = request.args.get(name, type=request_context.whole)
        chosen.append(None if number is None else drills.own(store, what, number))
    before, after = chosen
    steps: list[ChangeRow] = []
    slips: list[SlipChange] = []
    both: set[int] = set()
    problem = SAME_DRILL if before is not None and before == after else None
    if before is not None and after is not None and problem is None:
        from quiz.classroom.before_after import changes

        first, second = _shares(what, before), _shares(what, after)
        both = {who for of in first.values() for who in of} & {who for of in second.values() for who in of}
        steps = [_change_row(one) for one in changes(first, second)]
        slips = _slip_changes(what, before, after)
    listed = tuple((one.id, one.title) for one in class_queries.drills_of(store, what.id))
    page = ComparePage(what.id, what.name, listed, before, after, tuple(steps), tuple(slips), len(both), problem)
    return make_response(render_template("compare.html", page=page), 422 if problem else 200)


def _shares(what: Class, drill: Drill) -> dict[str, dict[int, tuple[int, int]]]:
    found = result_queries.step_shares(request_context.store(), what.id, drill.id)
    return {step: shares for step, shares in found.items() if step in all_skills()}


def _change_row(one: StepChange) -> ChangeRow:
    return ChangeRow(
        step_title(one.step),
        one.learners,
        per_cent(one.before),
        per_cent(one.after),
        _points(one.change),
        f"{_points(one.interval.low)} to {_points(one.interval.high)}" if one.interval else "not known",
        one.sure,
    )


def _points(share: float) -> str:
    points = 100 * share
    written = f"{points:+.{1 if 0 < abs(points) < 1 else 0}f}".replace("-", "−")
    return written if any(digit in written for digit in "123456789") else "0"


def _slip_changes(what: Class, before: Drill, after: Drill) -> list[SlipChange]:
    store = request_context.store()
    could = [item_queries.could_show(store, one.id) for one in (before, after)]
    made = [
        {
            tuple(each.key.split(" ", 1)): each.answered
            for each in result_queries.class_sums(store, what.id, "slip", drill=one.id)
        }
        for one in (before, after)
    ]
    keys = [key for key in {**made[0], **made[1]} if all(key in one for one in could)]
    keys.sort(key=lambda key: (-made[0].get(key, 0), key))
    return [
        SlipChange(
            f"{slip_title(slip)[:1].upper()}{slip_title(slip)[1:]}. Step: {step_title(step)}.",
            *(f"{made[each].get((step, slip), 0)} of {could[each][step, slip]}" for each in (0, 1)),
        )
        for step, slip in keys
    ]
