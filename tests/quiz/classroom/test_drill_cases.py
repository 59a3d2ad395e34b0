"""A drill keeps its cases: whatever a later version draws, learner, worksheet, key, exports and results agree."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from cases.procedure.case_type import Case
from quiz.app import create_app
from quiz.classroom import drills, take_drill
from quiz.classroom.drills import NotReadable
from quiz.exports.own_data import json_lines
from quiz.practice import learners
from quiz.storage import class_queries
from quiz.storage.class_queries import Drill
from quiz.storage.datafile import DataFile
from quiz.storage.safekeeping.backups import backup, restore
from quiz.storage.safekeeping.checks import check
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, drawn_otherwise, lots
from tests.fixtures.make import HERE, made
from tests.quiz.class_people import Browser, answer, learner, make_class, preceptor, set_drill, waiting_in

TYPES = ("net-sphere", "two-spheres")


@pytest.fixture
def app(data_file: DataFile, clock: Clock) -> Flask:
    return create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)


@pytest.fixture
def owner(app: Flask, store: Store) -> Browser:
    return preceptor(app, store)


def the_drill(store: Store, number: int = 1) -> Drill:
    found = class_queries.drill_of_id(store, number)
    assert found is not None
    return found


def paper(store: Store) -> list[Any]:
    return [one.findings for one in drills.kept_on_paper(store, the_drill(store))]


def digest_on(page: TestResponse) -> str:
    found = re.search(r"Check code of the cases: <strong>([0-9A-F]{4}-[0-9A-F]{4})</strong>", page.text)
    assert found is not None, page.text[:600]
    return found.group(1)


def findings_of(cases: Sequence[Case]) -> list[Any]:
    return [one.type.findings.to_json(one.findings) for one in cases]


FROM_ITS_CASES = (
    *("sheet", "sheet?key=yes", "sheet?key=brief", "sheet?version=B", "sheet?version=B&key=yes"),
    *("cases.json", "qti-2.1.zip", "qti-3.0.zip", "moodle.xml", "try/1", "try/4"),
)


def printed(owner: Browser, url: str) -> list[bytes]:
    """Take everything that a drill's pages make from its cases."""
    replies = [owner.get(f"{url}/{one}") for one in FROM_ITS_CASES]
    assert {one.status_code for one in replies} == {200}
    return [one.data for one in replies]


def test_what_draws_otherwise_really_does(owner: Browser, store: Store) -> None:
    set_drill(owner, make_class(owner)[0])
    before = findings_of([drills.case_at(the_drill(store), place) for place in range(4)])
    with drawn_otherwise(*TYPES):
        after = findings_of([drills.case_at(the_drill(store), place) for place in range(4)])
    assert all(one != other for one, other in zip(before, after, strict=True))


def test_a_drill_keeps_its_cases_when_a_type_draws_otherwise(app: Flask, owner: Browser, store: Store) -> None:
    """Issue 13, point 1: one learner before the change and one after it, sheet before and key after it, exports."""
    number, code = make_class(owner)
    url = set_drill(owner, number)
    before, ada, bo = printed(owner, url), learner(app, code, "Ada"), learner(app, code, "Bo")
    ada.post("/drill/1/begin")
    for _ in range(2):
        answer(ada, store, "/drill/1")
    waiting = waiting_in(ada.get("/drill/1"), store)[1]
    with drawn_otherwise(*TYPES):
        assert waiting_in(ada.get("/drill/1"), store)[1].findings == waiting.findings
        for _ in range(2):
            answer(ada, store, "/drill/1")
        bo.post("/drill/1/begin")
        for _ in range(4):
            answer(bo, store, "/drill/1")
        assert printed(owner, url) == before
        listed = drills.cases_on_paper(store, the_drill(store)).cases
        given = [[one.findings for one in store.answers_of(who)] for who in (1, 2)]
        assert given[0] == given[1] == findings_of(listed)
        key = owner.get(f"{url}/sheet?key=yes")
        assert digest_on(key) == digest_on(owner.get(f"{url}/sheet"))
        assert all(escape(line.says) in key.text for case in listed for line in case.run.lines)
        assert "8 answers of 2 learners, 8 right" in " ".join(owner.get("/class/1/results?drill=1").text.split())
        lines = owner.get("/class/1/statements.jsonl?drill=1").text.splitlines()
        objects = {json.dumps(json.loads(line)["object"]) for line in lines}
        assert (len(lines), len(objects)) == (8, 4), "the same case is the same object, before and after"


def test_a_test_in_an_order_for_each_has_the_cases_that_it_kept(app: Flask, owner: Browser, store: Store) -> None:
    """Put back, in another order, under a time: one learner before the change of drawing, one after it."""
    number, code = make_class(owner)
    more: dict[str, Any] = {
        "test": "yes",
        "limit_minutes": "30",
        "feedback": "end",
        "shuffled": "yes",
        "may_return": "yes",
    }
    url = set_drill(owner, number, **more)
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    ada.post("/drill/1/begin")
    first, case = waiting_in(ada.get("/drill/1"), store)
    ada.post("/drill/1/put-back", {"case": first})
    with drawn_otherwise(*TYPES):
        for who in (ada, bo):
            who.post("/drill/1/begin")
            for _ in range(4):
                answer(who, store, "/drill/1")
        given = [{one.seed: one.findings for one in store.answers_of(who)} for who in (1, 2)]
        assert given[0] == given[1] == dict(zip(seeds(store), paper(store), strict=True))
        assert findings_of([case])[0] in paper(store)
        scores = " ".join(owner.get(f"{url}/scores").text.split())
        assert scores.count("2 of 2") >= 4, "every case was answered by both, in whatever order"


def seeds(store: Store) -> list[int]:
    return [one.seed for one in drills.kept_on_paper(store, the_drill(store))]


def test_a_case_of_ones_own_stays_once_it_was_dealt_and_the_printed_ones_stay(
    app: Flask, owner: Browser, store: Store
) -> None:
    """Issue 13, point 1: where each learner has their own cases, what was dealt is kept, and what is printed."""
    number, code = make_class(owner)
    url = set_drill(owner, number, same="own")
    sheet, ada = owner.get(f"{url}/sheet"), learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    dealt, case = waiting_in(ada.get("/drill/1"), store)
    answer(ada, store, "/drill/1")
    after, waiting = waiting_in(ada.get("/drill/1"), store)
    mark = ada.get(f"/case/{dealt}").text
    with drawn_otherwise(*TYPES):
        assert waiting_in(ada.get("/drill/1"), store) == (after, waiting)
        assert ada.get(f"/case/{dealt}").text == mark
        kept = store.answers_of(1)[0]
        assert kept.findings == findings_of([case])[0]
        assert owner.get(f"/class/{number}/answer/{dealt}").status_code == 200
        assert owner.get(f"{url}/sheet").data == sheet.data
        assert digest_on(owner.get(f"{url}/sheet?key=yes")) == digest_on(sheet)
    assert findings_of([case])[0] not in paper(store)


def test_a_drill_of_minutes_keeps_what_it_deals_beyond_its_paper(app: Flask, owner: Browser, store: Store) -> None:
    number, code = make_class(owner)
    set_drill(owner, number, cases="", minutes="60")
    ada, bo = learner(app, code, "Ada"), learner(app, code, "Bo")
    ada.post("/drill/1/begin")
    for _ in range(drills.CASES_ON_PAPER + 2):
        answer(ada, store, "/drill/1")
    with drawn_otherwise(*TYPES):
        bo.post("/drill/1/begin")
        for _ in range(drills.CASES_ON_PAPER + 2):
            answer(bo, store, "/drill/1")
    one, other = ([given.findings for given in store.answers_of(who)] for who in (1, 2))
    assert one == other
    assert one[: drills.CASES_ON_PAPER] == paper(store)


def test_a_draft_keeps_its_cases_until_what_decides_on_them_is_changed(owner: Browser, store: Store) -> None:
    """A sheet may have been printed from a draft: another title leaves its key good, other types do not."""
    number, _ = make_class(owner)
    url = set_drill(owner, number, opened=False)
    before, sheet = paper(store), owner.get(f"{url}/sheet")
    drill = the_drill(store)
    with drawn_otherwise(*TYPES):
        drills.change(store, drill, replace(drills.plan_of(drill), title="Net"), now=NOON)
        assert paper(store) == before
        owner.post(f"{url}/open")
        assert paper(store) == before
        drills.change(store, the_drill(store), replace(drills.plan_of(drill), level="novice"), now=NOON)
        assert len(paper(store)) == len(before)
        assert paper(store) != before
    refused = owner.get(f"{url}/sheet?key=yes&digest={digest_on(sheet)}")
    assert refused.status_code == 409
    assert f"heck code {digest_on(sheet)} was given" in refused.text
    assert "print the sheet and its key again" in refused.text


def test_a_copy_has_cases_of_its_own_and_what_is_removed_leaves_none(app: Flask, owner: Browser, store: Store) -> None:
    number, code = make_class(owner)
    url = set_drill(owner, number)
    owner.post(f"{url}/copy")
    kept = [[one.findings for one in drills.kept_on_paper(store, the_drill(store, at))] for at in (1, 2)]
    assert len(kept[1]) == len(kept[0]) == 4
    assert kept[0] != kept[1]
    owner.post(f"/class/{number}/drill/2/remove")
    assert class_queries.kept_cases(store, 2, first=100) == []
    ada = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    own = [json.loads(line) for line in json_lines(store, learners.get(store, 1))]
    assert [one["findings"] for one in own if one["kind"] == "answer"] == kept[0][:1], "taken away with the answer"
    learners.remove(store, 1, now=NOON)
    assert paper(store) == kept[0], "the cases are the drill's, and say nothing of whoever met them"
    with store.writing():
        class_queries.remove_class(store, number, NOON)
    assert store.fetch("SELECT count(*) FROM drill_cases")[0][0] == 0


def test_a_backup_brings_the_cases_back(owner: Browser, store: Store, data_path: Path, tmp_path: Path) -> None:
    set_drill(owner, make_class(owner)[0])
    before, copy, other = paper(store), tmp_path / "copy.sqlite3", tmp_path / "other.sqlite3"
    backup(data_path, copy)
    restore(copy, other, now=NOON)
    with drawn_otherwise(*TYPES), closing(DataFile.open(other)) as file, closing(Store(file)) as again:
        assert paper(again) == before


# --- an older data file ------------------------------------------------------------------------------------------


def older(tmp_path: Path, *, same: bool) -> tuple[Path, list[Case]]:
    """Make a data file of the schema before: a drill of three cases, of which one learner was dealt two."""
    path = made((HERE / "m003_accuracy.sql").read_text(encoding="utf-8"), tmp_path / "older.sqlite3")
    drill = Drill(1, 1, "Net", TYPES, (), "competent", "minus", 67.0, fixed_distance=False, cases=3, minutes=None,
                  same=same, seed=90037, opens_at=None, closes_at=None, feedback="once", pass_mark=None, notes="",
                  for_learner=None, made_at=NOON, state="open")  # fmt: skip
    dealt = [drills.case_at(drill, place, 3) for place in range(2)]
    with closing(sqlite3.connect(path)) as conn:
        conn.executescript(
            "INSERT INTO preceptors VALUES (1, 'Marit Osei', 'x', 0);"
            "INSERT INTO classes VALUES (1, 1, 'S', 0, NULL, NULL);"
            "INSERT INTO learners SELECT 3, 'Ada', created_at, settings, '{}', '{}', 'none' FROM learners WHERE id = 1;"
            "INSERT INTO members VALUES (3, 1, 0, 'form', NULL);"
        )
        conn.execute(
            "INSERT INTO drills VALUES (1, 1, 'Net', ?, '[]', 'competent', 'minus', 67.0, 0, 3, NULL, ?, 90037, NULL, "
            "NULL, 'once', NULL, '', NULL, ?, 'open')",
            (json.dumps(TYPES), int(same), NOON),
        )
        conn.execute("INSERT INTO sittings (id, learner, started_at, cases, drill) VALUES (900, 3, ?, 3, 1)", (NOON,))
        for place, case in enumerate(dealt):
            findings = json.dumps(case.type.findings.to_json(case.findings))
            conn.execute(
                "INSERT INTO dealt (id, learner, sitting, type, seed, settings, findings, why, for_drill, dealt_at, "
                "closed_at, drill) VALUES (?, 3, 900, ?, ?, '{}', ?, '', 1, ?, ?, 1)",
                (f"d{place}", case.type.id, case.seed, findings, NOON + place, NOON + 1 if place == 0 else None),
            )
        conn.commit()
    return path, dealt


def test_a_drill_of_an_older_file_keeps_what_was_dealt_and_the_rest_when_asked_for(tmp_path: Path) -> None:
    """Issue 13, point 1: what was dealt is kept by the upgrade; what nobody has met, when it is first asked for."""
    path, dealt = older(tmp_path, same=True)
    assert all(one.good for one in check(path)), list(check(path))
    with drawn_otherwise(*TYPES), closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        assert [one.findings for one in class_queries.kept_cases(store, 1, first=9)] == findings_of(dealt)
        first = paper(store)
        assert first[:2] == findings_of(dealt)
        assert len(first) == 3
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        assert paper(store) == first, "asked for once, it stays"
        ada = store.learner(3)
        assert ada is not None
        going_on = take_drill.waiting(
            store, ada, take_drill.offer(store, ada, 1, now=NOON + 9), now=NOON + 9, lots=lots()
        )
        assert going_on is not None
        assert going_on.dealt.id == "d1"
        assert going_on.case.findings == dealt[1].findings
    assert all(one.good for one in check(path)), list(check(path))


def test_an_older_files_own_cases_are_not_taken_for_the_printed_ones(tmp_path: Path) -> None:
    path, dealt = older(tmp_path, same=False)
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        assert class_queries.kept_cases(store, 1, first=9) == []
        assert paper(store) == findings_of([drills.case_at(the_drill(store), place) for place in range(3)])
        assert findings_of(dealt)[0] not in paper(store)


def test_a_kept_case_that_this_version_cannot_read_is_refused_in_words(
    app: Flask, owner: Browser, store: Store
) -> None:
    number, code = make_class(owner)
    url = set_drill(owner, number)
    with store.writing():
        store.change("UPDATE drill_cases SET findings = '{\"gone\": 1}' WHERE place = 0")
    drill, ada = the_drill(store), learner(app, code, "Ada")
    with pytest.raises(NotReadable, match="case 1 of this drill was saved by an older version"):
        drills.cases_on_paper(store, drill)
    page = owner.get(url)
    assert page.status_code == 200
    assert "copy the drill" in page.text
    assert owner.get(f"{url}/sheet").status_code == 409
    owner.post(f"{url}/close")
    assert owner.post(f"{url}/open").status_code == 409
    assert owner.post(f"{url}/copy").status_code == 303
    assert ada.get("/").status_code == 200


@pytest.mark.of_the_file("spoils the file by SQLite's own statements")
def test_an_answer_to_a_case_that_cannot_be_read_any_more_is_exported(owner: Browser, app: Flask, store: Store) -> None:
    """What was right is said by the log, and where the case cannot be told, the statement goes without."""
    number, code = make_class(owner)
    set_drill(owner, number)
    ada: Browser = learner(app, code, "Ada")
    ada.post("/drill/1/begin")
    answer(ada, store, "/drill/1")
    store._db.conn.execute("DROP TRIGGER answers_are_not_changed")
    store._db.conn.execute("UPDATE answers SET truth = '{\"power\": 9.0}'")
    read = owner.get("/class/1/statements.jsonl")
    assert json.loads(read.text)["object"]["definition"]["correctResponsesPattern"] == ["+9.00 D"]
    store._db.conn.execute("UPDATE answers SET findings = '{\"gone\": 1}'")
    kept = owner.get("/class/1/statements.jsonl")
    assert kept.status_code == 200
    assert json.loads(kept.text)["object"]["definition"]["interactionType"] == "other"
