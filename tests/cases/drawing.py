"""A figure read back from its SVG, what must hold of every figure, and lenses at random to draw."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree as ET

from hypothesis import strategies as st

from cases.figures.pen import Anchor, Box, text_box
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

ANCHORS: dict[str, Anchor] = {"start": "start", "middle": "middle", "end": "end"}
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Drawing:
    """A figure read back from its SVG."""

    root: ET.Element

    @classmethod
    def of(cls, figure: Figure) -> Drawing:
        return cls(ET.fromstring(figure.svg))  # noqa: S314 our own text

    def words(self) -> list[str]:
        return [element.text or "" for element in self.root.iter(SVG + "text")]

    def boxes(self) -> list[tuple[str, Box]]:
        found = []
        for element in self.root.iter(SVG + "text"):
            anchor = ANCHORS[element.get("text-anchor", "")]
            words, size = element.text or "", float(element.get("font-size", ""))
            box = text_box(float(element.get("x", "")), float(element.get("y", "")), words, size, anchor)
            found.append((words, box))
        return found

    def lines(self, kind: str, weight: str | None = None) -> list[tuple[float, float, float, float]]:
        """Straight lines of one class, or one class and weight, as x1, y1, x2, y2."""
        return [
            (float(e.get("x1", "")), float(e.get("y1", "")), float(e.get("x2", "")), float(e.get("y2", "")))
            for e in self.root.iter(SVG + "line")
            if e.get("class") == kind and weight in (None, e.get("stroke-width"))
        ]

    def angles(self, kind: str, weight: str | None = None) -> list[float]:
        """Directions of the lines of one class, anticlockwise from the right as one faces the page."""
        return [axis_of(math.degrees(math.atan2(y1 - y2, x2 - x1))) for x1, y1, x2, y2 in self.lines(kind, weight)]


def sound(figure: Figure) -> Drawing:
    """Check what must hold of every figure, and return it read back."""
    drawing = Drawing.of(figure)
    root = drawing.root
    names = root.get("aria-labelledby", "").split()
    parts = {e.get("id"): e.text for e in (*root.iter(SVG + "title"), *root.iter(SVG + "desc"))}
    assert root.get("role") == "img"
    assert [parts[name] for name in names] == [figure.title, figure.description]
    for element in root.iter():
        assert element.tag != SVG + "style"
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]
        for paint in ("fill", "stroke"):
            assert element.get(paint, "none") in ("none", "currentColor")
        if element.tag == SVG + "text":
            assert float(element.get("font-size", "0")) >= 13
            assert element.get("fill") == "currentColor"
            assert element.get("stroke-opacity") is None
    wide, tall = (float(n) for n in root.get("viewBox", "").split()[2:])
    assert wide == 320
    boxes = drawing.boxes()
    for words, box in boxes:
        assert box.left >= 0, words
        assert box.right <= wide, words
        assert box.top >= 0, words
        assert box.bottom <= tall, words
    for (a, one), (b, other) in combinations(boxes, 2):
        assert not one.overlaps(other), f"{a!r} runs into {b!r}"
    for name in ("x1", "x2", "cx", "x"):
        assert all(-1 <= float(e.get(name, "0")) <= wide + 1 for e in root.iter())
    for name in ("y1", "y2", "cy", "y"):
        assert all(-1 <= float(e.get(name, "0")) <= tall + 1 for e in root.iter())
    return drawing


powers = st.integers(-80, 80).map(lambda quarters: quarters / 4)
cylinders = st.one_of(st.integers(-24, -1), st.integers(1, 24)).map(lambda quarters: quarters / 4)
angles = st.integers(1, 180).map(float)
spheres = st.builds(SphCyl, powers)
torics = st.builds(SphCyl, powers, cylinders, angles)
lenses = st.one_of(spheres, torics)
