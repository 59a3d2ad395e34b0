"""Exported questions in engines that are not ours, and by the published schemas: `python -m tests.engines`.

QTI 2.1: the response processing of `@oat-sa/tao-item-runner-qti`, in node. QTI 3.0: the player
`@citolab/qti-components`, typed into in Chromium. Both come from npm at the versions and digests of package-lock.json,
into a folder that is removed at the end. xmllint (libxml2-utils) reads items, test and manifest by the schemas of
schemas.zip. Exit 1 where a verdict is not the app's, a document is not valid, or something needed is not available.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree.ElementTree import Element, tostring

from playwright.sync_api import Page, sync_playwright

from cases.curriculum.bench_types import stage_of
from cases.curriculum.case_list import CaseList
from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.quantities import Quantity
from cases.procedure.settings import Settings
from quiz.exports.numeric_fields import NotCarried, Questions, numbers, questions
from quiz.exports.qti import VERSIONS, package
from quiz.exports.qti_item import identifiers, item
from tests.browser.conftest import chromium
from tests.quiz.exports.test_numeric_fields import in_app, key_of, near_every_bound

HERE = Path(__file__).resolve().parent
TEXTS = 30
"""Answers to each item in which a number is asked; those that are chosen have fewer."""
MISSED_MASK = ("2,04", "1.25 D", "plano", "1/2")
"""Texts that are no numbers there: the player must call them invalid, and no engine may call them right."""
say = print

Given = Mapping[str, str | list[str] | None]


@dataclass(frozen=True)
class Tried:
    """One item with its answers as texts and options, and the app's verdict on each."""

    found: Questions
    answers: tuple[Given, ...]
    verdicts: tuple[bool, ...]

    @property
    def name(self) -> str:
        case = self.found.case
        return f"{case.type.id} {case.seed} {case.form or ''}".strip()


# --- cases and answers -------------------------------------------------------------------------------------------


def drawn() -> Iterator[Case]:
    """Draw a case of every type on paper, in both cylinder forms where one is asked for."""
    for place, kind in enumerate(one for name, one in sorted(all_types().items()) if stage_of(name) is None):
        for form in ("minus", "plus"):
            with suppress(CannotDraw):
                case = draw(kind, 20 + place, Settings(form=form))
                if form == "minus" or case.form == "plus":
                    yield case


WRITTEN: tuple[Callable[[float], str], ...] = (
    lambda value: f"{value:.3f}",
    lambda value: f"{value:+.3f}",
    lambda value: f"{value:g}",
    lambda value: f"{value:+g}",
    lambda value: f"{value:+.4f}",
    lambda value: re.sub(r"^([+-]?)0\.", r"\1.", f"{value:.3f}"),
    lambda value: f"{value:.0f}." if value == round(value) else f"{value:g}",
    lambda value: f"{value:06.3f}",
)
"""The ways in which people write a number that the question allows: digits, a point, a sign."""


def tried(case: Case) -> Tried:
    """Choose the answers to one case: the key in several ways of writing, slips, and what lies near it."""
    found, chance = questions(case), random.Random(case.seed)
    key = key_of(found)
    fields = [field.name for asked in found.asked for field in asked.fields]
    rows: list[dict[str, Any]] = [{**key, **{name: write(key[name]) for name in fields}} for write in WRITTEN]
    rows += [{**key, name: None} for name in fields]
    for slip in found.slips[:6]:
        row: dict[str, Any] = {}
        for asked in found.asked:
            value = slip.values[asked.ask.name]
            names = [field.name for field in asked.fields] or [asked.ask.name]
            row |= zip(
                names, numbers(case, asked.ask, value, as_written=True) if asked.fields else (value,), strict=True
            )
        rows.append(row)
    near = list(near_every_bound(found, chance))
    chance.shuffle(near)
    right = [one for one in near if in_app(found, one)]
    rows += right[:8]
    rows += [one for one in near if in_app(found, one) is False]
    rows += right[8:]
    for _ in range(3 * TEXTS if fields else 0):
        moved = {
            field.name: round(
                key[field.name] + chance.uniform(-2, 2) * (field.high - field.low), 0 if field.wraps else 2
            )
            for asked in found.asked
            for field in asked.fields
        }
        rows.append({**key, **moved})
    answers: list[Given] = []
    verdicts: list[bool] = []
    for one in rows:
        texts = {name: f"{value:.7g}" if isinstance(value, float | int) else value for name, value in one.items()}
        verdict = _verdict(found, texts)
        if verdict is not None and texts not in answers and len(answers) < TEXTS:
            answers.append(texts)
            verdicts.append(verdict)
    return Tried(found, tuple(answers), tuple(verdicts))


def _verdict(found: Questions, texts: Mapping[str, Any]) -> bool | None:
    """Return the app's verdict on texts, read by the app itself where one number is asked; None where it has none."""
    given: dict[str, Any] = dict(texts)
    for asked in found.asked:
        for field in asked.fields:
            text = texts[field.name]
            if text is None:
                if field.name.endswith(("-cylinder", "-axis")) and not found.case.truth[asked.ask.name].cylinder:
                    given[field.name] = None
                    continue
                return False
            try:
                read = asked.ask.kind.read(text) if isinstance(asked.ask.kind, Quantity) else float(text)
            except CaseError:
                return None
            given[field.name] = read
    return in_app(found, given)


# --- QTI 2.1 -----------------------------------------------------------------------------------------------------


def scored_2_1(modules: Path, all_tried: Sequence[Tried]) -> list[list[float]]:
    """Return the scores that the engine in node gives."""
    work = []
    for one in all_tried:
        root = item(one.found, "case-001", "Case 1", None, "2.1")
        declared = {str(at.get("identifier")): at for at in root if _name(at) == "responseDeclaration"}
        answers = [
            {name: _as_pci(declared[name], _identified(one.found, name, value)) for name, value in answer.items()}
            for answer in one.answers
        ]
        work.append({"item": _as_json(root), "answers": answers})
    ran = subprocess.run(
        ["node", str(HERE / "score_2_1.cjs"), str(modules)], input=json.dumps(work), capture_output=True, text=True
    )
    if ran.returncode:
        raise SystemExit(f"the engine for 2.1 failed: {ran.stderr[-2000:]}")
    return [[float(answer["score"] or 0) for answer in one] for one in json.loads(ran.stdout)]


def _name(one: Element) -> str:
    return one.tag.rsplit("}", 1)[-1]


def _as_pci(declared: Element, value: str | list[str] | None) -> Any:
    """Give an answer as IMS Portable Custom Interaction 1.0 has responses in JSON; a number as its field reads it."""
    kind = str(declared.get("baseType"))
    if isinstance(value, list):
        return {"list": {kind: value}} if value else {"base": None}
    return {"base": None if value is None else {kind: float(value) if kind == "float" else value}}


def _as_json(root: Element) -> dict[str, Any]:
    """Give an item's declarations and processing as that engine's own serialiser does."""
    declared = {str(one.get("identifier")): one for one in root if "Declaration" in _name(one)}
    responses = {name: one for name, one in declared.items() if _name(one) == "responseDeclaration"}
    processing = next(one for one in root if _name(one) == "responseProcessing")
    return {
        "identifier": root.get("identifier"),
        "responses": {name: {"attributes": dict(one.attrib)} for name, one in responses.items()},
        "outcomes": {
            name: {
                "attributes": dict(one.attrib),
                "defaultValue": next((at.text for at in one.iter() if _name(at) == "value"), ""),
            }
            for name, one in declared.items()
            if name not in responses
        },
        "responseProcessing": {"responseRules": [_rule(one) for one in processing]},
    }


def _rule(one: Element) -> dict[str, Any]:
    if _name(one) == "setOutcomeValue":
        return {"qtiClass": "setOutcomeValue", "attributes": dict(one.attrib), "expression": _expression(one[0])}
    branches = [
        {"qtiClass": _name(at), "expression": _expression(at[0]), "responseRules": [_rule(rule) for rule in at[1:]]}
        for at in one
    ]
    return {"qtiClass": "responseCondition", "responseIf": branches[0], "responseElseIfs": branches[1:]}


def _expression(one: Element) -> dict[str, Any]:
    return {
        "qtiClass": _name(one),
        "attributes": dict(one.attrib),
        "expressions": [_expression(at) for at in one],
        "value": one.text,
    }


def _identified(found: Questions, name: str, value: Any) -> Any:
    """Turn the ids of options into the identifiers that an item has for them."""
    ask = next((one.ask for one in found.asked if one.ask.name == name and not one.fields), None)
    if ask is None:
        return value
    names = identifiers(ask.kind.options)  # type: ignore[attr-defined]
    if isinstance(ask.kind, Marks | Order):
        return [names[one] for one in value]
    return names[value] if isinstance(ask.kind, Choice) else value


# --- QTI 3.0 -----------------------------------------------------------------------------------------------------

ANSWERED = """
async ([html, answers, masked]) => {
  document.body.innerHTML = html;
  const item = document.querySelector("qti-assessment-item");
  await item.updateComplete;
  await new Promise((done) => setTimeout(done));
  const fields = [...item.querySelectorAll("qti-text-entry-interaction")];
  await Promise.all(fields.map((one) => one.updateComplete));
  const type = (field, text) => {
    const input = field.shadowRoot.querySelector("input");
    input.value = text;
    input.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const scores = [];
  for (const answer of answers) {
    for (const [name, value] of Object.entries(answer)) {
      const field = fields.find((one) => one.responseIdentifier === name);
      if (field) type(field, value ?? "");
      else item.updateResponseVariable(name, value);
    }
    item.processResponse(true, false);
    scores.push(Number(item.getOutcome("SCORE").value));
  }
  const invalid = [];
  for (const text of masked) {
    for (const field of fields) {
      type(field, text);
      invalid.push(!field.validate());
    }
    item.processResponse(true, false);
    invalid.push(Number(item.getOutcome("SCORE").value) === 0);
  }
  return { scores, refused: fields.length === 0 || invalid.every(Boolean) };
}
"""


def scored_3_0(page: Page, all_tried: Sequence[Tried]) -> list[list[float]]:
    """Type the answers into the player and return its scores; stop where it takes a text that is no number."""
    found = []
    for one in all_tried:
        root = item(one.found, "case-001", "Case 1", None, "3.0")
        html = tostring(root, encoding="unicode", short_empty_elements=False)
        answers = [
            {name: _identified(one.found, name, value) for name, value in answer.items()} for answer in one.answers
        ]
        ran = page.evaluate(ANSWERED, [_unprefixed(html), answers, list(MISSED_MASK)])
        if not ran["refused"]:
            raise SystemExit(f"{one.name}: the player took one of {MISSED_MASK} for a number")
        found.append(ran["scores"])
    return found


def _unprefixed(html: str) -> str:
    """Leave namespaces out: the page is HTML, whose elements have none."""
    return re.sub(r' xmlns(:\w+)?="[^"]*"| xsi:\w+="[^"]*"', "", re.sub(r"(</?)\w+:", r"\1", html))


# --- the whole ---------------------------------------------------------------------------------------------------


def valid(folder: Path, cases: Sequence[Case]) -> int:
    """Return how many documents of the packages are valid; stop at one that is not."""
    if shutil.which("xmllint") is None:
        raise SystemExit("xmllint is needed: apt-get install libxml2-utils")
    with zipfile.ZipFile(HERE / "schemas.zip") as schemas:
        schemas.extractall(folder)
    count = 0
    for version in VERSIONS:
        there = folder / version
        with zipfile.ZipFile(BytesIO(package("A drill", CaseList(tuple(cases), 1, "competent"), version))) as zipped:
            zipped.extractall(there)
        items, manifest = SCHEMAS[version]
        documents = sorted(there.glob("case-*.xml"))
        for schema, files in ((items, [*documents, there / "test.xml"]), (manifest, [there / "imsmanifest.xml"])):
            ran = subprocess.run(
                ["xmllint", "--nonet", "--noout", "--schema", str(folder / schema), *map(str, files)],
                capture_output=True,
                text=True,
            )
            if ran.returncode:
                raise SystemExit(f"QTI {version} is not valid: {ran.stderr[:2000]}")
            count += len(files)
    return count


SCHEMAS = {
    "2.1": ("qtiv2p1/imsqti_v2p1.xsd", "imscp_v1p1.xsd"),
    "3.0": ("qtiv3p0/imsqti_asiv3p0_sbacv1p0_v1p0.xsd", "qtiv3p0/imsqtiv3p0_imscpv1p2_v1p0.xsd"),
}
"""By version: of items and tests, and of the manifest. README.md says where they come from."""


def compare(name: str, all_tried: Sequence[Tried], scores: Sequence[Sequence[float]]) -> int:
    """Say how an engine's verdicts agree with the app's, and return how many do not."""
    wrong = 0
    for one, marks in zip(all_tried, scores, strict=True):
        for answer, verdict, mark in zip(one.answers, one.verdicts, marks, strict=True):
            if (mark == 1) != verdict:
                wrong += 1
                say(f"{name}: {one.name}: {dict(answer)} scored {mark:g}, in the app {'right' if verdict else 'wrong'}")
    answers = [verdict for one in all_tried for verdict in one.verdicts]
    say(f"{name}: {len(all_tried)} items, {len(answers)} answers ({sum(answers)} right), {wrong} verdicts differ")
    return wrong


def main() -> int:
    """Run all of it."""
    began = time.monotonic()
    all_tried = []
    for case in drawn():
        try:
            all_tried.append(tried(case))
        except NotCarried as error:
            say(f"left out: {case.type.id}: {error}")
    with TemporaryDirectory() as name:
        folder = Path(name)
        say(f"schemas: {valid(folder / 'schemas', [one.found.case for one in all_tried])} documents valid")
        for file in ("package.json", "package-lock.json"):
            shutil.copy(HERE / file, folder)
        subprocess.run(["npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--silent"], cwd=folder, check=True)
        modules = folder / "node_modules"
        wrong = compare("QTI 2.1", all_tried, scored_2_1(modules, all_tried))
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chromium(playwright))
            page = browser.new_page()
            page.add_script_tag(path=modules / "@citolab/qti-components/cdn/index.global.js")
            wrong += compare("QTI 3.0", all_tried, scored_3_0(page, all_tried))
            browser.close()
    say(f"{time.monotonic() - began:.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
