"""What a screen answers before it is scrolled, over every case type: `python -m tests.benchmarks.glance [TYPE ...]`.

At 1280 × 800 a case is seen down to its button, and a mark down to the way on with its figures. At 360 × 740, above the
four places, a case is seen down to its first field, and a mark down to the way on. The ends are in CSS pixels; whatever
runs over is listed, and the command ends with 1. Bench cases stand at the bench, which has its own rule, and are left
out.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_types
from cases.procedure.case_type import Case, draw
from cases.procedure.settings import Settings
from quiz.app import create_app
from quiz.practice import dealing, learners, what_to_practise
from quiz.practice.dealt_cases import SentBack
from quiz.storage import desk_queries, projection
from quiz.storage.datafile import DataFile
from quiz.storage.store import Dealt, Learner, Store
from tests.browser.conftest import chromium
from tests.conftest import NOON, Clock, lots, serving, written

WIDE, NARROW = (1280, 800), (360, 740)
END = """selectors => Math.max(0, ...selectors.flatMap(one => [...document.querySelectorAll(one)])
  .filter(one => one.checkVisibility()).map(one => one.getBoundingClientRect().bottom + scrollY))"""
FIRST = """() => { const one = document.querySelector('form.answer :is(input, select)');
  const box = one.closest('label') ?? one;
  return box.getBoundingClientRect().bottom + scrollY; }"""
TO_THE_BUTTON = (".main-action", ".case .plate svg", "#asked")
TO_THE_WAY_ON = ("#verdict", "#go-on", ".plate svg")
SEEDS = (1, 2)


def ends(page: Page, kind: str) -> Iterator[tuple[str, float, int]]:
    """Yield what was measured, where it ends and where it should: wide, then narrow."""
    for width, height in (WIDE, NARROW):
        page.set_viewport_size({"width": width, "height": height})
        wide = width == WIDE[0]
        if kind == "case":
            end = page.evaluate(END, TO_THE_BUTTON) if wide else page.evaluate(FIRST)
        else:
            end = page.evaluate(END, TO_THE_WAY_ON if wide else ("#verdict", "#go-on"))
        yield f"{kind} {width}", round(end), height


def answers(case: Case) -> Iterator[tuple[str, dict[str, str] | None]]:
    """Yield the marks of a case: right, each sort of slip that has its own look, one not known."""
    yield "right", written(case)
    longest = sorted(case.singles, key=lambda one: -len(one.slips[0].slip))[:1]
    for one in case.singles[:1] + tuple(longest):
        yield f"slip {one.slips[0].slip}", written(case, one.answer)
    yield "not known", None


def dealt(store: Store, who: Learner, case: Case, now: float) -> str:
    """Deal a case in a sitting in which nothing comes between, and return its id."""
    with store.writing():
        sitting = store.begin_sitting(who.id, now=now, cases=10, minutes=None)
        desk_queries.keep_aim(store, sitting, what_to_practise.read_aim(what_to_practise.SURVEY))
        findings = case.type.findings.to_json(case.findings)
        one = Dealt(
            id=f"case-{sitting}",
            learner=who.id,
            sitting=sitting,
            type=case.type.id,
            seed=case.seed or 0,
            settings={},
            findings=findings,
            why="One that you know, mixed in so that it stays.",
            must_show=None,
            probe_of=None,
            for_drill=False,
            dealt_at=now,
        )
        store.deal(one)
    return one.id


def measured(page: Page, url: str, store: Store, who: Learner, type_id: str) -> Iterator[tuple[str, str, float, int]]:
    """Yield (what, size, end, limit) of a type's cases and of their marks."""
    for seed in SEEDS:
        case = draw(all_types()[type_id], seed, Settings())
        for number, (name, texts) in enumerate(answers(case)):
            id_ = dealt(store, who, case, NOON)
            if not number:
                page.goto(f"{url}/practise")
                yield from ((f"case {seed}", *one) for one in ends(page, "case"))
            if texts is None:
                dealing.give_up(store, who, id_, now=NOON + 9)
            else:
                try:
                    dealing.take(store, who, id_, texts, None, now=NOON + 9)
                except SentBack:
                    with store.writing():
                        store.close_case(id_, now=NOON)
                    continue
            with store.writing():
                store.end_sitting(int(id_.removeprefix("case-")), now=NOON + 9)
            page.goto(f"{url}/case/{id_}")
            yield from ((f"{name} {seed}", *one) for one in ends(page, "mark"))


def main(types: Sequence[str]) -> int:
    """Measure, list what runs over, and return whether anything did."""
    over = looked = 0
    with (
        tempfile.TemporaryDirectory() as folder,
        closing(DataFile.open(Path(folder) / "glance.sqlite3")) as file,
        closing(Store(file)) as store,
        serving(create_app(file, clock=Clock(NOON), lots=lots())) as url,
        sync_playwright() as playwright,
    ):
        who = learners.add(store, "Imre", now=NOON)
        with store.writing():
            projection.keep_priors(store, who.id, {})  # the first questions were asked
        browser = playwright.chromium.launch(executable_path=chromium(playwright), args=["--no-sandbox"])
        page = browser.new_page()
        for type_id in types or [one for one in all_types() if stage_of(one) is None]:
            worst: dict[str, tuple[float, int, str]] = {}
            for what, size, end, limit in measured(page, url, store, who, type_id):
                looked += 1
                worst[size] = max(worst.get(size, (0, limit, "")), (end, limit, what))
            for size, (end, limit, what) in worst.items():
                if end > limit:
                    over += 1
                    print(f"{type_id:28} {size:10} ends at {end:.0f} of {limit} ({what})", flush=True)  # noqa: T201
        browser.close()
    print(f"{looked} screens looked at; {over} of a type and a size run over.")  # noqa: T201
    return int(over > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
