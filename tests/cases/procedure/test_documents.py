"""Cases as JSON documents: every type's, drawn, worked and told as `python -m cases` prints them."""

from __future__ import annotations

import json

import pytest

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from cases.procedure.documents import case_document, type_document
from cases.procedure.settings import Settings


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_every_type_can_be_put_into_json(type_id: str) -> None:
    one = all_types()[type_id]
    assert json.loads(json.dumps(type_document(one), allow_nan=False))["type"] == type_id
    for seed in range(1, 6):
        case = draw(one, seed, Settings())
        document = json.loads(json.dumps(case_document(case), allow_nan=False))
        again = one.case_from_json(document["findings"])
        assert one.same(again.truth, case.truth) or one.close(again.truth, case.truth)
