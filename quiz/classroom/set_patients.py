"""Patients set for a class: a preceptor sets some, every learner examines each once, the preceptor reads every log."""

from __future__ import annotations

from dataclasses import dataclass

from cases.patients.patient import Patient
from quiz.errors import QuizError
from quiz.practice.examining import examinations
from quiz.practice.examining.examinations import UnderWay, UnknownExamination
from quiz.practice.randomness import Lots
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class
from quiz.storage.examining import examination_queries, set_queries
from quiz.storage.examining.examination_queries import Examination
from quiz.storage.examining.set_queries import SetExamination
from quiz.storage.store import Learner, Store

MOST_PATIENTS = 4
LONGEST_TITLE = 80


class UnknownSet(QuizError):
    """No such patients were set."""

    def __init__(self) -> None:
        super().__init__("no such patients were set here: go back to the list")


class NobodySet(QuizError):
    """A set without a patient."""


@dataclass(frozen=True)
class Offer:
    """One patient that is open to a learner."""

    set_id: int
    title: str
    place: int
    patient: Patient
    run: Examination | None
    """The learner's examination of this patient, once it was begun."""


def set_for(store: Store, what: Class, title: str, patients: tuple[Patient, ...], *, now: float) -> int:
    """Set patients for a class, open at once.

    Raises
    ------
    NobodySet
    """
    if not 1 <= len(patients) <= MOST_PATIENTS:
        raise NobodySet(f"{len(patients)} patients: choose 1 to {MOST_PATIENTS}")
    with store.writing():
        return set_queries.add(store, what.id, title.strip()[:LONGEST_TITLE] or "Patients to examine", patients, now)


def own(store: Store, what: Class, number: int) -> SetExamination:
    """Return a set of this class.

    Raises
    ------
    UnknownSet
    """
    found = set_queries.set_of_id(store, number)
    if found is None or found.class_ != what.id:
        raise UnknownSet
    return found


def close(store: Store, what: Class, number: int, *, now: float) -> None:
    """Close a set; what was begun can be finished."""
    one = own(store, what, number)
    with store.writing():
        set_queries.close(store, one.id, now=now)


def offers(store: Store, learner: Learner) -> tuple[Offer, ...]:
    """Return every patient of the sets that are open to a learner."""
    return tuple(
        Offer(one.id, one.title, place, patient, set_queries.run_of(store, one.id, place, learner.id))
        for one in set_queries.open_for(store, learner.id)
        for place, patient in enumerate(one.patients)
    )


def begin(store: Store, learner: Learner, number: int, place: int, *, now: float, lots: Lots) -> str:
    """Begin a set's patient, or go on with it, and return the examination's id.

    Raises
    ------
    UnknownSet
        When it is not open to this learner.
    """
    offer = next((one for one in offers(store, learner) if (one.set_id, one.place) == (number, place)), None)
    if offer is None:
        raise UnknownSet
    if offer.run is not None:
        return offer.run.id
    return examinations.begin(store, learner, offer.patient, now=now, lots=lots, set_in=number, set_place=place)


def log_of(store: Store, what: Class, number: int, examination_id: str) -> tuple[UnderWay, Learner]:
    """Return an examination of a set for its preceptor, and whose it is.

    Raises
    ------
    UnknownSet, UnknownExamination
    """
    one = own(store, what, number)
    row = examination_queries.of_id(store, examination_id)
    if row is None or row.set_in != one.id:
        raise UnknownExamination
    learner = next((who for who in roster_queries.learners_of(store, what.id) if who.id == row.learner), None)
    if learner is None:
        raise UnknownExamination
    return examinations.as_it_stands(store, row), learner
