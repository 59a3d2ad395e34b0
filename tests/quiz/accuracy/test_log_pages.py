"""The accuracy log kept in the data file and served: each learner's own, by file or by eye, and on to practice."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from cases.curriculum.register import UnknownType
from cases.optics.lens import SphCyl
from quiz.accuracy.conclusions import PRACTICE
from quiz.accuracy.entries import Entry
from quiz.accuracy.importing import write_table
from quiz.app import create_app
from quiz.practice import dealing, learners, sittings, today, what_to_practise
from quiz.practice.settings import LENGTHS
from quiz.practice.type_catalogue import catalogue
from quiz.storage import accuracy_queries
from quiz.storage.accuracy_queries import FullLog
from quiz.storage.datafile import DataFile
from quiz.storage.store import Learner, Store
from quiz.web.accuracy.routes import BIGGEST_FILE
from tests.conftest import NOON, Clock, lots
from tests.quiz.accuracy.accuracy_logs import entry, log, written

HERE = {"Origin": "http://localhost"}
EYE = {
    "patient": "3",
    "eye": "left",
    "retinoscopy": "+1.25 -0.50 x 90",
    "end_point": "+1.00 -0.50 x 90",
    "distance_cm": "67",
    "on": "2026-10-02",
    "wet": "dry",
    "end_wet": "dry",
    "age": "",
    "remark": "",
}


@pytest.fixture
def client(data_file: DataFile, clock: Clock) -> Iterator[FlaskClient]:
    with create_app(data_file, clock=clock, lots=lots()).test_client() as one:
        one.get("/accuracy")
        yield one


@pytest.fixture
def me(client: FlaskClient, store: Store) -> Learner:
    assert client is not None
    return store.learners()[0]


def post(client: FlaskClient, url: str, **form: object) -> TestResponse:
    return client.post(url, data=form, headers=HERE)


def words(answer: TestResponse) -> str:
    return unescape(re.sub(r"<[^>]+>|\s+", " ", answer.get_data(as_text=True)))


# --- the data file -----------------------------------------------------------------------------------------------


def test_entries_come_back_as_they_were_kept(store: Store, learner: Learner) -> None:
    kept = [
        entry(
            7,
            "left",
            SphCyl(1.125, 0.5, 7.5),
            SphCyl(-0.37),
            cm=66.7,
            wet=True,
            end_wet=True,
            age="under-20",
            remark="a b",
        ),
        entry(8),
    ]
    accuracy_queries.add(store, learner.id, kept)
    assert [one.entry for one in accuracy_queries.entries_of(store, learner.id, Entry)] == kept


def test_a_log_is_its_learner_s_own(store: Store, learner: Learner) -> None:
    other = learners.add(store, "Runa", now=NOON)
    accuracy_queries.add(store, learner.id, log(patients=2))
    (first, *_) = accuracy_queries.entries_of(store, learner.id, Entry)
    assert accuracy_queries.entries_of(store, other.id, Entry) == []
    assert accuracy_queries.remove(store, other.id, [first.id]) == 0
    assert accuracy_queries.clear(store, other.id) == 0
    assert accuracy_queries.remove(store, learner.id, [first.id]) == 1
    assert accuracy_queries.clear(store, learner.id) == 3


def test_a_log_goes_with_its_learner(store: Store, learner: Learner) -> None:
    accuracy_queries.add(store, learner.id, log(patients=2))
    learners.remove(store, learner.id, now=NOON)
    assert store.fetch("SELECT count(*) FROM accuracy")[0][0] == 0


def test_a_log_that_is_full_takes_nothing_more(store: Store, learner: Learner, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(accuracy_queries, "MOST_ENTRIES", 3)
    with pytest.raises(FullLog, match="would pass"):
        accuracy_queries.add(store, learner.id, log(patients=2))
    assert accuracy_queries.entries_of(store, learner.id, Entry) == []


# --- sittings that keep to types ---------------------------------------------------------------------------------


def test_a_sitting_that_keeps_to_types_brings_only_those_to_its_end(store: Store, learner: Learner) -> None:
    """Even types above the learner's level whose needs were never met: they were asked for by name."""
    types = ("distance-drift", "off-axis-effect")
    was = dealing.waiting(store, learner, now=NOON, lots=lots())
    sitting = today.begin(store, learner, types, "Asked for.", length=LENGTHS[0], now=NOON + 1)
    assert store.sitting(was.dealt.sitting).ended_at is not None  # type: ignore[union-attr]
    seen = []
    for number in range(10):
        now = NOON + 2 + 20 * number
        one = dealing.waiting(store, learner, now=now, lots=lots(50 + number))
        assert one.dealt.sitting == sitting
        assert one.dealt.why == "Asked for."
        seen.append(one.dealt.type)
        given = {ask.name: "1" for ask in one.case.type.asks}
        dealing.take(store, learner, one.dealt.id, given, None, now=now + 10)
    assert set(seen) == set(types)
    after = dealing.waiting(store, learner, now=NOON + 900, lots=lots(99))
    assert after.dealt.sitting != sitting
    assert what_to_practise.of_sitting(store, after.dealt.sitting) is None


def test_types_that_are_gone_leave_an_ordinary_sitting(store: Store, learner: Learner) -> None:
    with pytest.raises(UnknownType):
        today.begin(store, learner, ("no-such-type",), "", length=LENGTHS[0], now=NOON)
    sitting = today.begin(store, learner, ("net-sphere",), "", length=LENGTHS[0], now=NOON)
    with store.writing():
        store.change("UPDATE kept_to SET types = '[\"gone\"]' WHERE sitting = ?", sitting)
    assert what_to_practise.of_sitting(store, sitting) is None
    assert dealing.waiting(store, learner, now=NOON, lots=lots()).dealt.sitting == sitting


# --- pages -------------------------------------------------------------------------------------------------------


def test_scipy_is_loaded_by_the_log_alone() -> None:
    """So that the app starts, and every other page opens, without it."""
    script = "import quiz.app, sys; print('scipy' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"


def test_an_eye_is_kept_and_the_next_is_likely_the_other(client: FlaskClient, store: Store, me: Learner) -> None:
    answer = client.get(post(client, "/accuracy/add", **EYE).location)
    assert "Kept: patient 3, left eye" in words(answer)
    html = answer.get_data(as_text=True)
    assert 'name="patient" value="3"' in html
    assert re.search(r'name="eye" value="right" checked', html)
    assert [one.entry.patient for one in accuracy_queries.entries_of(store, me.id, Entry)] == [3]
    post(client, "/accuracy/add", **EYE | {"eye": "right"})
    assert 'name="patient" value="4"' in client.get("/accuracy/add").get_data(as_text=True)


def test_a_remark_that_may_tell_who_it_was_waits_for_a_tick(client: FlaskClient, store: Store, me: Learner) -> None:
    answer = post(client, "/accuracy/add", **EYE | {"remark": "Mrs Example"})
    assert answer.status_code == 422
    assert "may hold a name" in words(answer)
    assert accuracy_queries.entries_of(store, me.id, Entry) == []
    assert post(client, "/accuracy/add", **EYE | {"remark": "Mrs Example", "sure": "yes"}).status_code == 303
    assert accuracy_queries.entries_of(store, me.id, Entry)[0].entry.remark == "Mrs Example"


def test_an_eye_that_cannot_be_taken_says_why_and_keeps_what_was_typed(client: FlaskClient) -> None:
    answer = post(client, "/accuracy/add", **EYE | {"retinoscopy": "-25", "on": "2031-01-01"})
    assert answer.status_code == 422
    assert "−25 may be −0.25 or −25.00" in words(answer)
    assert "still to come" in words(answer)
    assert 'value="+1.00 -0.50 x 90"' in answer.get_data(as_text=True)


def test_a_file_is_shown_first_and_then_taken_once(client: FlaskClient, store: Store, me: Learner) -> None:
    text = write_table(written(patients=5))
    shown = post(client, "/accuracy/import", file=(io.BytesIO(text.encode()), "log.csv"))
    assert "10 rows can be taken, 0 are refused" in words(shown)
    assert accuracy_queries.entries_of(store, me.id, Entry) == []
    for expected in ("added=10", "added=0"):
        assert expected in post(client, "/accuracy/import/take", text=text, after="0").location
    assert len(accuracy_queries.entries_of(store, me.id, Entry)) == 10


def test_columns_of_another_language_are_chosen_by_hand_and_never_guessed(client: FlaskClient) -> None:
    text = "Nom;Patient;Oeil;Jour;Distance cm;Skiascopie;Subjectif\nX;1;R;2026-11-02;67;+1.00/-0.50x90;+0.75/-0.50x90\n"
    asked = post(client, "/accuracy/import", text=text)
    assert asked.status_code == 422
    assert "no heading says eye, retinoscopy, end-point" in words(asked)
    assert "“Skiascopie”" in words(asked)
    assert 'name="column-5"' in asked.get_data(as_text=True)
    chosen = {"column-0": "", "column-1": "patient", "column-2": "eye", "column-3": "on", "column-4": "distance_cm"}
    shown = post(
        client, "/accuracy/import", text=text, **chosen, **{"column-5": "retinoscopy", "column-6": "end_point"}
    )
    assert "1 row can be taken, 0 are refused" in words(shown)
    assert "Not read: not read: Nom" in words(shown)
    twice = post(client, "/accuracy/import", text=text, **chosen, **{"column-5": "eye", "column-6": "end_point"})
    assert "both mean eye" in words(twice)
    other = post(client, "/accuracy/import", text=text, **chosen, **{"column-5": "password"})
    assert "“password” is not a column of the log" in words(other)


def test_the_patients_of_another_log_come_after_and_only_once(client: FlaskClient, store: Store, me: Learner) -> None:
    accuracy_queries.add(store, me.id, log(patients=5))
    text = write_table(written(patients=2, seed=9))
    shown = post(client, "/accuracy/import", text=text, whose="others").get_data(as_text=True)
    assert 'name="after" value="5"' in shown
    for _ in range(2):
        post(client, "/accuracy/import/take", text=text, after="5")
    patients = [one.entry.patient for one in accuracy_queries.entries_of(store, me.id, Entry)]
    assert patients[10:] == [6, 6, 7, 7]


def test_what_is_taken_out_is_known_when_it_is_brought_in_again(client: FlaskClient, store: Store, me: Learner) -> None:
    kept = [*written(patients=3), entry(9, remark="=HYPERLINK()")]
    accuracy_queries.add(store, me.id, kept)
    out = client.get("/accuracy/log.csv")
    assert out.content_type == "text/csv; charset=utf-8"
    assert 'filename="accuracy-log-2026-11-18.csv"' in out.headers["Content-Disposition"]
    assert b",'=HYPERLINK()" in out.data
    shown = post(client, "/accuracy/import", file=(io.BytesIO(out.data), "log.csv"))
    assert "0 rows can be taken, 0 are refused, 7 are in the log already" in words(shown)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({}, "nothing was chosen"),
        ({"text": "a,b\n1,2\n"}, "no heading says eye, patient"),
        ({"file": (io.BytesIO(b"PK\x03\x04\x00"), "log.xlsx")}, "save the sheet as CSV"),
        ({"text": "patient\n1\n", "distance_cm": "far"}, "Distance for rows that give none"),
        ({"text": "patient\n1\n", "on": "May"}, "date “May”: write year-month-day"),
        ({"text": "x" * (BIGGEST_FILE + 1)}, "the file is over 2 MB"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(client: FlaskClient, sent: dict[str, object], said: str) -> None:
    answer = post(client, "/accuracy/import", **sent)
    assert answer.status_code == 422
    assert said in words(answer)


def test_a_file_may_be_larger_than_an_answer(client: FlaskClient, store: Store, me: Learner) -> None:
    text = write_table([entry(one, remark="x" * 150) for one in range(1, 700)])
    assert 100_000 < len(text) < BIGGEST_FILE
    assert "699 rows can be taken" in words(post(client, "/accuracy/import", file=(io.BytesIO(text.encode()), "a.csv")))
    post(client, "/accuracy/import/take", text=text, after="0")
    assert len(accuracy_queries.entries_of(store, me.id, Entry)) == 699


def test_what_the_log_says_leads_to_practice_of_those_types(client: FlaskClient, store: Store, me: Learner) -> None:
    accuracy_queries.add(store, me.id, log(patients=20, shift=0.3))
    shown = words(client.get("/accuracy"))
    assert "Retinoscopy reads too plus on the whole" in shown
    assert "Hotelling’s T² =" in shown
    assert post(client, "/accuracy/practise", reading="distance").location == "/practise"
    assert client.get("/practise").status_code == 200
    waiting = store.open_case(me.id)
    assert waiting is not None
    assert waiting.type in PRACTICE["nearer"]
    assert waiting.why == "You asked for it from your accuracy log: retinoscopy reads too plus on the whole."
    assert sittings.facts(store, me, waiting.sitting, catalogue(), now=NOON).answers == ()


def test_what_the_log_does_not_say_leads_nowhere(client: FlaskClient) -> None:
    answer = post(client, "/accuracy/practise", reading="distance")
    assert answer.status_code == 400
    assert "does not say that now" in words(answer)


def test_a_small_log_shows_its_points_alone(client: FlaskClient, store: Store, me: Learner) -> None:
    accuracy_queries.add(store, me.id, log(patients=3, shift=2))
    shown = words(client.get("/accuracy"))
    assert "6 eyes of 3 patients so far: too few" in shown
    assert "Practise it" not in shown
    assert "limits of agreement, in D" not in shown
    assert "Difference of M against its mean" in shown


def test_rows_are_deleted_when_ticked_and_the_log_with_a_second_tick(
    client: FlaskClient, store: Store, me: Learner
) -> None:
    accuracy_queries.add(store, me.id, log(patients=3))
    first, second, *_ = accuracy_queries.entries_of(store, me.id, Entry)
    where = post(client, "/accuracy/rows", row=[first.id, second.id]).location
    assert "2 rows deleted" in words(client.get(where))
    refused = post(client, "/accuracy/clear")
    assert refused.status_code == 422
    assert len(accuracy_queries.entries_of(store, me.id, Entry)) == 4
    assert "it held 4 eyes" in words(client.get(post(client, "/accuracy/clear", sure="yes").location))
    assert accuracy_queries.entries_of(store, me.id, Entry) == []


def test_a_long_log_is_listed_page_by_page(client: FlaskClient, store: Store, me: Learner) -> None:
    accuracy_queries.add(store, me.id, [entry(one) for one in range(1, 451)])
    seen: list[int] = []
    url = "/accuracy/rows"
    while url:
        html = client.get(url).get_data(as_text=True)
        seen += map(int, re.findall(r"Delete row </span>(\d+)<", html))
        older = re.search(r'href="([^"]+)">Older rows', html)
        url = unescape(older[1]) if older else ""
    assert seen == list(range(450, 0, -1))
    assert "Delete all 450 rows" in words(client.get("/accuracy/rows?upto=3"))


def test_another_learner_s_rows_are_not_reached(client: FlaskClient, data_file: DataFile, me: Learner) -> None:
    with closing(Store(data_file)) as store:
        other = learners.add(store, "Runa", now=NOON)
        accuracy_queries.add(store, other.id, log(patients=2))
        (theirs, *_) = accuracy_queries.entries_of(store, other.id, Entry)
        post(client, "/accuracy/rows", row=[theirs.id])
        post(client, "/accuracy/clear", sure="yes")
        assert len(accuracy_queries.entries_of(store, other.id, Entry)) == 4
    assert "2 patients" not in words(client.get("/accuracy"))
    assert me.id != other.id


def test_a_name_in_a_remark_cannot_become_markup(client: FlaskClient, store: Store, me: Learner) -> None:
    accuracy_queries.add(store, me.id, [entry(1, remark="<script>alert(1)</script>")])
    for url in ("/accuracy", "/accuracy/rows"):
        assert "<script>alert" not in client.get(url).get_data(as_text=True)
    shown = post(client, "/accuracy/import", text="</textarea><script>alert(1)</script>")
    assert "<script>alert" not in shown.get_data(as_text=True)


def test_how_a_lens_is_read_is_told_while_it_is_typed(client: FlaskClient) -> None:
    assert client.get("/accuracy/read-as?text=1 -.5 90").json == {"reads": "+1.00 / −0.50 × 90"}
    assert "may be" in client.get("/accuracy/read-as?text=-25").json["because"]  # type: ignore[index]


def test_the_day_is_that_of_the_clock(client: FlaskClient) -> None:
    assert date.fromtimestamp(NOON).year == 2026
    assert 'value="2026-11-18"' in client.get("/accuracy/add").get_data(as_text=True)


# --- work one out ------------------------------------------------------------------------------------------------


def test_a_result_is_a_link_that_anyone_can_open(data_file: DataFile, clock: Clock) -> None:
    stranger = create_app(data_file, clock=clock, lots=lots()).test_client()
    with closing(Store(data_file)) as store:
        for name in ("Imre", "Runa"):
            learners.add(store, name, now=NOON)
    first, second = "first.streak=90&first.sphere=%2B2.25", "second.streak=180&second.sphere=%2B3.00"
    url = f"/work-one-out/two-spheres?{first}&{second}&distance_cm=67"
    answer = stranger.get(url)
    assert answer.status_code == 200
    assert "+1.50 / −0.75 × 90" in words(answer)
    assert "For training; not a prescription." in words(answer)
    assert stranger.get("/work-one-out/odd-reflex").status_code == 404
    assert stranger.get("/work-one-out/nothing").status_code == 404


def test_every_example_is_worked_out(client: FlaskClient) -> None:
    listed = re.findall(r'href="(/work-one-out/[\w-]+)"', client.get("/work-one-out").get_data(as_text=True))
    assert len(listed) > 50
    for url in listed:
        form = client.get(url)
        assert form.status_code == 200
        found = re.search(r'href="([^"]+)">See an example', form.get_data(as_text=True))
        assert found, url
        answer = client.get(unescape(found[1]))
        assert answer.status_code == 200, url
        assert 'class="worked"' in answer.get_data(as_text=True), url


def test_what_is_said_of_a_file_is_put_right_at_its_fields_all_at_once(client: FlaskClient) -> None:
    answer = post(client, "/accuracy/import", text="patient\n1\n", distance_cm="far", on="May")
    told = dict(re.findall(r'id="(\w+)-problem"><strong>[^<]*</strong> (.*?)</p>', answer.get_data(as_text=True)))
    assert told.keys() == {"distance_cm", "on"}
    assert "far" in told["distance_cm"]
    assert "May" in told["on"]
    assert 'value="far"' in answer.get_data(as_text=True)
