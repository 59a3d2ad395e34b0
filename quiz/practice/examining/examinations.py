"""Whole examinations: begun with a patient, carried on act by act, handed in. Every act is kept, in the order it came.

What acts do is `cases.patients.examination`'s; the clock of an examination runs by acts and waits, so that a page shows
the very moment in which the next act happens, with or without scripts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cases.curriculum.examination_evidence import shown_by
from cases.patients.drawing_patients import draw_patient
from cases.patients.examination.act_json import read_act, value_document
from cases.patients.examination.acts import Act, Examined, Value, What, minute_after, read_acts
from cases.patients.examination.findings import failed
from cases.patients.examination.vignettes import patient_of_vignette, starting_acts
from cases.patients.mixture import Ages, mixed_patient
from cases.patients.patient import Medium, Patient, Side
from cases.patients.population import EUROPE, REGIONS
from cases.patients.streams import Streams
from quiz.errors import QuizError
from quiz.learning import model
from quiz.practice.randomness import Lots
from quiz.storage import projection
from quiz.storage.examining import examination_queries, set_queries
from quiz.storage.examining.examination_queries import Examination, ExaminationMark, KeptAct
from quiz.storage.store import Learner, Store

MOST_ACTS = 1500
"""An examination of more acts is no examination; it keeps a page from growing without end."""
LATEST = 12
AGE_GROUPS: dict[str, Ages] = {
    "any": (0.3, 90),
    "infant": (0.3, 2),
    "preschool": (2, 6),
    "school": (6, 18),
    "young adult": (18, 40),
    "middle": (40, 60),
    "older": (60, 90),
}
UNSAFE_SHARE = 0.07
"""How often a drawn patient has a reflex to refer at once: far oftener than in life, to be practised. Ours."""


class UnknownExamination(QuizError):
    """No such examination was begun by this learner."""

    def __init__(self) -> None:
        super().__init__("no such examination was begun by you: begin one from the bench")


class OverAlready(QuizError):
    """An act after the end, or more acts than an examination has."""


Done = tuple[What, Value, Side | None]
"""An act without its moment."""


@dataclass(frozen=True)
class UnderWay:
    """An examination as it stands."""

    row: Examination
    kept: tuple[KeptAct, ...]
    acts: tuple[Act, ...]
    examined: Examined
    minute: float
    """Now, by its own clock: the moment of the next act."""

    @property
    def patient(self) -> Patient:
        """Return who is examined."""
        return self.row.patient

    @property
    def over(self) -> bool:
        """Say whether it was handed in or given up."""
        return self.row.closed_at is not None


def drawn(seed: str, ages: str, region: str) -> Patient:
    """Draw a patient of an age group; now and then one whose reflex is to be referred at once."""
    within = AGE_GROUPS.get(ages, AGE_GROUPS["any"])
    where = region if region in REGIONS else EUROPE
    streams = Streams(f"{seed}/unsafe")
    if streams.happens("unsafe", UNSAFE_SHARE):
        has: Medium = "white reflex" if within[0] < 6 and streams.happens("white", 0.8) else "no reflex"
        return draw_patient(seed, age=within, region=where, origin="teaching: a reflex to refer", has=has)
    return mixed_patient(seed, region=where, within=within)


def begin(
    store: Store,
    learner: Learner,
    patient: Patient,
    *,
    now: float,
    lots: Lots,
    set_in: int | None = None,
    set_place: int | None = None,
) -> str:
    """Begin an examination of a patient, perhaps one that was set for a class, and return its id."""
    row = Examination(lots.new_id(), learner.id, patient, now, set_in=set_in, set_place=set_place)
    with store.writing(learner.id):
        # A button pressed twice asks twice: the person who comes second goes on with what the first began.
        begun = None if set_in is None else set_queries.run_of(store, set_in, set_place, learner.id)
        if begun is not None:
            return begun.id
        examination_queries.begin(store, row)
        for place, act in enumerate(starting_acts(patient)):
            examination_queries.add_act(store, _kept(row, place, act, f"start-{place}", now))
    return row.id


def begin_vignette(store: Store, learner: Learner, vignette_id: str, *, now: float, lots: Lots) -> str:
    """Begin an examination of one of the ten.

    Raises
    ------
    UnknownVignette
    """
    return begin(store, learner, patient_of_vignette(vignette_id), now=now, lots=lots)


def own(store: Store, learner: Learner, examination_id: str) -> UnderWay:
    """Return an examination of this learner with all of its acts.

    Raises
    ------
    UnknownExamination
    """
    row = examination_queries.of_id(store, examination_id)
    if row is None or row.learner != learner.id:
        raise UnknownExamination
    return as_it_stands(store, row)


def as_it_stands(store: Store, row: Examination) -> UnderWay:
    """Read an examination's acts."""
    kept = examination_queries.acts_of(store, row.id)
    acts = tuple(read_act(one.minute, one.what, one.value, one.side) for one in kept)
    return UnderWay(row, tuple(kept), acts, read_acts(acts), minute_after(acts))


def do(
    store: Store,
    learner: Learner,
    examination_id: str,
    done: Sequence[Done],
    *,
    sent_as: str,
    now: float,
) -> UnderWay:
    """Keep what was done from the moment that the examination has come to, and return the examination after it.

    The same form sent twice is done once.

    Raises
    ------
    UnknownExamination, OverAlready
    BadAct
        When it cannot be done; nothing is kept.
    """
    with store.writing(learner.id):
        before = own(store, learner, examination_id)
        if any(one.sent_as == f"{sent_as}/0" for one in before.kept):
            return before
        if before.over:
            raise OverAlready("this examination was handed in: nothing is added to it")
        if len(before.acts) + len(done) > MOST_ACTS:
            raise OverAlready(f"an examination has {MOST_ACTS} acts at most: hand it in")
        acts = list(before.acts)
        for what, value, side in done:
            acts.append(Act(minute_after(acts), what, value, side))
        read_acts(acts)
        for number, act in enumerate(acts[len(before.acts) :]):
            examination_queries.add_act(
                store, _kept(before.row, len(before.acts) + number, act, f"{sent_as}/{number}", now)
            )
        return own(store, learner, examination_id)


def hand_in(store: Store, learner: Learner, examination_id: str, *, now: float) -> UnderWay:
    """End an examination; one that has ended stays as it is.

    Raises
    ------
    UnknownExamination
    """
    with store.writing(learner.id):
        before = own(store, learner, examination_id)
        if before.over:
            return before
        _remember(store, before, now)
        examination_queries.close(store, examination_id, now=now)
        return replace(before, row=replace(before.row, closed_at=now))


def _remember(store: Store, stands: UnderWay, now: float) -> None:
    """Let memory take what an examination shows; one in which nothing was measured shows nothing."""
    learner = stands.row.learner
    shown = shown_by(stands.patient, stands.examined)
    if shown is None:
        return
    mark = ExaminationMark(
        examination=stands.row.id,
        learner=learner,
        at=now,
        verdict="slip" if shown.slips else "right",
        steps=shown.steps,
        explanations=(shown.slips,) if shown.slips else (),
        could_show=shown.could_show,
        failed=failed(stands.patient, stands.examined) or "",
        after_answer=examination_queries.last_answer(store, learner),
    )
    # Read before the log grows: a state folded again must not hold this examination yet.
    state = projection.cases_to_fold(store, learner)
    if not examination_queries.add_mark(store, mark):
        return
    event = projection.examination_event_of(mark)
    projection.keep_forecast(store, learner, state, event)
    model.fold(state, event)
    projection.keep_cases(store, learner, state)


def latest(store: Store, learner: Learner) -> Sequence[Examination]:
    """Return a learner's examinations, the latest first."""
    return examination_queries.latest_of(store, learner.id, most=LATEST)


def _kept(row: Examination, place: int, act: Act, sent_as: str, now: float) -> KeptAct:
    return KeptAct(row.id, place, row.learner, now, act.minute, act.what, act.side, value_document(act.value), sent_as)
