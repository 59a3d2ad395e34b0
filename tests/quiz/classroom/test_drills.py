"""Drills: which cases, for whom, when, and their results."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from flask import Flask

from cases.curriculum.register import all_types, case_type
from cases.procedure.settings import Settings
from cases.worksheet import drawn_list
from quiz.app import create_app
from quiz.classroom import classes, drills, sign_in
from quiz.classroom.drills import BadPlan, Outcome, Plan
from quiz.storage import class_queries
from quiz.storage.class_queries import Class, Drill
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from quiz.web.drill_views import per_cent_words
from tests.conftest import NOON, Clock, all_rows, lots, slipped
from tests.quiz.class_people import (
    DRILL,
    NAME,
    PASSWORD,
    Browser,
    answer,
    case_page,
    learner,
    make_class,
    preceptor,
    set_drill,
    waiting_in,
)

PLAN = Plan("Net from gross", ("net-sphere", "two-spheres"))


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@pytest.fixture
def spring(store: Store) -> Class:
    sign_in.add_preceptor(store, "Marit Osei", "a streak at ninety", now=NOON)
    who = class_queries.preceptor_named(store, "Marit Osei")
    assert who is not None
    found = class_queries.class_of_id(store, classes.make(store, who, "Spring 2", now=NOON, lots=lots()))
    assert found is not None
    return found


def made(store: Store, spring: Class, plan: Plan = PLAN) -> Drill:
    return drills.own(store, spring, drills.make(store, spring, plan, now=NOON, lots=lots()))


# --- cases -------------------------------------------------------------------------------------------------------


def test_all_get_the_same_cases_or_each_their_own(store: Store, spring: Class) -> None:
    same, own = made(store, spring), made(store, spring, replace(PLAN, same=False))
    for place in range(6):
        assert drills.case_at(same, place, 1).findings == drills.case_at(same, place, 2).findings
        again = drills.case_at(own, place, 1).findings
        assert again == drills.case_at(own, place, 1).findings, "the same learner always meets the same"
    mine, other = ([drills.case_at(own, place, who).findings for place in range(6)] for who in (1, 2))
    assert mine != other


def test_a_drill_has_the_cases_of_the_command_lines_worksheet(store: Store, spring: Class) -> None:
    """`python -m cases sheet --types net-sphere,two-spheres --seed SEED` prints what the learners meet."""
    drill = made(store, spring)
    types = [case_type(one) for one in drill.types]
    paper = drawn_list(types, count=10, seed=drill.seed, settings=Settings()).cases
    assert [one.findings for one in paper] == [drills.case_at(drill, place).findings for place in range(10)]


def test_families_take_turns_and_no_type_is_left_out_for_good(store: Store, spring: Class) -> None:
    """A drill named for two families asks of both, however short it is."""
    types = tuple(one.id for one in all_types().values() if one.family.id in ("distance", "meridians"))
    longest = made(store, spring, Plan("All", types, cases=len(types)))
    assert sorted(longest.types) == sorted(types)
    assert [case_type(one).family.id for one in longest.types[:4]] == ["distance", "meridians"] * 2
    reached = {one for seed in range(40) for one in drills.in_turn(types, 4, seed)[:4]}
    assert reached == set(types)


def test_a_fixed_distance_form_and_level_are_kept_to(store: Store, spring: Class) -> None:
    plan = replace(PLAN, distance_cm=50.0, fixed_distance=True, form="plus")
    drill = made(store, spring, plan)
    for place in range(8):
        case = drills.case_at(drill, place)
        assert case.findings["distance_cm"] == 50
        assert case.form in (None, "plus")


def test_cases_for_standing_slips_would_show_one_of_them(store: Store, spring: Class) -> None:
    slip = ("take-off-distance", "distance-left-in")
    types = drills.types_for([slip], Settings())
    assert "two-spheres" in types
    drill = made(store, spring, Plan("Distance", types, slips=(slip,), cases=len(types)))
    for place in range(len(types)):
        assert drills.case_at(drill, place).shows("distance-left-in")


def test_every_type_can_be_drilled_at_every_level_or_the_form_says_which_cannot(store: Store, spring: Class) -> None:
    refused = []
    for level in ("novice", "competent", "expert"):
        for one in all_types():
            try:
                drill = made(store, spring, Plan("x", (one,), level=level))
            except BadPlan as error:
                refused.append(error.name)
                continue
            assert drills.case_at(drill, 0).type.id == one
    assert set(refused) <= {"types"}


# --- plans -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"types": ()}, "types"),
        ({"types": ("nothing",)}, "types"),
        ({"title": ""}, "title"),
        ({"cases": 0}, "cases"),
        ({"cases": 101}, "cases"),
        ({"cases": None}, "cases"),
        ({"cases": None, "minutes": 0.5}, "minutes"),
        ({"pass_mark": 101}, "pass_mark"),
        ({"opens_at": 2.0, "closes_at": 1.0}, "closes_at"),
        ({"distance_cm": 4.0}, "distance_cm"),
        ({"notes": "x" * 1001}, "notes"),
        ({"level": "wizard"}, "level"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_its_place(change: dict[str, object], name: str) -> None:
    with pytest.raises(BadPlan) as refused:
        replace(PLAN, **change)  # type: ignore[arg-type]
    assert refused.value.name == name


def test_a_form_in_error_keeps_what_was_typed_and_ticked(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    form = {**DRILL, "type": ["transpose"], "cases": "many", "title": "Turning", "feedback": "end"}
    page = owner.post(f"/class/{number}/drill", form)
    assert page.status_code == 422
    assert "cases “many”: give a whole number" in page.text
    for kept in ('value="Turning"', 'value="transpose" checked', 'value="many"', 'value="end" checked'):
        assert kept in page.text


def test_every_fault_of_a_form_is_told_at_once_and_the_first_has_the_focus(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    wrong = {"type": [], "cases": "many", "title": "x" * 81, "distance_cm": "far", "notes": "x" * 1001}
    late = {"opens_at": "soon", "closes_at": "2001-03-03T14:00", "pass_mark": "all of it", "level": "wizard"}
    page = owner.post(f"/class/{number}/drill", {**DRILL, **wrong, **late})
    assert page.status_code == 422
    told = (
        "no type of case is chosen",
        "“wizard”: give one of novice, competent, expert",
        "cases “many”: give a whole number",
        "81 characters: 80 are the most",
        "“far” has no meaning here",
        "“soon”: write the day and time",
        "that time has passed already",
        "pass mark “all of it”: give a whole number",
        "1001 characters: 1000 are the most",
    )
    assert page.text.count("Please correct:</strong>") == len(told)
    places = [page.text.index(one) for one in told]
    assert places == sorted(places), "in the order of the form"
    assert page.text.count("autofocus") == 1
    assert re.search(r'name="family" value="[^"]+" autofocus', page.text)
    page = owner.post(f"/class/{number}/drill", {**DRILL, "minutes": "-", "pass_mark": "0"})
    assert re.findall(r'id="(\w+)"[^>]* autofocus', page.text) == ["minutes"]
    assert "a pass mark of 0 %: give 1 to 100" in page.text
    assert class_queries.drills_of(store, number) == []


def test_a_time_to_close_that_has_passed_is_refused(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    page = owner.post(f"/class/{number}/drill", {**DRILL, "closes_at": "2001-03-03T14:00"})
    assert page.status_code == 422
    assert "that time has passed already" in page.text
    url = set_drill(owner, number, opened=False, pass_mark="80 %")  # noqa: S106 - no password
    assert "80 %" in owner.get(url).text
    assert owner.post(f"{url}/edit", {**DRILL, "closes_at": "2001-03-03T14:00"}).status_code == 422


def test_a_family_stands_for_its_types_up_to_the_level(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    set_drill(owner, number, type=[], family=["algebra"], level="novice", title="")
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    known = {one.id for one in all_types().values() if one.family.id == "algebra" and one.level == "novice"}
    assert set(drill.types) == known != set()
    assert drill.title == "Lens algebra"


# --- opening and closing -----------------------------------------------------------------------------------------


def status(browser: Browser, url: str = "/drill/1") -> int:
    return browser.get(url).status_code


def test_a_draft_is_seen_by_no_learner_and_opens_closes_and_opens_again(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number, opened=False)
    ada = learner(app, code, "Ada")
    assert "Drills open to you" not in ada.get("/").text
    assert (status(ada), ada.post("/drill/1/begin").status_code) == (404, 404)
    owner.post(f"{url}/open")
    assert "Drills open to you" in ada.get("/").text
    ada.post("/drill/1/begin")
    dealt, _ = waiting_in(ada.get("/drill/1"), store)
    owner.post(f"{url}/close")
    assert "Drills open to you" not in ada.get("/").text
    late = ada.post(f"/case/{dealt}/answer", {"answer-power": "+1.00"})
    assert late.status_code == 303, "an answer to a case that was given is taken"
    assert "This drill has closed. What you answered is kept." in ada.get("/drill/1").text
    owner.post(f"{url}/open")
    assert waiting_in(ada.get("/drill/1"), store)[0] != dealt, "it goes on where it was left"


def test_a_drill_opens_and_closes_by_the_clock(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number)
    with store.writing():
        class_queries.set_times(store, 1, NOON + 60, NOON + 120)
    ada = learner(app, code, "Ada")
    found = []
    for _ in range(3):
        found.append(status(ada))
        clock.move(seconds=60)
    assert found == [404, 200, 404]
    again = owner.post(f"/class/{number}/drill/1/open")
    assert again.status_code == 409
    assert "its time to close has passed: give a later one" in again.text
    assert owner.post(f"/class/{number}/drill/1/open", {"closes_at": ""}).status_code == 303
    assert status(ada) == 200, "opened again by hand, without a time to close"


def test_a_drill_closed_by_hand_keeps_the_time_to_close_that_was_set(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    url = set_drill(owner, number)
    with store.writing():
        class_queries.set_times(store, 1, None, NOON + 3600)
    owner.post(f"{url}/close")
    clock.move(seconds=60)
    owner.post(f"{url}/open")
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    assert (drill.closes_at, drill.closed_at, drill.state) == (NOON + 3600, None, "open")


def test_the_cases_of_a_drill_that_was_begun_stay_and_it_is_not_removed_but_copied(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number)
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    form = {**DRILL, "type": ["transpose"], "title": "Other"}
    page = owner.get(f"{url}/edit").text
    assert "This cannot be changed any more" in page
    assert 'name="type"' not in page
    assert owner.post(f"{url}/edit", {**form, "title": "Net from gross", "level": "expert"}).status_code == 303
    kept = class_queries.drill_of_id(store, 1)
    assert kept is not None
    assert (kept.types, kept.level) == (("net-sphere", "two-spheres"), "competent")
    assert owner.post(f"{url}/remove").status_code == 409
    copied = owner.post(f"{url}/copy").location
    assert copied == f"/class/{number}/drill/2/edit"
    one, two = class_queries.drill_of_id(store, 1), class_queries.drill_of_id(store, 2)
    assert one is not None
    assert two is not None
    assert (two.types, two.state, two.title) == (one.types, "draft", "Net from gross (copy)")
    assert two.seed != one.seed
    owner.post(copied, dict(form))
    changed = class_queries.drill_of_id(store, 2)
    assert changed is not None
    assert changed.types == ("transpose",)
    assert owner.post(f"/class/{number}/drill/2/remove").status_code == 303
    assert class_queries.drill_of_id(store, 2) is None


def test_a_drill_for_one_learner_is_for_nobody_else(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    for _ in range(3):
        _, case = waiting_in(case_page(ada), store)
        wrong = next(iter(case.singles), None)
        answer(ada, store, "/practise", None if wrong is None else slipped(case, wrong.slips[0].slip))
    assert owner.get(f"/class/{number}/drill/new?learner=1").status_code == 200
    set_drill(owner, number, for_learner="1")
    assert (status(ada), status(bo)) == (200, 404)
    owner_of_other = Browser(app)
    sign_in.add_preceptor(store, "Jun Park", "a streak at ninety", now=NOON)
    owner_of_other.sign_in("Jun Park")
    other, _ = make_class(owner_of_other, "Autumn 1")
    assert owner_of_other.get(f"/class/{other}/drill/new?learner=1").status_code == 404


def test_trying_keeps_nothing(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    url = set_drill(owner, number, opened=False)
    drill = class_queries.drill_of_id(store, 1)
    assert drill is not None
    case = drills.case_at(drill, 0)
    before = "\n".join(all_rows(store))
    form = {f"answer-{name}": text for name, text in slipped(case, "distance-left-in").items()}
    page = owner.post(f"{url}/try/1", dict(form))
    assert "One step slipped" in page.text
    assert f'href="{url}/try/2"' in page.text
    assert owner.post(f"{url}/try/1", {"answer-power": "-25"}).status_code == 422
    assert owner.get(f"{url}/try/5").status_code == 404
    assert "You said that you did not know." in owner.post(f"{url}/try/1", {"unknown": "yes"}).text
    assert "\n".join(all_rows(store)) == before


def test_a_case_at_the_bench_is_tried_at_the_bench(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    url = set_drill(owner, number, opened=False, type=["bench-sphere"], cases="1")
    page = owner.get(f"{url}/try/1?sphere=2").text
    assert 'id="bench"' in page
    assert re.search(r'name="sphere" value="\+2\.00"', page)
    assert "give −20 to 20 D" in owner.get(f"{url}/try/1?sphere=99").text
    bare, lens = (owner.get(f"{url}/try/1/seen?sphere={power}").text for power in (0, 20))
    assert "reflex" in bare
    assert bare != lens
    assert owner.get(f"{url}/try/1/seen?view=7").status_code == 404


def test_what_only_the_bench_can_show_is_not_offered_on_paper(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, _ = make_class(owner)
    mixed = set_drill(owner, number, type=["net-sphere", "bench-sphere"], cases="4")
    page = owner.get(mixed).text
    assert f"{mixed}/sheet" in page
    assert "2 of its 4 cases" in page
    bench = set_drill(owner, number, type=["bench-sphere"])
    page = owner.get(bench).text
    assert "Every case is at the bench" in page
    for there in ("sheet", "qti-2.1.zip", "qti-3.0.zip", "moodle.xml"):
        assert f"{bench}/{there}" not in page
        refused = owner.get(f"{bench}/{there}")
        assert refused.status_code == 400
        assert "cannot be answered on paper" in refused.text


# --- a way through -----------------------------------------------------------------------------------------------


def test_a_drill_and_ordinary_practice_stand_side_by_side(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number)
    ada = learner(app, code, "Ada")
    ordinary, _ = waiting_in(case_page(ada), store)
    ada.post("/drill/1/begin")
    drilled, _ = waiting_in(ada.get("/drill/1"), store)
    assert ordinary != drilled
    clock.move(days=3)
    assert waiting_in(ada.get("/drill/1"), store)[0] == drilled, "a place in a drill is kept for days"
    ada.post("/drill/1/begin")
    assert waiting_in(ada.get("/drill/1"), store)[0] == drilled, "beginning twice begins once"
    for _ in range(4):
        answer(ada, store, "/drill/1")
    assert "4 of 4 right: 100 %." in ada.get("/drill/1").text
    assert ada.post("/drill/1/begin").status_code == 303
    assert len(store.fetch("SELECT * FROM sittings WHERE drill = 1")) == 1


def test_a_case_left_out_of_a_drill_of_cases_counts_as_not_right() -> None:
    plan = vars(replace(PLAN, pass_mark=50))
    came = drills.outcome(Drill(id=1, class_id=1, seed=1, made_at=NOON, state="open", **plan), 0, 0)
    assert (came.right, came.asked, came.per_cent, came.passed) == (0, 10, 0, False)


def test_ordinary_practice_leans_on_an_open_drill_for_half_of_a_sitting_at_most(app: Flask, store: Store) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    set_drill(owner, number, type=["transpose"], level="novice")
    ada = learner(app, code, "Ada")
    for _ in range(10):
        answer(ada, store, "/practise")
    drilled = [one.type for one in store.answers_of(1) if one.for_drill]
    assert set(drilled) <= {"transpose"}
    assert 1 <= len(drilled) <= 5


def test_what_a_closed_drill_cut_short_is_not_called_under_way(app: Flask, store: Store, clock: Clock) -> None:
    owner = preceptor(app, store)
    number, code = make_class(owner)
    url = set_drill(owner, number, same="own")
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    assert "under way" in owner.get(url).text
    assert "those on paper are none of theirs" in owner.get(url).text
    ada.get("/drill/1")
    clock.move(seconds=60)
    owner.post(f"{url}/close")
    assert "not finished when it closed" in owner.get(url).text
    assert "under way" not in owner.get(url).text
    assert "late" not in owner.get(url).text
    clock.move(seconds=60)
    assert "the answer is saved and shown as late, and is not counted" in ada.get("/drill/1").text
    answer(ada, store, "/drill/1")
    assert re.search(r"not finished when it closed, <a[^>]*>1 late<", owner.get(url).text)
    owner.post(f"{url}/open")
    assert "under way" in owner.get(url).text
    assert "This drill has closed" not in ada.get("/drill/1").text


@pytest.mark.parametrize(
    ("right", "asked", "pass_mark", "words"),
    [
        (4, 6, None, "67 %"),
        (4, 6, 60, "67 %"),
        (4, 6, 67, "66 % (rounded down)"),
        (1, 8, None, "13 %"),
        (43, 72, 60, "59 % (rounded down)"),
        (3, 5, 60, "60 %"),
        (199, 200, None, "99 % (rounded down)"),
        (6, 6, 100, "100 %"),
    ],
)
def test_a_share_is_rounded_and_never_up_to_a_pass_mark_that_is_not_reached(
    right: int, asked: int, pass_mark: int | None, words: str
) -> None:
    passed = None if pass_mark is None else 100 * right >= pass_mark * asked
    assert per_cent_words(Outcome(right, asked, asked, passed, pass_mark)) == words


def test_an_empty_name_of_a_class_and_a_wrong_password_are_refused_in_plain_words(app: Flask, store: Store) -> None:
    one = preceptor(app, store)
    assert "Enter a name for the class." in one.post("/class", {"name": " "}).text
    refused = Browser(app).sign_in(password="not that one")  # noqa: S106 - a wrong one
    assert "ask the person who runs the server" in refused.text
    assert "add-preceptor" not in refused.text


def test_an_error_page_sends_a_preceptor_to_their_classes(app: Flask, store: Store) -> None:
    one = preceptor(app, store)
    number, _ = make_class(one)
    for url in ("/nowhere", f"/class/{number}/drill/99"):
        page = one.get(url)
        assert page.status_code == 404
        assert "Your classes are under Class" in page.text
        assert "Today" not in page.text
    ada = learner(app, make_class(one, "Autumn 1")[1], "Ada")
    assert "Today goes on" in ada.get("/nowhere").text


def test_a_preceptor_reads_whose_settings_and_practice_they_see(
    store: Store, data_file: DataFile, clock: Clock
) -> None:
    alone = create_app(data_file, clock=clock, lots=lots(), hosts=None)
    one, owner = Browser(alone), "the learner at this computer"
    one.get("/")
    assert owner not in one.get("/settings").text
    sign_in.add_preceptor(store, NAME, PASSWORD, now=NOON)
    one.sign_in()
    assert owner in one.get("/settings").text
    assert owner in one.get("/progress").text
    assert owner not in one.get("/class").text
