"""67 cm is 1.50 or 1.49 D by one rule, in the same words once on every page that shows a distance in dioptres.

1/0.67 m is 1.4925 D (`computed`); that the clinic calls it 1.50 is common practice, no published source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest
from flask.testing import FlaskClient

from cases.curriculum.case_list import CaseList
from cases.curriculum.register import all_types
from cases.curriculum.steps import distance_rule
from cases.optics.vergence import CLINIC_SLACK, DISTANCE_RULE, vergence, working_vergence
from cases.procedure.case_type import CannotDraw, draw
from cases.procedure.settings import Settings
from cases.worksheet import drawn_list, worksheet
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, deal, lots, written

_67 = re.compile(r"67 cm\b[^.]{0,60}?\b1\.(?:49|50)|\b1\.(?:49|50)\b[^.]{0,12}?67 cm\b")


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> Iterator[FlaskClient]:
    with create_app(data_file, clock=clock, lots=lots()).test_client() as one:
        one.get("/")
        yield one


def times_stated(page: str) -> int:
    """Count how often a page states the rule, whatever spaces its numbers are kept together with."""
    plain = " ".join(unescape(re.sub(r"<[^>]+>", "", page)).split())
    return plain.count(DISTANCE_RULE)


def test_the_rule_says_what_is_computed() -> None:
    assert vergence(67) == pytest.approx(1.4925, abs=1e-4)
    assert working_vergence(67) == 1.5
    assert f"within {CLINIC_SLACK:.2f} D" in DISTANCE_RULE


def test_every_type_whose_working_turns_67_cm_into_dioptres_states_the_rule() -> None:
    shows = set()
    for one in all_types().values():
        for seed in range(12):
            try:
                case = draw(one, seed, Settings(distance_cm=67.0))
            except CannotDraw:
                continue
            if any(_67.search(line.says) for line in case.run.lines):
                shows.add(one.id)
    assert len(shows) >= 15
    # Where a target or a far point may stand 67 cm away, no working distance is meant.
    assert {one for one in shows if not distance_rule(all_types()[one])} == set()


@pytest.mark.parametrize(
    ("address", "times"),
    [
        ("work-one-out/net-sphere?gross=%2B2.50&distance_cm=67", 1),
        ("work-one-out/distance-vergence?distance_cm=67", 1),
        ("work-one-out/inches-vergence?inches=26", 1),
        ("work-one-out/lean-test?in_place=%2B2&distance_cm=67&lean=in&by_cm=10&seen=with", 1),
        ("work-one-out?line=%2B2.50 67cm", 1),
        ("work-one-out?line=90: %2B2.00, 180: %2B3.50 67cm", 1),
        ("look-up?line=%2B2.50 67cm", 1),
        ("day", 1),
        ("reference", 1),
        ("work-one-out/sighting-angle?offset_cm=8&distance_cm=67", 0),
        ("work-one-out/transpose?rx=%2B2.50/-1x90", 0),
        ("work-one-out?line=%2B2.50/-1x90", 0),
    ],
)
def test_a_page_states_it_once_where_it_shows_such_a_distance(client: FlaskClient, address: str, times: int) -> None:
    answer = client.get(f"/{address}")
    assert answer.status_code == 200
    assert times_stated(answer.get_data(as_text=True)) == times


@pytest.mark.parametrize(("type_id", "times"), [("net-sphere", 1), ("transpose", 0)])
def test_a_mark_states_it_once_and_the_case_before_it_does_not(
    client: FlaskClient, store: Store, clock: Clock, type_id: str, times: int
) -> None:
    client.get("/practise")
    case = deal(store, store.learners()[0], type_id, now=clock.at)
    waiting = store.open_case(store.learners()[0].id)
    assert waiting is not None
    assert times_stated(client.get("/practise").get_data(as_text=True)) == 0, "it would tell the answer"
    form = {f"answer-{name}": text for name, text in written(case).items()}
    client.post(f"/case/{waiting.id}/answer", data=form, headers={"Origin": "http://localhost"})
    assert times_stated(client.get(f"/case/{waiting.id}").get_data(as_text=True)) == times


def test_a_key_states_it_once_and_a_sheet_does_not() -> None:
    def listed(*ids: str) -> CaseList:
        return drawn_list([all_types()[one] for one in ids], count=2, seed=3, settings=Settings())

    assert times_stated(worksheet(listed("net-sphere", "two-spheres"), key=True)) == 1
    assert times_stated(worksheet(listed("net-sphere", "two-spheres"))) == 0
    assert times_stated(worksheet(listed("transpose"), key=True)) == 0
