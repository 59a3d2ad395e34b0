"""Forms: what one description of a field gives to the page, the reader, what is kept and what is taken away."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import make_dataclass

import pytest
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st

import quiz.practice.settings
import quiz.web.settings.routes
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.choices import Choice, Marks, Option, Order
from cases.procedure.kinds import Lens
from quiz.accuracy.entries import ENTRY, Entry
from quiz.app import create_app
from quiz.practice import learners
from quiz.practice.forms import (
    BadFields,
    Day,
    Input,
    Moment,
    Pick,
    Tick,
    Whole,
    Words,
    asked,
    inputs_of,
    made,
    read,
    written,
)
from quiz.practice.settings import SETTINGS, BadSetting, LearnerSettings
from quiz.storage.datafile import DataFile
from quiz.storage.rows import read_json, write_json
from quiz.storage.store import Store
from quiz.web.bench.views import DIALS
from tests.conftest import Clock, lots

HERE = {"Origin": "http://localhost"}
OPTIONS = (Option("a", "an a"), Option("b", "a b"))


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Pick((("", "none"), ("x", "an x"))), "x"),
        (Pick((("dry", "dry"), ("wet", "wet")), values=(False, True)), True),
        (Pick((("dry", "dry"), ("wet", "wet")), values=(False, True)), False),
        (Moment(), 1_900_000_020.0),
        (Whole("cases"), 12),
        (Words(), "two words"),
        (Tick(), True),
        (quantities.POWER, -1.25),
        (quantities.DISTANCE, 67.0),
        (Lens(), SphCyl(1, -0.5, 90)),
        (Choice(OPTIONS), "b"),
        (Marks(OPTIONS), ()),
        (Order(OPTIONS), ("b", "a")),
    ],
)
def test_what_a_field_writes_it_reads(kind: object, value: object) -> None:
    one = Input("it", "It", kind)  # type: ignore[arg-type]
    assert one.read(one.write(value)) == value
    assert one.kind.from_json(read_json(write_json(value))) == value, "and kept, it is the same"


@given(st.dates())
def test_a_day_is_read_as_it_is_written(day: object) -> None:
    one = Input("on", "On", Day())
    assert one.read(one.write(day)) == day


@pytest.mark.parametrize("inputs", [SETTINGS, ENTRY, DIALS], ids=["settings", "accuracy log", "bench"])
def test_each_field_has_a_name_of_its_own_and_a_label(inputs: tuple[Input, ...]) -> None:
    assert len({one.name for one in inputs}) == len(inputs)
    assert all(one.label for one in inputs)


def test_every_fault_is_told_at_once_by_the_reader_and_by_the_rules() -> None:
    texts = {"norm-lag-usual-low": "+1.00", "norm-lag-usual-high": "0.25", "distance_cm": "far", "theme": "pink"}
    usual = written(SETTINGS, LearnerSettings())
    with pytest.raises(BadSetting) as caught:
        made(quiz.practice.settings._settings, SETTINGS, usual | texts, refuse=BadSetting)
    assert caught.value.faults.keys() == {"distance_cm", "theme", "norm-lag-usual-low"}


def test_nothing_is_made_of_a_form_with_a_fault() -> None:
    with pytest.raises(BadFields) as caught:
        made(Entry, ENTRY, {"eye": "right", "patient": "10000"})
    assert "eye" not in caught.value.faults
    assert {"patient", "retinoscopy", "on"} <= caught.value.faults.keys()


def test_a_field_that_is_left_empty_is_as_usual_or_asked_for() -> None:
    values, faults = read(
        (Input("a", "A", quantities.POWER, usual=1.0), Input("b", "B", quantities.POWER, required=True)), {}
    )
    assert values == {"a": 1.0}
    assert faults == {"b": "nothing was written: give a power, such as +1.25 or −0.50"}


@pytest.fixture
def with_a_new_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add one line to the settings, as the person who adds a setting does."""
    sound = asked("Sound at the bench", Pick((("off", "no sound"), ("on", "a click"))), usual="off", entry="Look")
    more = make_dataclass("LearnerSettings", [("sound", str, sound)], bases=(LearnerSettings,), frozen=True)
    settings = (*inputs_of(more), *(one for one in SETTINGS if one.name.startswith("norm-")))
    for module in (quiz.practice.settings, learners):
        monkeypatch.setattr(module, "LearnerSettings", more)
    for page in (quiz.practice.settings, quiz.web.settings.routes):
        monkeypatch.setattr(page, "SETTINGS", settings)


@pytest.fixture
def client(data_file: DataFile) -> Iterator[FlaskClient]:
    with create_app(data_file, clock=Clock(), lots=lots()).test_client() as one:
        yield one


@pytest.mark.usefixtures("with_a_new_setting")
def test_a_new_setting_takes_one_line(client: FlaskClient, store: Store) -> None:
    """It is seen on the page, read, refused, kept, shown again and exported: nothing else names it."""
    page = client.get("/settings").get_data(as_text=True)
    assert "Sound at the bench" in page
    assert re.search(r'name="sound" value="off" checked', page)
    refused = client.post("/settings", data={"sound": "loud"}, headers=HERE)
    assert refused.status_code == 422
    assert re.search(r'id="sound-problem"[^>]*>.*“loud”: give off or on', refused.get_data(as_text=True))
    assert client.post("/settings", data={"sound": "on"}, headers=HERE).status_code == 303
    assert json.loads(store.learners()[0].settings)["sound"] == "on"
    assert re.search(r'name="sound" value="on" checked', client.get("/settings").get_data(as_text=True))
    exported = json.loads(client.get("/progress/everything.jsonl").get_data(as_text=True).splitlines()[0])
    assert exported["settings"]["sound"] == "on"


@pytest.mark.usefixtures("with_a_new_setting")
def test_settings_that_were_kept_before_have_the_new_one_as_usual() -> None:
    before = json.loads('{"form":"plus","distance_cm":50.0,"level":"expert","norms":{}}')
    found = quiz.practice.settings.LearnerSettings.from_json(before)
    assert (found.form, found.distance_cm, found.sound) == ("plus", 50.0, "off")  # type: ignore[attr-defined]


def test_settings_are_kept_in_the_very_bytes_of_before(store: Store) -> None:
    person = learners.add(store, "Imre", now=0)
    assert person.settings == (
        '{"form":"minus","distance_cm":67.0,"level":"competent","theme":"auto","sitting":"10-cases","norms":{},'
        '"exam_day":"","region":"europe","role":"student"}'
    )
