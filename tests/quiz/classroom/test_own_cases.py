"""Cases that preceptors write: what is refused and why, and a case in a drill, on a sheet, in exports and marked."""

from __future__ import annotations

import csv
import html
import io
import json
import re
import zipfile

import pytest
from flask import Flask

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from quiz.app import create_app
from quiz.classroom import drills, own_cases
from quiz.practice.own_findings.working_out import BadFindings, computing_types, texts_of
from quiz.storage import class_queries
from quiz.storage.classroom import own_case_queries
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import Clock, lots, slipped
from tests.quiz.class_people import DRILL, Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

WORDS = "An invented boy of nine; his mother holds the trial frame."
NET = {"title": "First visit", "words": WORDS, "gross": "+3.25", "distance_cm": "50 cm"}
URL = "/class/1/cases"


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


def words(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.fixture
def owner(app: Flask, store: Store) -> Browser:
    one = preceptor(app, store)
    make_class(one)
    return one


def written(owner: Browser, **other: str) -> str:
    made = owner.post(f"{URL}/new/net-sphere", {**NET, **other, "do": "save"})
    assert made.status_code == 303, words(made.text)
    return str(made.location)


def refused(type_id: str, **texts: str) -> str:
    with pytest.raises(BadFindings) as refusal:
        own_cases.look_over(all_types()[type_id], {"title": "One", **texts})
    return refusal.value.faults[""]


def test_a_case_in_which_a_mistake_gives_the_right_answer_is_refused() -> None:
    """By hand: 45 turned through 90 is 135, and so is 180 − 45."""
    why = refused("transpose", rx="-2.00/-2.00x45")
    assert why.startswith("A mistake would not show: a learner who took the axis from 180 instead of turning it")
    assert why.endswith("gets the right answer as well. Change a number so that the two answers differ.")


def test_two_mistakes_that_give_one_answer_are_refused() -> None:
    """By hand: of a lag of 0.75 D, 1.50 D taken off leaves −0.75 D, which is also the lag taken for a lead."""
    why = refused("lag-lens", lens="+0.75", target_cm="40")
    assert why.startswith("Two mistakes would look the same: a learner who took the usual 1.50 off the lag")
    assert "and one who took a lag for a lead" in why


def test_findings_at_the_border_between_two_choices_are_refused() -> None:
    """By hand: no lag at all is the lower end of the usual range; a quarter less is a lead."""
    assert "less than the usual error of one finding" in refused("near-response", lens="0", target_cm="40")
    assert own_cases.look_over(all_types()["near-response"], {"title": "One", "lens": "+0.50", "target_cm": "40"})


@pytest.mark.parametrize("type_id", computing_types())
def test_a_drawn_case_of_every_type_can_be_an_own_case(type_id: str) -> None:
    one = computing_types()[type_id]
    case = draw(one, 5)
    done = own_cases.look_over(one, {"title": "One", **texts_of(one, case.findings)})
    assert one.same(done.case.truth, case.truth)


def test_what_is_typed_is_refused_at_its_field(owner: Browser) -> None:
    page = owner.post(f"{URL}/new/net-sphere", {**NET, "title": " ", "gross": "three"})
    assert page.status_code == 422
    told = words(page.text)
    assert "the name has 0 characters" in told
    assert page.text.count('aria-invalid="true"') == 2
    assert "Save the case" not in told
    long = owner.post(f"{URL}/new/net-sphere", {**NET, "words": "a " * 300, "do": "save"})
    assert "the words have 599 characters: 400 are the most" in words(long.text)
    assert owner.get(f"{URL}/new/nothing").status_code == 404


def test_a_case_is_shown_with_working_and_slips_before_it_is_saved(owner: Browser, store: Store) -> None:
    page = owner.post(f"{URL}/new/net-sphere", {**NET, "do": "check"})
    told = words(page.text)
    assert page.status_code == 200
    assert WORDS in told
    assert "Net sphere +1.25 D" in told
    assert "did not subtract the working distance, in " in told
    assert re.search(r"did not subtract the working distance[^+−]*\+3\.25 D", told)
    assert own_case_queries.cases_of(store, 1) == []
    assert written(owner) == f"{URL}/1"
    shown = words(owner.get(f"{URL}/1").text)
    assert "First visit" in shown
    assert "Written by Marit Osei" in shown
    assert "Net sphere +1.25 D" in shown


def test_a_form_can_begin_from_a_drawn_case_and_from_another(owner: Browser) -> None:
    drawn = owner.get(f"{URL}/new/two-spheres?seed=4").text
    case = draw(all_types()["two-spheres"], 4)
    assert f'value="{texts_of(case.type, case.findings)["first.sphere"]}"' in html.unescape(drawn)
    written(owner)
    again = html.unescape(owner.get(f"{URL}/new/net-sphere?like=1").text)
    assert 'value="+3.25 D"' in again or 'value="+3.25"' in again
    assert WORDS in again


def test_it_comes_first_in_a_drill_is_marked_and_counted(
    owner: Browser, app: Flask, store: Store, clock: Clock
) -> None:
    written(owner)
    code = class_queries.class_of_id(store, 1)
    assert code is not None
    drill = set_drill(owner, 1, own="1", cases="2", type=["two-spheres"], feedback="once")
    told = words(owner.get(drill).text)
    assert "Own cases First visit (Gross to net, one sphere)" in told
    who = learner(app, str(code.code), "Ada")
    who.post("/drill/1/begin")
    page = who.get("/drill/1")
    dealt, case = waiting_in(page, store)
    assert case.words == WORDS
    assert WORDS in words(page.text)
    assert case.truth == {"power": 1.25}
    clock.move(seconds=20)
    answer(who, store, "/drill/1", slipped(case, "distance-left-in"))
    mark = words(who.get(f"/case/{dealt}").text)
    assert WORDS in mark
    assert "You did not subtract the working distance." in mark
    assert waiting_in(who.get("/drill/1"), store)[1].type.id == "two-spheres"
    answer(who, store, "/drill/1")
    assert "1 of 2 right: 50 %" in words(who.get("/drill/1").text)
    scores = words(owner.get(f"{drill}/scores").text)
    assert "1 First visit (Gross to net, one sphere) 0 of 1" in scores
    assert "did not subtract the working distance" in scores
    behind = words(owner.get(f"/class/1/answer/{dealt}").text)
    assert WORDS in behind
    assert all(one.good for one in check(store._file.where))


def test_own_cases_alone_make_a_drill(owner: Browser, store: Store) -> None:
    written(owner)
    written(owner, title="Second", gross="-1.00")
    made = owner.post("/class/1/drill", {**DRILL, "type": [], "own": ["1", "2"], "title": "", "cases": "10"})
    assert made.status_code == 303
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    assert (drill.title, drill.cases, drill.types, drill.own_cases) == ("Own cases", 2, (), (1, 2))
    kept = [one.words for one in class_queries.kept_cases(store, 1, first=9)]
    assert kept == [WORDS, WORDS]
    copied = owner.post(f"{made.location}/copy").location
    assert class_queries.kept_cases(store, 2, first=9) == class_queries.kept_cases(store, 1, first=9)
    assert "Second" in words(owner.get(copied).text)
    # another type beside them, and then none of them
    changed = {**DRILL, "own": ["2"], "cases": "3", "type": ["two-spheres"]}
    assert owner.post(copied, changed).status_code == 303
    assert [one.type for one in class_queries.kept_cases(store, 2, first=9)] == [
        "net-sphere",
        "two-spheres",
        "two-spheres",
    ]


@pytest.mark.parametrize(
    ("plan", "why"),
    [
        ({"own": ["1", "2"], "cases": "1"}, "2 own cases are ticked: give at least 2"),
        ({"own": "1", "same": "own"}, "own cases are the same for all"),
        (
            {"own": "1", "type": [], "minutes": "5", "cases": ""},
            "a drill of minutes with own cases alone would run out",
        ),
        ({"own": "9"}, "an own case that is ticked was removed meanwhile"),
    ],
)
def test_a_drill_that_cannot_have_them_is_refused(owner: Browser, plan: dict[str, object], why: str) -> None:
    written(owner)
    written(owner, title="Second")
    page = owner.post("/class/1/drill", {**DRILL, **plan})
    assert page.status_code == 422
    assert why in words(page.text)


def test_the_sheet_its_key_and_its_digest_have_the_words(owner: Browser) -> None:
    written(owner)
    written(owner, title="Without words", words="")
    first = set_drill(owner, 1, own="1", type=[], cases="1")
    second = set_drill(owner, 1, own="2", type=[], cases="1")
    sheets = [owner.get(f"{one}/sheet?key=yes").text for one in (first, second)]
    assert WORDS in html.unescape(sheets[0])
    assert WORDS not in html.unescape(sheets[1])
    assert all("Net sphere: +1.25 D" in words(one) for one in sheets)
    digests = [re.findall(r"<strong>([0-9A-F-]{9})</strong>", one)[0] for one in sheets]
    assert digests[0] != digests[1], "another text is another sheet"
    for url, digest in zip((first, second), digests, strict=True):
        assert digest in words(owner.get(url).text)
    file = json.loads(owner.get(f"{first}/cases.json").data)
    assert file["cases"][0]["words"] == WORDS
    assert file["digest"] == digests[0]
    with zipfile.ZipFile(io.BytesIO(owner.get(f"{first}/qti-3.0.zip").data)) as package:
        items = " ".join(package.read(name).decode() for name in package.namelist())
    assert WORDS in html.unescape(items)
    rows = list(csv.reader(io.StringIO(owner.get("/class/1/scores.csv").data.decode("utf-8-sig"))))
    assert len(rows[0]) == 5


def test_a_case_that_a_drill_has_stays_as_it_is(owner: Browser, store: Store) -> None:
    written(owner)
    drill = set_drill(owner, 1, own="1", type=[], cases="1", opened=False)
    for address, form in ((f"{URL}/1/remove", {}), (f"{URL}/1/change", {**NET, "gross": "+1.00", "do": "save"})):
        page = owner.post(address, form)
        assert page.status_code == 409
        assert "the drill “Net from gross” has this case, so it stays as it is" in words(page.text)
    owner.post(f"{drill}/remove")
    assert owner.post(f"{URL}/1/change", {**NET, "gross": "+1.00", "do": "save"}).status_code == 303
    assert own_case_queries.cases_of(store, 1)[0].findings == {"gross": 1.0, "distance_cm": 50.0}
    assert owner.post(f"{URL}/1/remove").status_code == 303
    assert own_case_queries.cases_of(store, 1) == []


def test_nobody_elses_class_has_it(owner: Browser, app: Flask, store: Store) -> None:
    written(owner)
    other = preceptor(app, store, "Jun Park")
    make_class(other, "Autumn 1")
    assert other.get("/class/2/cases/1").status_code == 404
    page = other.post("/class/2/drill", {**DRILL, "own": "1"})
    assert page.status_code == 422
    with store.writing():
        class_queries.remove_class(store, 1, 0)
    assert own_case_queries.case_of_id(store, 1) is None


def test_a_minutes_drill_deals_own_cases_first_and_then_drawn_ones(owner: Browser, store: Store) -> None:
    written(owner)
    set_drill(owner, 1, own="1", cases="", minutes="5")
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    listed = drills.cases_on_paper(store, drill).cases
    assert len(listed) == drills.CASES_ON_PAPER
    assert [one.type.id for one in listed[:3]] == ["net-sphere", "net-sphere", "two-spheres"]
    assert [one.words for one in listed[:2]] == [WORDS, ""]
    with store.writing():
        assert drills.to_deal(store, drill, 0, 1).words == WORDS
        assert drills.to_deal(store, drill, 25, 1).words == ""
