"""Learners on one computer: names, settings, the first visit."""

from __future__ import annotations

import pytest

from quiz.practice import learners, names
from quiz.practice.settings import BadSetting, LearnerSettings
from quiz.storage.store import Learner, Store
from tests.conftest import NOON


def test_the_first_visitor_becomes_the_only_learner(store: Store) -> None:
    first = learners.only_one(store, now=NOON)
    assert first is not None
    assert learners.only_one(store, now=NOON) == first
    learners.add(store, "Bea", now=NOON)
    assert learners.only_one(store, now=NOON) is None


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("   ", "no name was given"),
        ("x" * 61, "a name of 61 characters"),
        ("Im\u202ere", "characters that do not print"),
        ("imre", "is taken"),
        ("  IMRE ", "is taken"),
    ],
)
def test_names_that_are_not_taken(store: Store, learner: Learner, typed: str, why: str) -> None:
    with pytest.raises(names.BadName, match=why):
        learners.add(store, typed, now=NOON)
    assert store.learners() == [learner]


def test_a_name_is_tidied(store: Store) -> None:
    assert learners.add(store, "  Zso\u0301fia   K. ", now=NOON).name == "Zsófia K."


def test_a_name_keeps_the_joiners_that_belong_to_its_spelling(store: Store) -> None:
    """U+200C stands in Persian names, U+200D in Indian ones (Unicode Standard, 23.2)."""
    for name in ("علی\u200cرضا", "ശ്രീ\u200d"):
        assert learners.add(store, name, now=NOON).name == name


def test_a_name_is_changed_but_not_to_anothers(store: Store, learner: Learner) -> None:
    learners.add(store, "Bea", now=NOON)
    learners.rename(store, learner.id, "imre")
    assert learners.get(store, learner.id).name == "imre"
    with pytest.raises(names.BadName):
        learners.rename(store, learner.id, "BEA")


def test_settings_come_back_as_kept(store: Store, learner: Learner) -> None:
    chosen = LearnerSettings("plus", 57.0, "expert", "dark", "5-minutes", {"dark-near-allowance": 1.0})
    learners.keep_settings(store, learner.id, chosen)
    assert learners.settings_of(learners.get(store, learner.id)) == chosen


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ({}, LearnerSettings()),
        ({"form": "plus", "level": "master", "theme": "pink"}, LearnerSettings(form="plus")),
        ({"distance_cm": "far", "sitting": None}, LearnerSettings()),
        (
            {"norms": {"dark-near-allowance": 99, "gone": 1, "lag-usual-low": 0.5}},
            LearnerSettings(norms={"lag-usual-low": 0.5}),
        ),
        ({"unknown": 1}, LearnerSettings()),
    ],
)
def test_old_or_odd_settings_fall_back_to_the_usual(given: dict[str, object], kept: LearnerSettings) -> None:
    assert LearnerSettings.from_json(given) == kept


def test_a_lag_range_the_wrong_way_round_is_refused() -> None:
    with pytest.raises(BadSetting, match="its lower end lies above its upper end"):
        LearnerSettings(norms={"lag-usual-low": 1.0, "lag-usual-high": 0.25})


def test_norms_reach_the_core_by_name() -> None:
    drawing = LearnerSettings(norms={"lag-usual-high": 1.0}).for_drawing
    assert drawing.norms == {"lag-usual-high": 1.0}
    assert (drawing.norm("lag-usual-high"), drawing.norm("dark-near-allowance")) == (1.0, 1.25)
