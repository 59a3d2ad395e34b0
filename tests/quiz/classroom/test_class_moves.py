"""Which classes share a learner, and a class that goes to another school, on whichever engine holds the data."""

from __future__ import annotations

import pytest
from flask import Flask

from quiz.app import create_app
from quiz.classroom import class_moves, classes, preceptors, schools
from quiz.classroom import sign_in as signing
from quiz.classroom.class_moves import ClassStays
from quiz.storage import class_queries
from quiz.storage.organisation import school_queries
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, lots
from tests.quiz.class_people import PASSWORD, learner, make_class, preceptor, set_drill


@pytest.fixture
def app(data_file: object, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)  # type: ignore[arg-type]


def test_a_class_and_what_it_shares(app: Flask, store: Store) -> None:
    marit = preceptor(app, store)
    north = schools.one_or_named(store, None)
    south = schools.make(store, "Southgate", by="Test", now=NOON)
    signing.add_preceptor(store, "Tove", PASSWORD, now=NOON, school=south.id)
    (first, code), (second, other), (third, _) = (make_class(marit, f"C{number}") for number in range(3))
    drill = int(set_drill(marit, first).rsplit("/", 1)[1])
    ada = learner(app, code, "Ada")
    learner(app, other, "Bo")
    assert school_queries.classes_that_share(store, [first]) == []
    ada.post(f"/drill/{drill}/begin")
    marit.post(f"/class/{first}/people/move", {"learner": "1", "to_class": str(second)})
    assert school_queries.classes_that_share(store, [first]) == [("C1", 1)]
    assert school_queries.classes_that_share(store, [second, third]) == [("C0", 1)]
    assert school_queries.classes_that_share(store, [first, second]) == []
    with pytest.raises(ClassStays, match="1 learner also practised in “C1”"):
        class_moves.move(store, north, [first], south.id, along=True, owner=None, by="Test", now=NOON)
    assert class_moves.planned(store, north, [first, second], south.id).learners == 2
    class_moves.move(store, north, [first, second], south.id, along=True, owner=None, by="Test", now=NOON)
    found = [class_queries.class_of_id(store, number) for number in (first, second, third)]
    assert [one.school for one in found if one] == [south.id, south.id, north.id]
    tove = preceptors.named(store, "Tove")
    class_moves.move(store, north, [third], south.id, along=False, owner=tove.id, by="Test", now=NOON)
    assert classes.own(store, tove, third).preceptor == tove.id


def test_a_class_that_was_removed_ties_nobody_to_its_school(app: Flask, store: Store) -> None:
    marit = preceptor(app, store)
    (first, code), (second, _) = (make_class(marit, f"C{number}") for number in range(2))
    drill = int(set_drill(marit, first).rsplit("/", 1)[1])
    learner(app, code, "Ada").post(f"/drill/{drill}/begin")
    marit.post(f"/class/{first}/people/move", {"learner": "1", "to_class": str(second)})
    marit.post(f"/class/{first}/remove", {"sure": "yes", "name": "C0"})
    gone = class_queries.class_of_id(store, first)
    assert gone is not None
    assert gone.removed_at is not None, "its drill stays, which somebody of another class had begun"
    assert school_queries.classes_that_share(store, [second]) == []
