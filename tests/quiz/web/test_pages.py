"""The pages through the test client: what they show, what they keep, and what they must not give away."""

from __future__ import annotations

import re
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from html import unescape

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from cases.claims import all_claims
from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_slips, all_types
from cases.evidence.sources import COMMON, all_sources, cited, strength_of
from cases.optics.tolerances import LENS_TABLES
from cases.procedure.case_type import Case
from quiz.accuracy import patterns
from quiz.app import create_app
from quiz.practice import learners
from quiz.practice.settings import LearnerSettings
from quiz.storage import recall_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import Clock, deal, lots, slipped, written

HERE = {"Origin": "http://localhost"}


@dataclass
class Visitor:
    """A browser without scripts, and the data file beneath it."""

    client: FlaskClient
    store: Store
    clock: Clock

    def get(self, url: str) -> TestResponse:
        return self.client.get(url)

    def post(self, url: str, **form: str) -> TestResponse:
        return self.client.post(url, data=form, headers=HERE)

    def deal(self, type_id: str, **more: object) -> Case:
        self.get("/practise")
        self.clock.move(seconds=1)
        return deal(self.store, self.store.learners()[0], type_id, now=self.clock.at, **more)  # type: ignore[arg-type]

    @property
    def case_url(self) -> str:
        waiting = self.store.open_case(self.store.learners()[0].id)
        assert waiting is not None
        return f"/case/{waiting.id}"

    def answer(self, texts: dict[str, str], **more: str) -> TestResponse:
        form = {f"answer-{name}": text for name, text in texts.items()}
        return self.post(f"{self.case_url}/answer", **form, **more)


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots())


@pytest.fixture
def visitor(app: Flask, store: Store, clock: Clock) -> Visitor:
    return Visitor(app.test_client(), store, clock)


def words(response: TestResponse) -> str:
    """Return what a page says, without its markup."""
    main = re.search(r"<main.*?</main>", response.text, re.S)
    assert main is not None
    without = re.sub(r"<(style|script|svg).*?</\1>", "", main.group(0), flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", without)).split())


def heading(response: TestResponse) -> str:
    found = re.findall(r"<h1[^>]*>(.*?)</h1>", response.text, re.S)
    assert len(found) == 1, "one main heading a page"
    return unescape(found[0]).strip()


# --- the first visit and the case that waits ---------------------------------------------------------------------


def test_the_first_visit_is_straight_into_a_case(visitor: Visitor) -> None:
    page = visitor.get("/")
    assert page.status_code == 200
    assert heading(page) == "Case 1 of 10"
    assert "Nothing needs setting up" in words(page)
    assert "<svg" in page.text
    assert page.text.count("autofocus") == 1
    assert [one.name for one in visitor.store.learners()] == ["Learner 1"]


def test_a_reload_shows_the_same_case(visitor: Visitor) -> None:
    first = visitor.get("/practise")
    visitor.clock.move(seconds=600)
    assert words(visitor.get("/practise")) == words(first)


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_a_waiting_case_is_shown_whole_and_does_not_give_its_type_away(visitor: Visitor, type_id: str) -> None:
    case = visitor.deal(type_id)
    page = visitor.get("/practise")
    said = words(page)
    assert " ".join(case.type.question(case.findings).split()) in said
    if stage_of(type_id) is None:  # what is found at the bench is for the learner to find
        assert all(" ".join(line.split()) in said for line in case.type.found(case.findings))
        figure = case.type.figure(case.findings, "found")
        assert figure is None or (figure.use == "none") == (figure.svg not in page.text)
    title = re.search(r"<title>(.*?)</title>", page.text)
    assert title is not None
    assert title.group(1) == "Case 1 of 10 · Two Meridians"
    assert heading(page) == "Case 1 of 10"
    assert case.type.title.casefold() not in said.casefold().replace(case.type.question(case.findings).casefold(), "")
    for ask in case.type.asks:
        assert f'name="answer-{ask.name}"' in page.text


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_a_marked_case_shows_the_working_the_title_and_the_source(visitor: Visitor, type_id: str) -> None:
    case = visitor.deal(type_id)
    case_url = visitor.case_url
    wrong = [one for one in case.singles if not case.type.form_matters]
    marked = visitor.answer(written(case, wrong[0].answer if wrong else None))
    assert (marked.status_code, marked.location) == (303, case_url)
    page = visitor.get(case_url)
    said = words(page)
    assert case.type.title in said
    for line in case.run.lines:
        assert " ".join(line.says.split()) in said
    assert f"Source: {cited(case.type.sources)}." in said
    if wrong:
        assert "Your line" in said
        assert heading(page) in ("One step slipped", "One of these two", "One of these three", "Not right")


# --- answering ---------------------------------------------------------------------------------------------------


def test_a_wrong_choice_is_told_when_it_would_be_right_and_every_choice_has_its_reason(visitor: Visitor) -> None:
    case = visitor.deal("next-lens", wanted=lambda one: one.findings["movement"] != "neutral")
    url = visitor.case_url
    visitor.answer({"lens": "stop"})
    said = words(visitor.get(url))
    assert "Why not That is right when nothing moves and the whole pupil lights up at once." in said
    assert said.count("Not right:") == 2
    assert case.run.lines[-1].says in said


def test_a_case_says_how_far_a_number_may_be_out(visitor: Visitor) -> None:
    visitor.deal("net-sphere")
    assert "Marked right within 0.125 D." in words(visitor.get("/"))


def test_a_slip_is_named_with_both_lines_side_by_side(visitor: Visitor) -> None:
    case = visitor.deal("two-spheres")
    url = visitor.case_url
    visitor.answer(slipped(case, "distance-left-in"), confidence="3")
    page = visitor.get(url)
    said = words(page)
    assert heading(page) == "One step slipped"
    assert "You did not subtract the working distance" in said
    assert "Take the working distance off." in said
    assert "Both meridians are 1.50 D too plus: the sphere is out, not the cylinder or the axis." in said
    assert "Where the 1.50 D went" in said
    (row,) = re.findall(r'<li class="here">(.*?)</li>', page.text, re.S)
    right, mine = row.split("slipped-here")
    assert "Take the distance off" in right
    assert "Step: taking the working distance off." in right
    assert "Nothing taken off" in mine
    assert said.count("did not subtract the working distance") == 1, "a mark says its slip once"
    assert 'class="mine"' in page.text, "the learner's powers are drawn beside the right ones"


def test_what_a_likely_slip_would_mean_is_said_with_an_if(visitor: Visitor) -> None:
    """Always 1.50 for 2.00 D is 0.50 D out, which arithmetic gives too: nothing is said of it as a fact."""
    case = visitor.deal("net-sphere", wanted=lambda one: one.shows("always-one-fifty"))
    url = visitor.case_url
    visitor.answer(slipped(case, "always-one-fifty"))
    said = words(visitor.get(url))
    assert "It looks as if you took" in said
    assert f"If so: {all_slips()['always-one-fifty'].tells}" in said


def test_twins_are_named_as_one_of_two_and_a_case_to_tell_them_apart_is_promised_and_comes(visitor: Visitor) -> None:
    case = visitor.deal("two-spheres", seed=5)
    url = visitor.case_url
    visitor.answer(slipped(case, "sweep-for-streak"))
    page = visitor.get(url)
    assert heading(page) == "One of these two"
    assert "The next case will show which: in it, the two give different answers." in words(page)
    visitor.get("/practise")
    waiting = visitor.store.open_case(1)
    assert waiting is not None
    assert waiting.type == "streak-axis"


def test_an_unreadable_answer_comes_back_with_the_reason_and_the_text(visitor: Visitor) -> None:
    visitor.deal("two-spheres")
    page = visitor.answer({"prescription": '-25 "<b>'}, confidence="2")
    assert page.status_code == 422
    assert 'value="-25 &#34;&lt;b&gt;"' in page.text
    assert 'aria-invalid="true"' in page.text
    assert "Please correct:" in words(page)
    assert re.search(r'value="2" checked', page.text), "and how sure they were"
    assert visitor.store.answers_of(1) == []


def test_at_for_an_axis_is_asked_back_about_and_nothing_is_marked(visitor: Visitor) -> None:
    visitor.deal("two-spheres")
    page = visitor.answer({"prescription": "+1.00 / -1.50 @ 90"})
    assert page.status_code == 422
    said = words(page)
    assert "“@” marks the power along a meridian; did you mean × 90?" in said
    assert "Write +1.00 / −1.50 × 90 if 90 is the axis, +1.00 / −1.50 × 180 if the cylinder acts along 90" in said
    assert visitor.store.answers_of(1) == []


@pytest.mark.parametrize("text", ["?", "don't know", ""])
def test_whoever_does_not_know_is_shown_the_ways_on(visitor: Visitor, text: str) -> None:
    visitor.deal("two-spheres")
    said = "choose “I don’t know” below, or show the working line by line"
    assert said not in words(visitor.get("/practise"))
    assert said in words(visitor.answer({"prescription": text}))
    assert said not in words(visitor.answer({"prescription": "-25"})), "that one was only written unclearly"
    waiting = visitor.store.open_case(1)
    assert waiting is not None
    with visitor.store.writing():
        visitor.store.show_lines(waiting.id, 99)
    assert said not in words(visitor.answer({"prescription": text})), "there is no more to show"
    assert "choose “I don’t know” below." in words(visitor.answer({"prescription": text}))


@pytest.mark.parametrize("url", ["/reference/types", "/work-one-out", "/progress/steps"])
def test_a_type_is_practised_from_wherever_it_is_listed(visitor: Visitor, url: str) -> None:
    """Two keys: the link leads to Today with the type chosen, and its one button to a case of it."""
    visitor.get("/")
    topics = re.findall(r'href="/\?topic=([\w-]+)&amp;what=topic"', visitor.get(url).text)
    there = {one.id for one in all_types().values()} if url == "/reference/types" else {"net-sphere", "two-spheres"}
    assert there <= set(topics)
    if url == "/work-one-out":
        assert all(visitor.get(f"{url}/{one}").text.count("Practise this") == 1 for one in topics[:3])
    page = visitor.get("/?what=topic&topic=two-spheres").text
    assert "First case" in page
    assert 'name="topic" value="two-spheres"' in page


def test_the_bench_offers_the_case_that_is_open_there_and_no_other(visitor: Visitor) -> None:
    assert visitor.get("/bench/case").location == "/bench#cases", "none is open yet"
    visitor.deal("bench-sphere")
    assert "Go on with the open case" not in words(visitor.get("/bench")), "that one is open in Practise"
    visitor.post("/bench/case", sort="short")
    assert "Go on with the open case" in words(visitor.get("/bench"))
    open_case = visitor.store.open_case(1, at_bench=True)
    assert open_case is not None
    assert visitor.get(f"/case/{open_case.id}").location == "/bench/case"
    assert visitor.get("/bench/case").status_code == 200
    ended = visitor.post("/sitting/stop", bench="yes")
    assert "To the bench" in words(visitor.get(str(ended.location)))


def test_the_field_in_error_has_the_focus(visitor: Visitor) -> None:
    visitor.deal("streak-axis")
    page = visitor.answer({"meridian": "90", "axis": "0"})
    field = re.search(r"<input[^>]*autofocus[^>]*>", page.text)
    assert field is not None
    assert 'name="answer-axis"' in field.group(0)
    assert "write 180" in words(page)


def test_a_lens_given_back_as_it_stood_is_sent_back(visitor: Visitor) -> None:
    case = visitor.deal("transpose")
    page = visitor.answer({"prescription": case.type.asks[0].kind.write(case.findings["rx"])})
    assert page.status_code == 422
    assert "write it in plus-cylinder form" in words(page)
    assert visitor.store.answers_of(1) == []


def test_the_other_form_is_credited_and_told(visitor: Visitor) -> None:
    case = visitor.deal("two-spheres")
    url = visitor.case_url
    visitor.answer({"prescription": case.type.asks[0].kind.write(case.truth["prescription"].transposed())})
    page = visitor.get(url)
    assert heading(page) == "The right lens, in the other form"
    assert "Asked for was minus-cylinder form" in words(page)


def test_an_answer_that_can_be_defended_is_credited_and_the_check_that_decides_is_told(visitor: Visitor) -> None:
    """A child's unequal glow: disease behind one pupil is as good an answer as a squint."""
    case = visitor.deal("odd-reflex", wanted=lambda case: case.findings["beside"] == "never-evened")
    url = visitor.case_url
    visitor.answer(written(case, {**case.truth, "meaning": "behind"}))
    page = visitor.get(url)
    assert heading(page) == "Right too"
    assert "Your answer is credited: dense media, such as a dense cataract, or disease behind the pupil" in words(page)
    assert "What would decide: " in words(page)


def test_handing_in_again_changes_nothing(visitor: Visitor) -> None:
    case = visitor.deal("net-sphere")
    url = visitor.case_url
    first = visitor.post(f"{url}/answer", **{"answer-power": written(case)["power"]})
    again = visitor.post(f"{url}/answer", **{"answer-power": written(case)["power"]})
    other = visitor.post(f"{url}/answer", **{"answer-power": "+9.75"})
    assert (first.status_code, again.status_code, other.status_code) == (303, 303, 409)
    assert "The first answer stands." in words(other)
    assert heading(other) == "Right"
    assert len(visitor.store.answers_of(1)) == 1


def test_lines_of_the_working_come_one_by_one_and_the_text_stays(visitor: Visitor) -> None:
    case = visitor.deal("two-spheres")
    url, lines = visitor.case_url, case.run.lines
    for count in range(1, len(lines) + 1):
        page = visitor.post(f"{url}/line", lines=str(count), **{"answer-prescription": "+1 -1 90"})
        said = words(page)
        assert all(line.says in said for line in lines[:count])
        assert 'value="+1 -1 90"' in page.text
        assert "read as +1.00 / −1.00 × 90" in said
    assert "Show the next line" not in said
    assert "That is all of it" in said
    visitor.answer(written(case))
    assert f"{len(lines)} lines of the working had been shown" in words(visitor.get(url))


def test_without_scripts_one_can_see_how_it_reads_before_it_is_marked(visitor: Visitor) -> None:
    visitor.deal("two-spheres")
    page = visitor.get("/practise")
    assert re.search(r"<noscript><button formaction=.*?See how it reads first</button></noscript>", page.text)
    read = visitor.post(f"{visitor.case_url}/read", **{"answer-prescription": "+100 -150x90"})
    assert "read as +1.00 / −1.50 × 90" in words(read)
    assert visitor.store.answers_of(1) == []


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 -1.5 90", {"reads": "+1.00 / −1.50 × 90"}),
        ("+1,00 −1,50 × 90°", {"reads": "+1.00 / −1.50 × 90"}),
        ("pl -2 180", {"reads": "plano / −2.00 × 180"}),
    ],
)
def test_read_as_reads_as_the_core_does(visitor: Visitor, text: str, expected: dict[str, str]) -> None:
    visitor.deal("two-spheres")
    case_id = visitor.case_url.rsplit("/", 1)[1]
    found = visitor.client.get("/read-as", query_string={"case": case_id, "name": "prescription", "text": text})
    assert found.json == expected


def test_read_as_says_why_not_and_never_the_answer(visitor: Visitor) -> None:
    case = visitor.deal("two-spheres")
    case_id = visitor.case_url.rsplit("/", 1)[1]
    for text in ("-25", "", "x" * 500, "+1.00"):
        found = visitor.client.get("/read-as", query_string={"case": case_id, "name": "prescription", "text": text})
        assert found.status_code == 200
        assert case.type.asks[0].kind.write(case.truth["prescription"]) not in found.text
    assert "because" in visitor.get(f"/read-as?case={case_id}&name=nothing&text=1").json  # type: ignore[operator]


# --- sittings ----------------------------------------------------------------------------------------------------


def test_a_sitting_ends_with_its_tenth_case_and_sums_up(visitor: Visitor) -> None:
    learners.keep_settings(visitor.store, learners.only_one(visitor.store, now=0).id, LearnerSettings(level="novice"))  # type: ignore[union-attr]
    for number in range(1, 11):
        visitor.clock.move(seconds=10)
        case = visitor.deal("net-sphere", seed=number)
        url = visitor.case_url
        visitor.answer(slipped(case, "distance-left-in") if number < 3 else written(case))
        page = visitor.get(url)
        assert ("Your results" in words(page)) == (number == 10)
    onward = re.search(r'id="go-on" href="(/sitting/\d+)"', page.text)
    assert onward is not None
    end = visitor.get(onward.group(1))
    said = words(end)
    assert heading(end) == "Your results"
    assert "10 cases: 8 right." in said
    assert "You did not subtract the working distance: twice." in said
    assert "Come back " in said
    assert said.count("Gross to net, one sphere") == 10


def test_stopping_half_way_sums_up_and_keeps_the_open_case(visitor: Visitor) -> None:
    before = words(visitor.get("/practise"))
    stopped = visitor.post("/sitting/stop")
    assert stopped.status_code == 303
    assert "No case was answered in this sitting." in words(visitor.get(stopped.location))
    assert words(visitor.get("/practise")) == before
    assert visitor.get(stopped.location).status_code == 200


def test_a_sitting_of_minutes_shows_no_clock(visitor: Visitor) -> None:
    visitor.post("/settings", sitting="5-minutes")
    assert heading(visitor.get("/practise")) == "Case 1"


# --- settings, people, reference ---------------------------------------------------------------------------------


def test_settings_are_kept_and_used(visitor: Visitor) -> None:
    form = {"form": "plus", "distance_cm": "0.5 m", "level": "novice", "theme": "dark", "sitting": "5-cases"}
    kept = visitor.post("/settings", **form, **{"norm-dark-near-allowance": "1"})
    assert kept.status_code == 303
    page = visitor.get(kept.location)
    assert "Kept." in words(page)
    assert 'data-theme="dark"' in page.text
    assert learners.settings_of(visitor.store.learners()[0]) == LearnerSettings(
        "plus", 50.0, "novice", "dark", "5-cases", {"dark-near-allowance": 1.0}
    )
    assert heading(visitor.get("/practise")) == "Case 1 of 5"


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("distance_cm", "far", "far"),
        ("distance_cm", "4000 cm", "4000"),
        ("distance_cm", "6.7 cm", "20 to 150"),
        ("norm-dark-near-allowance", "9", "give 0.5 to 2 D"),
        ("norm-lag-usual-low", "soon", "soon"),
        ("norm-lag-usual-low", "+1.00", "its lower end lies above its upper end"),
        ("level", "wizard", "give one of novice, competent, expert"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_in_its_place(visitor: Visitor, name: str, text: str, why: str) -> None:
    page = visitor.post("/settings", **{name: text, "form": "plus"})
    assert page.status_code == 422
    assert why in words(page)
    assert learners.settings_of(visitor.store.learners()[0]) == LearnerSettings()


def test_several_people_are_asked_who_they_are(app: Flask, visitor: Visitor) -> None:
    visitor.get("/practise")
    added = visitor.post("/people", name="Zsófia")
    assert added.status_code == 303
    assert "Zsófia" in visitor.get("/progress").text
    stranger = Visitor(app.test_client(), visitor.store, visitor.clock)
    asked = stranger.get("/practise")
    assert (asked.status_code, asked.location) == (303, "/people")
    assert "I am Learner 1" in words(stranger.get("/people"))
    stranger.post("/people/1/pick")
    assert "Learner 1" in stranger.get("/progress").text


def test_removing_needs_the_tick_and_removes_everything(visitor: Visitor) -> None:
    visitor.get("/practise")
    assert visitor.post("/people/remove").status_code == 422
    assert len(visitor.store.learners()) == 1
    assert visitor.post("/people/remove", sure="yes").status_code == 303
    assert visitor.store.learners() == []
    assert visitor.get("/practise").status_code == 200


@pytest.mark.parametrize(
    ("name", "why"), [("", "no name was given"), ("Learner 1", "is taken"), ("a" * 80, "60 is the most")]
)
def test_a_name_that_cannot_be_is_refused(visitor: Visitor, name: str, why: str) -> None:
    visitor.get("/practise")
    page = visitor.post("/people", name=name)
    assert page.status_code == 422
    assert why in words(page)


def test_the_reference_names_every_type_with_its_sources_and_every_caution(visitor: Visitor) -> None:
    said = words(visitor.get("/reference"))
    assert 'href="/reference/types"' in visitor.get("/reference").text
    listed = words(visitor.get("/reference/types"))
    for one in all_types().values():
        assert one.title in listed
        assert cited(one.sources)[1:] in listed
    for caution in (
        "not a prescription",
        "warnings and never a dose",
        "absent, white or grossly unequal",
        "local rules",
    ):
        assert caution in said


def test_the_reference_gives_the_limits_of_lenses_with_source_and_standing(visitor: Visitor) -> None:
    said = words(visitor.get("/reference"))
    for table in LENS_TABLES:
        assert table.title in said
        assert all(f"{size} {allowed}" in said for size, allowed in table.rows())
    assert "These figures are superseded." in said
    assert "ISO 21987" not in said
    assert "no answer is marked by these" in said


def test_every_slip_stands_by_name_on_a_page_that_the_reference_leads_to(visitor: Visitor) -> None:
    reference = visitor.get("/reference")
    assert 'href="/reference/slips"' in reference.text
    page = visitor.get("/reference/slips")
    listed, more = (visitor.get(f"/reference/slips{of}").text.count("<dt>") for of in ("", "?of=examination"))
    assert f"All {listed} slips" in words(reference)
    assert f"All {listed}" in words(page), "the numbers differed"
    assert f"{more} more that only" in words(reference)
    assert listed + more == len(all_slips())
    assert 'href="/reference/slips?of=examination"' in page.text
    said = words(page) + words(visitor.get("/reference/slips?of=examination"))
    for one in all_slips().values():
        assert " ".join(one.tells.split()).replace("'", "’") in said


def test_every_claim_stands_by_the_strength_of_its_sources_on_a_page_that_the_reference_leads_to(
    visitor: Visitor,
) -> None:
    assert 'href="/reference/evidence"' in visitor.get("/reference").text
    index = visitor.get("/reference/evidence")
    said = words(index)
    pages = re.findall(r'href="(/reference/evidence/[\w-]+)"', index.text)
    said += "".join(words(visitor.get(url)) for url in pages)
    keys = (*(one.sources for one in all_claims()), *(one.sources for one in patterns.THRESHOLDS))
    counted = Counter(map(strength_of, keys))
    assert f"{counted['trial or cohort']} claims Trials and cohorts" in said
    assert f"{counted['common practice']} claims Common practice" in said
    for title in (*(one.title for one in all_claims()), *(one.says for one in patterns.THRESHOLDS)):
        assert " ".join(title.split()) in said
    for source in all_sources().values():
        assert (source.cite[1:] in said) == (source.named or source.key == COMMON), source.key


def test_a_prompt_goes_round_without_scripts(visitor: Visitor) -> None:
    assert "Working distance" in words(visitor.get("/recall"))
    asked = visitor.get("/recall/distance").location
    page = visitor.get(asked)
    assert "Source:" not in words(page)
    assert visitor.post(asked, typed=" ").status_code == 422
    assert visitor.get("/recall/distance").location == asked, "leaving and coming back shows the same"
    assert visitor.post(asked, typed="where I sit").location == asked
    held = visitor.get(asked)
    assert "where I sit" in words(held)
    assert "Source:" in words(held)
    assert recall_queries.recall_marks_of(visitor.store, 1) == []
    assert visitor.post(f"{asked}/mark").location == "/recall/distance"
    assert visitor.post(f"{asked}/mark", **{"part-0": "yes"}).status_code == 303
    assert [one.had for one in recall_queries.recall_marks_of(visitor.store, 1)] == [False]
    assert heading(visitor.get(visitor.get("/recall/distance").location)) != heading(page)


def test_no_page_counts_prompts_or_steps_by_their_state(visitor: Visitor) -> None:
    for number in range(6):
        visitor.deal("net-sphere", seed=number + 3)
        visitor.post(f"{visitor.case_url}/dont-know")
    visitor.clock.move(days=3)
    for url in ("/", "/recall", "/look-up"):
        assert not re.search(r"\b\d+ (new|due|left|held|to meet|likely|prompts?)\b", words(visitor.get(url))), url


@pytest.mark.parametrize(
    "url",
    [
        "/",
        "/practise",
        "/recall",
        "/reference",
        "/reference/slips",
        "/reference/types",
        "/reference/terms",
        "/reference/evidence",
        "/settings",
        "/people",
        "/nowhere",
    ],
)
def test_every_page_has_one_heading_the_navigation_and_the_caution(visitor: Visitor, url: str) -> None:
    visitor.get("/practise")
    page = visitor.get(url)
    heading(page)
    assert "For training; not a prescription." in page.text
    assert ('class="places"' in page.text) != ('class="place-in"' in page.text), (
        "the four places, or the place in a run"
    )
    assert "style=" not in page.text
    assert not re.search(r"<script(?![^>]*\bsrc=)", page.text)
    assert not re.search(r"\bon\w+=", page.text)
    assert "placeholder=" not in page.text


# --- trouble -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "url", ["/nowhere", "/case/none", "/sitting/99", "/recall/none", "/recall/prompt/none", "/read-as?case=none"]
)
def test_what_is_not_there_is_a_page_that_says_so(visitor: Visitor, url: str) -> None:
    page = visitor.get(url)
    assert page.status_code == 404
    assert heading(page) == "Nothing here"


def test_a_fault_is_a_page_too_and_says_what_is_kept(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("quiz.practice.dealing.waiting", broken)
    page = visitor.get("/practise")
    assert page.status_code == 500
    assert heading(page) == "A fault of ours"
    assert "What you had answered is kept." in words(page)
    assert "ZeroDivisionError" not in page.text


def test_scripts_get_json(visitor: Visitor) -> None:
    found = visitor.client.get("/case/none", headers={"Accept": "application/json"})
    assert found.status_code == 404
    assert found.json is not None
    assert found.json["error"].startswith("No such case was dealt to you")


def test_a_form_too_long_is_refused(visitor: Visitor) -> None:
    visitor.get("/practise")
    assert visitor.answer({"power": "1" * 100_000}).status_code == 413


@pytest.mark.of_the_file("another program holds the file's one lock")
def test_a_busy_data_file_is_said_to_be_busy(data_file: DataFile, visitor: Visitor) -> None:
    visitor.deal("net-sphere")
    url = visitor.case_url
    with closing(data_file.connect().conn) as other:
        other.execute("BEGIN IMMEDIATE")
        data_file.patience = 0.1
        page = visitor.post(f"{url}/answer", **{"answer-power": "+1.00"})
        other.execute("ROLLBACK")
    assert page.status_code == 503
    assert heading(page) == "The data file is busy"
    assert visitor.post(f"{url}/answer", **{"answer-power": "+1.00"}).status_code == 303
