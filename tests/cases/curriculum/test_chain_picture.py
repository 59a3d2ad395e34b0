"""A type's chain as a picture and as lines: what is drawn is what the steps declare."""

from __future__ import annotations

from xml.etree.ElementTree import fromstring

import pytest

from cases.__main__ import main
from cases.curriculum.chain_picture import as_svg, rows
from cases.curriculum.register import all_types

SVG = "{http://www.w3.org/2000/svg}"

TWO_SPHERES = """\
two-spheres: A sphere in each meridian
  what is found: first, second, distance_cm, form
  to begin with: first, second → first_streak, second_streak, gross
  read-scale: first_streak, second_streak → first_streak, second_streak
  read-meridian: first_streak, second_streak → meridians
  distance-in-dioptres: distance_cm → vergence
  take-off-distance: gross, vergence, form → net
  choose-sphere: net, meridians, form → sphere, near_end, far_end, along
  find-cylinder: near_end, far_end, form, gross, net → cylinder
  place-axis: along → axis
  the answer: sphere, cylinder, axis → prescription
"""


def test_a_chain_is_shown_line_by_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["show", "two-spheres"]) == 0
    assert capsys.readouterr().out == TWO_SPHERES


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_a_picture_has_a_ring_for_all_that_is_read_and_a_disc_for_all_that_is_given(type_id: str) -> None:
    one = all_types()[type_id]
    every = list(rows(one))
    assert len(every) >= len(one.steps) + 2, "findings, every step, the answer"
    circles = [each.get("r") for each in fromstring(as_svg(one)).iter(f"{SVG}circle")]  # noqa: S314 - our own
    assert circles.count("7") == sum(len(row.reads) for row in every)
    assert circles.count("4") == sum(len(row.gives) for row in every)
