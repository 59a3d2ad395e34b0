"""What the desk's template receives: the day as a sentence, the choices, recurring mistakes, dates and readiness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from cases.notation.plurals import plural
from cases.patients.examination.card import card_of
from quiz.classroom import set_patients
from quiz.learning.state import DAY
from quiz.practice import learners, progress, what_to_practise
from quiz.practice import today as days
from quiz.practice.examining import examinations
from quiz.practice.settings import LENGTHS, Length
from quiz.practice.titles import slip_title
from quiz.practice.today import Paper, Today
from quiz.practice.type_catalogue import catalogue_for
from quiz.practice.what_to_practise import CHECK_UP, MISTAKES, OFFERED, PAPER, PAPER_LENGTH, SURVEY, TOPIC, Aim
from quiz.storage import projection
from quiz.storage.store import Learner, Store
from quiz.web import ready_words
from quiz.web.case_views import DrillLine

MISTAKES_SHOWN = 3
LATELY_SHOWN = 2
FIRST = {PAPER: "Start the paper"}
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


@dataclass(frozen=True)
class ChoiceLink:
    """One choice of what to practise."""

    what: str
    label: str
    here: bool


@dataclass(frozen=True)
class MistakeLine:
    """A mistake that recurs, with the last wrong line beside the right one."""

    title: str
    topic: str
    """As an address names it."""
    own_line: str
    right_line: str
    dealt: str
    at_chair: bool
    """Whether only a whole examination shows it: no case can be drawn for it."""


@dataclass(frozen=True)
class ReadyLine:
    """One topic on the day of the exam."""

    title: str
    topic: str
    chance: str


@dataclass(frozen=True)
class DeskPage:
    """What the template receives."""

    heading: str
    """The day in one sentence."""
    more: str
    button: str
    """What the one button does."""
    goes_on: bool
    """Whether it goes on with what is under way; else it begins."""
    what: str
    topic: str
    length: str
    lengths: tuple[Length, ...]
    """None for what has a length of its own."""
    choices: tuple[ChoiceLink, ...]
    topics: tuple[tuple[str, str], ...]
    """To pick from, where a topic is chosen and none is named."""
    problem: str
    mistakes: tuple[MistakeLine, ...]
    """Those that recur."""
    lately: tuple[str, ...]
    """What single answers of late looked like, to follow "you", where nothing recurs."""
    dates: str
    exam: str
    """The day of the exam in words; "" without one."""
    ready_day: str
    """The day that readiness is for, to head it; "" where nothing is known."""
    ready: tuple[ReadyLine, ...]
    """Topics that were met, the least certain first."""
    not_met: str
    """The other topics, as a sentence has them."""
    ready_note: str
    paper: str
    """What the whole paper would come to; "" where too little of it is known."""
    drills: tuple[DrillLine, ...]
    examination: tuple[str, str] | None
    """Id and patient of an examination that is under way."""
    set_patients: int
    """How many patients a preceptor has set that were not handed in."""


def desk_page(
    store: Store,
    learner: Learner,
    *,
    what: str,
    topic: str,
    length: str,
    now: float,
    drills: tuple[DrillLine, ...] = (),
    problem: str = "",
) -> DeskPage:
    """Show a learner's day, with what was chosen in the address."""
    settings = learners.settings_of(learner)
    chosen = what_to_practise.read_length(length, settings.length)
    day = days.today(store, learner, chosen, now=now)
    aim = what_to_practise.read_aim(what, topic) if what else days.first_aim(day)
    under_way = None if day.under_way is None else what_to_practise.of_sitting(store, day.under_way.id)
    goes_on = not what and day.under_way is not None and day.under_way.answered > 0
    state, told = projection.cases_of(store, learner.id), projection.told_of(store, learner)
    offered = catalogue_for(settings.for_drawing)
    problem = problem or ("" if goes_on else days.nothing_there(offered, state, settings.level, aim, now))
    picking = aim.what == TOPIC and not aim.topic
    heading, more = _going_on(day, under_way) if goes_on else _heading(day, aim, now)
    ready = days.readiness(store, learner, now if day.exam_at is None else day.exam_at)
    met, unmet = ([one for one in ready if one.met is there] for there in (True, False))
    exam = "" if day.exam_at is None else _day(day.exam_at, now)
    return DeskPage(
        heading=heading,
        more=more,
        button="Go on"
        if goes_on
        else ""
        if problem or picking
        else "Start the paper"
        if aim.what == PAPER
        else "First case",
        goes_on=goes_on,
        what=aim.what,
        topic=aim.topic,
        length=chosen.id,
        lengths=() if aim.what in (PAPER, SURVEY) else LENGTHS,
        choices=tuple(ChoiceLink(id_, label, id_ == aim.what and not goes_on) for id_, label in OFFERED.items()),
        topics=days.topics() if picking else (),
        problem="" if picking and not problem.startswith("“") else problem,
        mistakes=tuple(
            MistakeLine(
                f"You {one.title}",
                what_to_practise.topic_of_slip(one.key),
                one.line.own_line if one.line else "",
                one.line.right_line if one.line else "",
                one.line.dealt if one.line else "",
                not what_to_practise.has_slip(one.key),
            )
            for one in progress.standing_slips(store, learner, told, now)[:MISTAKES_SHOWN]
        ),
        lately=tuple(slip_title(slip) for _, slip in what_to_practise.mistakes(offered, told, now)[:LATELY_SHOWN]),
        dates=_dates(day, now),
        exam=exam,
        ready_day=_ready_day(exam) if met else "",
        ready=tuple(ReadyLine(ready_words.title(one), one.topic, ready_words.chance(one)) for one in met),
        not_met=listed([one.title for one in unmet]) if met and unmet else "",
        ready_note=ready_words.note(ready),
        paper=_paper(days.paper(ready), exam),
        drills=drills,
        examination=_examination(store, learner),
        set_patients=sum(one.run is None or one.run.closed_at is None for one in set_patients.offers(store, learner)),
    )


def _examination(store: Store, learner: Learner) -> tuple[str, str] | None:
    begun = next((one for one in examinations.latest(store, learner) if one.closed_at is None), None)
    if begun is None:
        return None
    return begun.id, card_of(begun.patient).name


def title_of(aim: Aim) -> str:
    """Name what a sitting is for in a few words."""
    if aim.what == TOPIC:
        return what_to_practise.topic_title(aim.topic)
    if aim.what == MISTAKES and aim.topic:
        return f"You {slip_title(what_to_practise.key_of_topic(aim.topic)[1])}"
    return {SURVEY: "Where you stand", CHECK_UP: "After an absence"}.get(aim.what) or OFFERED.get(aim.what, "")


def number(value: int) -> str:
    """Write a number as a sentence has it: in a word up to twelve."""
    return NUMBERS[value] if value < len(NUMBERS) else str(value)


def _minutes(value: int) -> str:
    words = number(value)
    return plural(value, f"{words.capitalize()} minute", f"{words.capitalize()} minutes")


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does: "a, b and c"; "a, b and c, and d" where one holds an "and" of its own."""
    *others, last = words
    comma = "," if others and any(" and " in one for one in words) else ""
    return f"{', '.join(others)}{comma} and {last}" if others else last


def _going_on(day: Today, aim: Aim | None) -> tuple[str, str]:
    title = "" if aim is None else title_of(aim)
    sitting = day.under_way
    of = "" if sitting is None or sitting.cases is None else f" of {sitting.cases}"
    case = 1 + (sitting.answered if sitting else 0)
    return f"You are at case {case}{of}.", f"{title}." if title else ""


def _heading(day: Today, aim: Aim, now: float) -> tuple[str, str]:
    match aim.what:
        case "paper":
            return f"A mock paper: {PAPER_LENGTH.label}.", "Cases from every topic. The marks come at the end."
        case "survey":
            return "Eight cases find where you stand.", "One from each topic."
        case "check-up":
            return _welcome_back(day), f"About {_minutes(day.minutes).lower()} in all."
        case "topic" if aim.topic:
            return f"{title_of(aim)}.", "Cases of this topic alone."
        case "topic":
            return "Which topic?", ""
        case "mistakes" if aim.topic:
            return f"{title_of(aim)}.", "Cases in which this mistake would show."
        case "mistakes":
            return "Your mistakes.", "Cases that would show your recent mistakes."
        case "unmet":
            return "What you have not met yet.", "A new type comes as a worked example first."
        case "runs":
            return "Both meridians, whole runs.", "From the streak to the prescription."
    return _usual(day, now)


def _welcome_back(day: Today) -> str:
    return plural(
        day.check_up,
        "Welcome back: one case first, to check the topic that you practised, then what was lost.",
        f"Welcome back: {number(day.check_up)} cases first, to check the topics that you practised, "
        "then what was lost.",
    )


def _usual(day: Today, now: float) -> tuple[str, str]:
    if day.every_days:
        return _of_week(day, now)
    new = f"New: {day.new[:1].lower()}{day.new[1:]}." if day.new else ""
    if day.slipping:
        return f"{_minutes(day.minutes)} today, for what you may be forgetting: {listed(day.slipping)}.", ""
    if day.new:
        return f"{_minutes(day.minutes)} today: nothing looks forgotten, so something new comes.", new
    return f"{_minutes(day.minutes)} today: nothing looks forgotten, and a few cases keep it so.", ""


def _of_week(day: Today, now: float) -> tuple[str, str]:
    """Say what the sitting of this week holds; by the next one, or when that is due."""
    new = f"New: {day.new[:1].lower()}{day.new[1:]}." if day.new else ""
    if day.next_at is not None:
        return f"This week's ten minutes are done; the next are due {_when(day.next_at, now)}.", ""
    if day.slipping:
        return (
            f"{_minutes(day.minutes)} this week, for what you may forget before the next: {listed(day.slipping)}.",
            "",
        )
    if day.new:
        return (
            f"{_minutes(day.minutes)} this week: nothing looks forgotten, so something new comes.",
            new,
        )
    return (
        f"{_minutes(day.minutes)} this week: nothing looks forgotten, and a few cases keep it so.",
        "",
    )


def _paper(found: Paper | None, exam: str) -> str:
    """Say what a mock paper would come to; "" while less than half of it is from topics that were met."""
    if found is None or 2 * found.known < found.cases:
        return ""
    return ready_words.paper_words(found, f"on {exam}" if exam else "today")


def _ready_day(exam: str) -> str:
    return f"On {exam}, without more practice" if exam else "If you were examined today"


def _dates(day: Today, now: float) -> str:
    parts = []
    if day.slips_next is not None and day.away_days is None:
        step, at = day.slips_next
        if int(at // DAY) > int(now // DAY):
            parts.append(f"What you may forget next without practice, perhaps {_when(at, now)}: {step}.")
    if day.exam_at is not None:
        parts.append(f"Your exam is {_when(day.exam_at, now)}.")
    return " ".join(parts)


def _when(at: float, now: float) -> str:
    days_ahead = int(at // DAY) - int(now // DAY)
    if days_ahead <= 0:
        return "today"
    if days_ahead == 1:
        return "tomorrow"
    return f"on {_day(at, now)}"


def _day(at: float, now: float) -> str:
    when = datetime.fromtimestamp(at, UTC).date()
    here = datetime.fromtimestamp(now, UTC).date()
    year = "" if when.year == here.year else f" {when.year}"
    return f"{when:%A}" if 0 < (when - here).days < 7 else f"{when.day} {when:%B}{year}"
