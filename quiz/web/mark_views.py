"""What the page of a marked case receives: the verdict, slips by name, what differs, and the workings side by side."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cases.curriculum.bench_types import WHOLE_EYES, stage_of, views_in_mark
from cases.curriculum.register import all_skills, all_slips
from cases.curriculum.steps import FORM_WORDS, distance_rule
from cases.errors import CaseError
from cases.evidence.sources import cites
from cases.figures.lanes import Lane, lanes_figure, lanes_of, pattern
from cases.figures.lenses import axis_words, power_cross
from cases.figures.rays import rays_figure
from cases.notation.prescription import write_prescription, write_size
from cases.optics.axes import axis_gap
from cases.procedure.case_type import Case
from cases.procedure.chain import Line, Slipped, SlipRef
from cases.procedure.choices import Choice
from cases.procedure.explaining import LIKELY
from cases.procedure.fields import Field
from cases.procedure.kinds import HALF_HUNDREDTH, Cross, Kind, Lens
from cases.procedure.marking import Mark, as_given, named
from cases.procedure.option_verdicts import CREDITED_TOO, KEYED, WRONG, option_verdicts, verdict_on
from cases.procedure.quantities import Quantity
from cases.recall.glossary import GlossaryTerm, terms_in
from quiz.practice import dealt_cases
from quiz.practice.dealt_cases import Marked, Place
from quiz.practice.worked_examples import LineNote, note
from quiz.storage.store import Sitting
from quiz.web.moving_views import MovingPage, moving_in_mark
from quiz.web.pictures import Picture, captioned, picture

OF_THE_DISTANCE = frozenset(("distance-left-in", "distance-added", "distance-taken-twice", "always-one-fifty"))
"""Slips that leave the same error in every meridian, so that the light itself shows where it went."""
OF_THE_MERIDIANS = frozenset(("choose-sphere", "find-cylinder", "place-axis", "turn-sphere", "turn-sign", "turn-axis"))
"""Steps that are seen at once on a power cross."""
SHOWN_AT_MOST = 3
"""Explanations set side by side: more would not be read."""
_YOU = re.compile(r"\b(you|your|yours|yourself)\b", re.IGNORECASE)
_THEY = {"you": "they", "your": "their", "yours": "theirs", "yourself": "themselves"}


@dataclass(frozen=True)
class ValuesCompared:
    """One thing asked: what was given, what is right, and how they differ."""

    label: str
    given: str
    right: str
    differs: str
    why: str = ""
    """Of a wrong choice: when it would be right, and what holds here."""


@dataclass(frozen=True)
class ChoiceLine:
    """One of the options of a case, with what is said of it once it is marked."""

    label: str
    standing: str
    """"Right", "Credited" or "Not right"."""
    because: str


@dataclass(frozen=True)
class SlipWords:
    """A slip by name, with what a kind preceptor would say."""

    step: str
    title: str
    tells: str


@dataclass(frozen=True)
class Cell:
    """One line of a working beside the right one."""

    says: str
    note: str
    """"" where it is right; else "slipped here" or "follows from it"."""

    @property
    def slipped(self) -> bool:
        """Whether the slip is in this line."""
        return self.note == "slipped here"


@dataclass(frozen=True)
class WorkingRow:
    """One step: the right line, and the same step in each explanation."""

    step: str
    right: str
    others: tuple[Cell, ...]
    note: LineNote | None = None
    """Why the right line is so, from the reference."""
    figure: Picture | None = None
    """The right lens on its meridians, beside why, where the line is about them."""

    @property
    def same(self) -> bool:
        """Whether every explanation has the right line here."""
        return bool(self.others) and all(not one.note and one.says == self.right for one in self.others)

    @property
    def here(self) -> bool:
        """Whether this is a line to look at."""
        return any(one.slipped for one in self.others)


@dataclass(frozen=True)
class MarkPage:
    """What the page of a marked case receives."""

    place: Place
    credited: bool
    kind: str
    """"right", "off", or "may" where no step is blamed for certain: drawn solid, broken, dotted."""
    heading: str
    lead: str
    found: tuple[str, ...]
    question: str
    compared: tuple[ValuesCompared, ...]
    as_lens: str | None
    slips: tuple[tuple[SlipWords, ...], ...]
    columns: tuple[str, ...]
    rows: tuple[WorkingRow, ...]
    pictures: tuple[Picture, ...]
    found_picture: Picture | None
    title: str
    sources: tuple[str, ...]
    why: str
    probe_follows: bool
    stands: bool
    """Whether another answer came in after this one, which stands."""
    sitting: Sitting
    over: bool
    on_bench: bool = False
    """Whether it was answered at the bench."""
    asked_there: str = ""
    """The sort of case, "eye" or "short", where it was asked for at the bench."""
    drill: int | None = None
    """The drill that it was a case of."""
    late: bool = False
    """Whether it came after that drill's time."""
    on_paper: bool = False
    """Whether it was written on paper and typed in by a preceptor."""
    fact: bool = False
    """Whether the slips are said as a fact."""
    mistyped: str = ""
    """The first answer, where another was given because it was mistyped."""
    can_retype: bool = False
    """Whether the learner may say that it was mistyped."""
    rule: str = ""
    """How a distance is turned into dioptres, where the working shows one."""
    also: tuple[str, ...] = ()
    """The other answers that are credited here, each with its reason and what would decide."""
    doubt: str | None = None
    """What the learner said when they reported the case as doubtful; None where they did not."""
    moving: MovingPage | None = None
    """How the reflex looks with the answer given and with the right one in place, or what it did."""
    choices: tuple[tuple[str, tuple[ChoiceLine, ...]], ...] = ()
    """By what is asked: every option with its reason."""
    whose: str = ""
    """The learner's name, where a preceptor reads the page; "" where the learner does."""

    @property
    def you(self) -> str:
        """Who made the mistake, to begin a sentence with."""
        return self.whose or "You"

    @property
    def speaks_to_learner(self) -> bool:
        """Whether a preceptor reads the page, and some of its explanations or figures say “you”."""
        tells = [one.tells for slips in self.slips for one in slips]
        cells = [cell.says for row in self.rows for cell in row.others]
        choices = [line.because for _, lines in self.choices for line in lines]
        drawn = [f"{one.svg} {one.caption}" for one in self.pictures]
        asked = (*self.found, self.question, *(row.right for row in self.rows))
        texts = (*asked, *tells, *cells, *self.also, *choices, *drawn)
        return bool(self.whose) and any(_YOU.search(text) for text in texts)

    @property
    def terms(self) -> tuple[GlossaryTerm, ...]:
        """Return the terms of the glossary that the case and its working use."""
        return terms_in((*self.found, self.question, *(row.right for row in self.rows)))

    @property
    def same(self) -> int:
        """How many lines of the working are right in every explanation."""
        return sum(row.same for row in self.rows)


def mark_page(
    done: Marked,
    place: Place,
    sitting: Sitting,
    *,
    probe_follows: bool,
    stands: bool = False,
    doubt: str | None = None,
    whose: str = "",
) -> MarkPage:
    """Show a marked case: to its learner, or to a preceptor where `whose` names the learner."""
    mark, case = done.mark, done.mark.case
    told = mark.explanations[:SHOWN_AT_MOST]
    heading, lead = _verdict(done, len(done.answer.hints), whose)
    return MarkPage(
        place=place,
        credited=mark.credited,
        kind=_kind(mark),
        heading=heading,
        lead=lead,
        found=case.found,
        question=case.type.question(case.findings),
        compared=tuple(_compared(ask, mark, done.given) for ask in case.type.asks),
        as_lens=_as_lens(mark),
        slips=tuple(tuple(_slip_words(ref, whose) for ref in one.slips) for one in told),
        columns=_columns(told, whose, fact=mark.verdict == "slip"),
        rows=_rows(case, told, figures=not mark.credited),
        pictures=_pictures(mark),
        found_picture=picture(case.type.figure(case.findings, "found")),
        title=case.type.title,
        sources=cites(case.type.sources),
        rule=distance_rule(case.type),
        why=done.dealt.why,
        probe_follows=probe_follows,
        stands=stands,
        sitting=sitting,
        over=sitting.ended_at is not None,
        on_bench=stage_of(done.dealt.type) is not None,
        asked_there="" if not done.dealt.at_bench else "eye" if done.dealt.type in WHOLE_EYES else "short",
        drill=sitting.drill,
        late=done.answer.late,
        on_paper=done.answer.on_paper,
        fact=mark.verdict == "slip",
        mistyped="; ".join(named(case.type.asks, as_given(case.type.asks, done.answer.given))) if done.retyped else "",
        can_retype=done.retyped is None and dealt_cases.can_retype(done.answer),
        also=_also(mark, whose),
        doubt=doubt,
        moving=_moving(mark),
        choices=_choices(case),
        whose=whose,
    )


def _moving(mark: Mark) -> MovingPage | None:
    """Show the reflex of a miss about movement; one that was right needs no explanation."""
    if mark.credited:
        return None
    case = mark.case
    return moving_in_mark(views_in_mark(case.type.id, case.findings, mark.read_as, case.truth))


def _verdict(done: Marked, hints: int, whose: str) -> tuple[str, str]:
    mark = done.mark
    aided = f" {_lines(hints)} of the working had been shown." if hints else ""
    match mark.verdict:
        case "right" if mark.defended:
            return "Right too", f"It is not the likeliest answer, and it can be defended.{aided}"
        case "right":
            return "Right", aided.strip()
        case "equivalent":
            form = FORM_WORDS[mark.case.form or "minus"]
            return (
                "The right lens, in the other form",
                f"Counted as right: it is the same lens. Asked for was {form}.{aided}",
            )
        case "near" if stage_of(mark.case.type.id):
            return "Right", f"Within 0.25 D of neutral, and neutral is a zone, not a point.{aided}"
        case "near":
            return "Right, within the tolerance", f"Not to the last hundredth, but near enough to count.{aided}"
        case "slip" if mark.twins:
            number = {2: "two", 3: "three"}.get(len(mark.named), "few")
            answer = "this answer" if whose else "your answer"
            return f"One of these {number}", f"Each of these mistakes leads to {answer}. It does not say which."
        case "slip":
            return "One step slipped", "The other steps are right."
        case _:
            return "Not right" if done.mark.read_as else "Not answered", _doubt(done, whose)


def _doubt(done: Marked, whose: str) -> str:
    """Say what may be said of a miss that no slip explains for a fact."""
    mark = done.mark
    if mark.read_as is None:
        said = f"{whose} chose “I don’t know”" if whose else "You said that you did not know"
        return f"{said}. Here is the working."
    out = _out_by(mark)
    if not mark.named:
        return f"{out}{_no_slip(mark)}"
    if mark.named[0].kind == "pair":
        many = "Each of these pairs" if len(mark.named) > 1 else "Together these two"
        return f"{out}{many} would give it. {_could_be(mark)}"
    titles = all_slips()
    if len(mark.named) > 1:
        return f"{out}Each of these mistakes would give it. {_could_be(mark)}"
    way = f"{whose or 'you'} {_of(whose, titles[mark.named[0].slips[0].slip].title)}"
    return f"{out}It looks as if {way}. {_could_be(mark)}"


def _of(whose: str, title: str) -> str:
    """Return a slip's title as it is said to the learner, or of them: "gave their own error the wrong sign"."""
    return _YOU.sub(lambda found: _THEY[found.group().lower()], title) if whose else title


HALF_DEGREE = 0.5
"""Angles that differ by less are written alike."""
PEN = ("arithmetic", "reading", "typing", "copying")
"""Kinds of explanation that are no wrong way of doing a step."""
RIVALS = {
    "slip": "another mistake",
    "pair": "two mistakes at once",
    "arithmetic": "an arithmetic slip",
    "reading": "a finding misread",
    "typing": "a typing slip",
    "copying": "a number copied from another place",
    "none": "something else",
}


def _could_be(mark: Mark) -> str:
    """Name the likeliest explanation beside those that are named."""
    rival = next((one.kind for one in mark.weighed if one not in mark.named), "none")
    return f"It could also be {RIVALS[rival]}."


def _no_slip(mark: Mark) -> str:
    likeliest = mark.weighed[0] if mark.weighed else None
    if likeliest is None or likeliest.probability < LIKELY or likeliest.kind not in PEN:
        return "I cannot tell why; here is the working."
    step = all_skills().get(likeliest.step or "")
    at = f" It may be in this step: {step.title}." if step else ""
    return f"It looks like {RIVALS[likeliest.kind]}.{at} Here is the working."


def _out_by(mark: Mark) -> str:
    """Say how far an answer is out, number by number: "This is 0.25 D too minus in the sphere. "; else nothing."""
    parts = [
        part
        for ask in mark.case.type.asks
        if mark.read_as is not None and not ask.kind.same(mark.read_as[ask.name], mark.case.truth[ask.name])
        for part in _out_in(ask.kind, mark.read_as[ask.name], mark.case.truth[ask.name])
    ]
    return f"This is {', '.join(parts)}. " if len(parts) == 1 or (len(mark.case.type.asks) == 1 and parts) else ""


def _out_in(kind: Kind[Any], given: Any, right: Any) -> list[str]:
    if isinstance(kind, Quantity):
        return [kind.differs(given, right)] if kind.sides or kind.on_dial else []
    if not isinstance(kind, Lens):
        return []
    right = right.in_form("plus" if given.cylinder > 0 else "minus")
    sphere, cylinder = given.sphere - right.sphere, abs(given.cylinder) - abs(right.cylinder)
    out = []
    if abs(sphere) >= HALF_HUNDREDTH:
        out.append(f"{write_size(sphere)} D too {'plus' if sphere > 0 else 'minus'} in the sphere")
    if abs(cylinder) >= HALF_HUNDREDTH:
        out.append(f"{write_size(cylinder)} D too {'strong' if cylinder > 0 else 'weak'} in the cylinder")
    turned = axis_gap(given.axis, right.axis) if given.cylinder and right.cylinder else 0.0
    if turned >= HALF_DEGREE:
        out.append(f"{turned:.0f}° out in the axis")
    return out


def _also(mark: Mark, whose: str) -> tuple[str, ...]:
    """Say which other answers are credited and which check would decide."""
    if mark.read_as is None:
        return ()
    words = []
    for one in mark.case.defensible:
        changed = [ask for ask in mark.case.type.asks if ask.name in one.answer]
        answer = "; ".join(ask.kind.write(one.answer[ask.name]) for ask in changed)
        lead = f"{'This' if whose else 'Your'} answer is credited" if one == mark.defended else "Also credited"
        words.append(f"{lead}: {answer}. {one.because} What would decide: {one.next_check}")
    return tuple(words)


STANDINGS = {KEYED: "Right", CREDITED_TOO: "Credited", WRONG: "Not right"}


def _choices(case: Case) -> tuple[tuple[str, tuple[ChoiceLine, ...]], ...]:
    """Say of every option why it is right, credited or not right."""
    every = option_verdicts(case)
    kinds = {ask.name: ask for ask in case.type.asks}
    labels = {
        (name, option.id): option.label for name, ask in kinds.items() for option in getattr(ask.kind, "options", ())
    }
    return tuple(
        (
            kinds[name].label,
            tuple(
                ChoiceLine(labels[one.ask, one.option], STANDINGS[one.standing], one.because)
                for one in every
                if one.ask == name
            ),
        )
        for name in dict.fromkeys(one.ask for one in every)
    )


def _why_not(case: Case, ask: Field[Any], value: Any) -> str:
    """Say why a choice is not right; empty of what is right or credited, and of what is not chosen."""
    verdict = verdict_on(case, ask.name, value) if isinstance(ask.kind, Choice) else None
    return verdict.because if verdict and verdict.standing == WRONG else ""


def _lines(count: int) -> str:
    return "One line" if count == 1 else f"{count} lines"


def _compared(ask: Field[Any], mark: Mark, given: Mapping[str, str]) -> ValuesCompared:
    truth = mark.case.truth[ask.name]
    if mark.read_as is None:
        return ValuesCompared(ask.label, given.get(ask.name, "") or "not answered", ask.kind.write(truth), "")
    value = mark.read_as[ask.name]
    given_words, right_words = ask.kind.write(value), ask.kind.write(truth)
    if ask.kind.same(value, truth):
        return ValuesCompared(ask.label, given_words, right_words, "nothing")
    # A kind without a measure of its own would only say once more what stands above.
    measured = type(ask.kind).differs is not Kind.differs
    differs = ask.kind.differs(value, truth) if measured else ""
    return ValuesCompared(ask.label, given_words, right_words, differs, _why_not(mark.case, ask, value))


def _as_lens(mark: Mark) -> str | None:
    """Write the difference as a lens where a lens was asked for and the answer is another."""
    if mark.difference is None or not any(isinstance(ask.kind, Lens | Cross) for ask in mark.case.type.asks):
        return None
    return None if mark.verdict in ("right", "equivalent") else write_prescription(mark.difference, "minus")


def _slip_words(ref: SlipRef, whose: str) -> SlipWords:
    name = all_slips()[ref.slip]
    return SlipWords(all_skills()[ref.step].title, _of(whose, name.title), name.tells)


def _columns(told: Sequence[Slipped], whose: str, *, fact: bool) -> tuple[str, ...]:
    line = f"{whose}’s line" if whose else "Your line"
    if len(told) < 2:
        return (line if fact else f"{line}, if so",) if told else ()
    return tuple(f"{line}, if {word}" for word in ("the first", "the second", "the third")[: len(told)])


def _rows(case: Case, told: Sequence[Slipped], *, figures: bool) -> tuple[WorkingRow, ...]:
    """Set the right working beside the slipped ones, step by step; a step that only one of them has leaves a gap.

    figures: whether the first line about the lens's meridians has its power cross; a right mark has it beside all.
    """
    lens = next((case.truth[ask.name] for ask in case.type.asks if isinstance(ask.kind, Lens | Cross)), None)
    right = _by_step(case.run.lines)
    others = [_by_step(one.run.lines) for one in told]
    order = _merged([list(right), *(list(one) for one in others)])
    titles = all_skills()
    rows: list[WorkingRow] = []
    for key in order:
        line = right.get(key)
        cells = tuple(_cell(line, other.get(key)) for other in others)
        says = line.says if line else "Not needed here."
        figure = None
        if figures and lens is not None and lens.cylinder and line and key[0] in OF_THE_MERIDIANS:
            figures = False
            figure = picture(power_cross(lens, uid=f"why-{len(rows)}"))
        rows.append(WorkingRow(titles[key[0]].title, says, cells, note(case, key[0]), figure))
    return tuple(rows)


Turn = tuple[str, int]
"""A step, and how often it came before: a chain may pass through a step twice."""


def _by_step(lines: Sequence[Line]) -> dict[Turn, Line]:
    out: dict[Turn, Line] = {}
    for line in lines:
        count = 0
        while (line.step, count) in out:
            count += 1
        out[line.step, count] = line
    return out


def _merged(orders: Sequence[Sequence[Turn]]) -> list[Turn]:
    out = list(orders[0])
    for order in orders[1:]:
        at = 0
        for key in order:
            if key in out:
                at = out.index(key) + 1
            else:
                out.insert(at, key)
                at += 1
    return out


def _cell(right: Line | None, line: Line | None) -> Cell:
    if line is None:
        return Cell("Left out.", "follows from it")
    if line.slip is not None:
        return Cell(line.says, "slipped here")
    if right is not None and line.says == right.says:
        return Cell(line.says, "")
    return Cell(line.says, "follows from it")


def _kind(mark: Mark) -> str:
    if mark.credited:
        return "right"
    return "off" if mark.read_as is None or (mark.verdict == "slip" and not mark.twins) else "may"


def _pictures(mark: Mark) -> tuple[Picture, ...]:
    """Draw the error of a miss: lanes where the lenses share their meridians, else both crosses; then where it went."""
    case = mark.case
    for ask in case.type.asks:
        truth = case.truth[ask.name]
        given = truth if mark.read_as is None or mark.credited else mark.read_as[ask.name]
        try:
            if isinstance(ask.kind, Lens | Cross):
                lanes = lanes_of(truth, given)
                if given == truth or not lanes:
                    other = None if given == truth else given
                    caption = "" if other is None else axis_words(truth, other)
                    return (captioned(power_cross(truth, other, uid="both", arc=True), caption),)
            elif isinstance(ask.kind, Quantity) and ask.kind.eighths and given != truth:
                lanes = (Lane("", truth, given),)
            else:
                continue
            return (captioned(lanes_figure(lanes, uid="lanes"), pattern(lanes)), *_rays(mark, lanes))
        except CaseError:
            break
    return ()


def _rays(mark: Mark, lanes: Sequence[Lane]) -> tuple[Picture, ...]:
    """Draw where the dioptres went, where a slip of the distance is the one explanation and the sphere alone is out."""
    slips = [ref.slip for one in mark.named for ref in one.slips]
    distance = mark.case.findings.get("distance_cm")
    outs = {round(one.out, 3) for one in lanes}
    if mark.verdict != "slip" or len(slips) != 1 or slips[0] not in OF_THE_DISTANCE or not distance or len(outs) != 1:
        return ()
    figure = rays_figure(outs.pop(), distance_cm=float(distance), uid="rays")
    return (captioned(figure, f"{figure.title}: {figure.description[:1].lower()}{figure.description[1:]}"),)
