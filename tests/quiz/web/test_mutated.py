"""Requests and documents that nobody should send: the app answers with a page, never with a fault.

`python -m tests.benchmarks.mutate` sends ten thousand; here a few hundred are sent, and what was found by more.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.case_type import draw
from cases.procedure.settings import Settings
from quiz.learning.state import BadState, LearnerState
from tests.benchmarks.mutate import NASTY, TAG, Reading, Sent, Visitor, fault_of, run, send, visitors
from tests.conftest import Clock

ANYTHING = st.one_of(st.text(max_size=40), st.sampled_from(NASTY), st.from_regex(r"[-+−]?\d{0,4}[.,/x×@ ]?\d{0,4}"))
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=12,
)


def test_spoilt_requests_do_no_harm(tmp_path: Path) -> None:
    told: list[str] = []
    bad, answers = run(tmp_path, 500, 7, told.append)
    assert told == []
    assert bad == 0
    assert answers[200] > 50, "many were let through, so that more than the doors was tried"
    assert answers.total() > 400


def test_the_check_sees_harm() -> None:
    """A page with markup that the request planted is told apart from one that shows it as text."""
    planted, shown = Reading(), Reading()
    planted.feed(f'<main><{TAG}><a href="javascript:{TAG}()">x</a></main>')
    shown.feed(f'<main><p title="&lt;{TAG}&gt;">&lt;{TAG}&gt;</p></main>')
    assert len(planted.planted) == 2
    assert shown.planted == []


@pytest.fixture(scope="module")
def people(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Visitor]]:
    found, files = visitors(tmp_path_factory.mktemp("forms"), Clock())
    for one in found:
        for rule in one.app.url_map.iter_rules():
            if "GET" in (rule.methods or ()) and rule.endpoint != "static":
                one.learn(one.client.get(re.sub(r"<[^>]+>", "1", rule.rule)))
    yield found
    for file in files:
        file.close()


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 99), st.integers(0, 9999), st.lists(ANYTHING, min_size=24, max_size=24))
def test_every_form_takes_any_text(people: list[Visitor], who: int, which: int, texts: list[str]) -> None:
    # By number, not by name: the forms that are met grow in number as pages are read.
    known = [one for one in people if one.forms]
    one = known[who % len(known)]
    forms = sorted(one.forms.items())
    (method, url), names = forms[which % len(forms)]
    form = {name: texts[place % len(texts)] for place, (name, _) in enumerate(names)}
    sent = Sent(one.name, method, url, form, {"Origin": "http://localhost"})
    try:
        page = send(one, sent)
    except UnicodeError:
        return  # half a pair of surrogates cannot be sent at all
    assert fault_of(sent, page, one.learn(page)) is None, sent


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(all_types())), JSON)
def test_findings_in_json_are_read_or_refused(type_id: str, given_json: object) -> None:
    with pytest.raises(CaseError):
        all_types()[type_id].case_from_json(given_json)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_true_findings_with_one_thing_spoilt_are_read_or_refused(data: st.DataObject) -> None:
    one = all_types()[data.draw(st.sampled_from(sorted(all_types())))]
    findings = one.findings.to_json(draw(one, 1, Settings()).findings)
    spoilt = _spoilt(json.loads(json.dumps(findings)), data)
    with suppress(CaseError):
        one.case_from_json(spoilt)


def _spoilt(value: Any, data: st.DataObject) -> Any:
    """Put something else into one place of a document."""
    if isinstance(value, dict) and value and data.draw(st.booleans()):
        name = data.draw(st.sampled_from(sorted(value)))
        return {**value, name: _spoilt(value[name], data)}
    if isinstance(value, list) and value and data.draw(st.booleans()):
        at = data.draw(st.integers(0, len(value) - 1))
        return [*value[:at], _spoilt(value[at], data), *value[at + 1 :]]
    return data.draw(JSON)


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.text(max_size=60), JSON.map(json.dumps)))
def test_a_state_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(BadState):
        LearnerState.from_json(text)
