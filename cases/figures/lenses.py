"""Lenses drawn: the power cross and the cells of a trial frame."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product

from cases.errors import OutOfRange
from cases.figures.parts import lens_profile, measure, profile, sight_hole
from cases.figures.pen import SMALL, TEXT, WIDTH, Box, Pen, engraved, joined, points, text_width, toward
from cases.notation.prescription import write_axis, write_distance, write_power
from cases.optics.axes import across, axis_gap
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure

ARM = 74.0
ARC = 46.0
"""Units from the centre to the arc between two axes."""
LONGEST_NAME = 8
MOST_LENSES = 6
HALF_DEGREE = 0.5
"""Axes that differ by less are written alike."""


def power_cross(
    lens: SphCyl,
    mine: SphCyl | None = None,
    *,
    uid: str,
    names: tuple[str, str] = ("true", "yours"),
    asked_meridian: float | None = None,
    arc: bool = False,
) -> Figure:
    """Draw the power cross of a lens, solid, and of a second one over it, dashed.

    Each principal meridian stands at its true angle as the examiner faces the patient, with the power in D that acts
    along it. A sphere is a circle. `asked_meridian` adds a pale line with a question mark, for a power between.
    names: what the two are called, at most 8 characters each; used only when both are drawn. arc: whether the turn from
    the first axis to the second is drawn too, with its degrees.

    Raises
    ------
    OutOfRange
        For a name too long to stand at the end of an arm.
    """
    for name in names:
        if len(name) > LONGEST_NAME:
            raise OutOfRange("lens name", repr(name), f"at most {LONGEST_NAME} characters fit beside an arm")
    shown = [(lens, names[0], "truth")] if mine is None else [(lens, names[0], "truth"), (mine, names[1], "mine")]
    arms = [
        (turn, one.power_at(turn), name, kind)
        for one, name, kind in shown
        if not is_sphere(one)
        for turn in (one.axis, across(one.axis))
    ]
    ends = _spread([turn for turn, *_ in arms])
    labels = []
    for (turn, power, name, _), end in zip(arms, ends, strict=True):
        words = ([name] if mine is not None else []) + [write_power(power), f"at {write_axis(turn)}"]
        labels.append((end, words))
    if asked_meridian is not None:
        end = _freest([end for end, _ in labels], [asked_meridian, asked_meridian + 180])
        labels.append((end, ["?", f"at {write_axis(asked_meridian)}"]))
    spheres = [(one, name, kind) for one, name, kind in shown if is_sphere(one)]
    placed = [(words, *_outside(end, words)) for end, words in labels]
    top = min([-ARM, *(box.top for *_, box in placed)])
    bottom = max([ARM, *(box.bottom for *_, box in placed)])
    centre = (WIDTH / 2, 8 - top)

    pen = Pen()
    if asked_meridian is not None:
        pen.line(toward(asked_meridian, ARM, centre), toward(asked_meridian + 180, ARM, centre), "faint")
    for number, (_, _, kind) in enumerate(spheres):
        pen.circle(centre, ARM - 7 * number, kind, weight=2)
    for turn, _, _, kind in arms:
        # Two lines on one meridian would hide each other, so the dashed one steps aside without turning.
        aside = 5.0 if kind == "mine" and any(axis_gap(turn, t) < 2.5 for t, *_, k in arms if k == "truth") else 0.0
        foot = toward(turn + 90, aside, centre)
        pen.line(toward(turn, ARM, foot), toward(turn + 180, ARM, foot), kind, weight=2)
    turn = axis_turn(lens, mine) if arc and mine is not None else 0.0
    if turn:
        _arc(pen, lens.axis, turn, centre)
    for words, x, baselines, _ in placed:
        for line, (text, baseline) in enumerate(zip(words, baselines, strict=True)):
            size = TEXT if line == len(words) - 2 else SMALL
            kind = "number" if line >= len(words) - 2 else "label"
            pen.text(centre[0] + x, centre[1] + baseline, text, size=size, kind=kind)
    y = centre[1] + bottom + 8
    for one, name, _ in spheres:
        y += 20
        written = write_power(one.sphere)
        fact = f"{written}, the same in every meridian" if mine is None else f"{name}: {written} in every meridian"
        pen.text(centre[0], y, fact, size=SMALL, kind="number")
    if mine is not None:
        y += 24
        _key(pen, y, names)
    described = _cross_words(shown, asked_meridian) + (f" {axis_words(lens, mine)}" if turn and mine else "")
    return pen.figure(uid=uid, title="Power cross", description=described, height=y + 10)


def axis_turn(lens: SphCyl, other: SphCyl) -> float:
    """Return by how many degrees the axis of a second lens is turned from that of a first, anticlockwise.

    From −90 (not reached) to 90, both written in the form of the first; 0 where either is a sphere or the axes are the
    same as they are written.
    """
    if is_sphere(lens) or is_sphere(other):
        return 0.0
    turn = (other.in_form("plus" if lens.cylinder > 0 else "minus").axis - lens.axis + 90) % 180 - 90
    return 0.0 if abs(turn) < HALF_DEGREE else 90.0 if turn == -90 else turn


def axis_words(lens: SphCyl, other: SphCyl) -> str:
    """Say how far the axis of a second lens is turned: "The axis is 20° out: 55 where 35 is right."; "" for none."""
    turn = axis_turn(lens, other)
    given = other.in_form("plus" if lens.cylinder > 0 else "minus").axis
    return (
        f"The axis is {abs(turn):.0f}° out: {write_axis(given)} where {write_axis(lens.axis)} is right." if turn else ""
    )


def _arc(pen: Pen, axis: float, turn: float, centre: tuple[float, float]) -> None:
    """Draw the turn from an axis in the upper half of a cross: nothing else stands between the two arms."""
    start = axis if math.sin(math.radians(axis + turn / 2)) >= 0 else axis + 180
    ends = [toward(angle, ARC, centre) for angle in (start, start + turn)]
    sweep = 0 if turn > 0 else 1
    pen.path(f"M{points(ends[0])}A{ARC:g} {ARC:g} 0 0 {sweep} {points(ends[1])}", "go", weight=2.5)
    x, y = toward(start + turn / 2, ARC + 16, centre)
    pen.text(x, y + 5, f"{abs(turn):.0f}°", size=SMALL, kind="go halo")


def is_sphere(lens: SphCyl) -> bool:
    """Say whether a lens has the same written power in every meridian."""
    return abs(lens.cylinder) < 0.005


def _cross_words(shown: list[tuple[SphCyl, str, str]], asked_meridian: float | None) -> str:
    sentences = []
    for one, name, kind in shown:
        if is_sphere(one):
            fact = f"{write_power(one.sphere)} D, the same in every meridian"
        else:
            turn = across(one.axis)
            fact = (
                f"{write_power(one.power_at(one.axis))} D along the {write_axis(one.axis)} meridian and "
                f"{write_power(one.power_at(turn))} D along the {write_axis(turn)} meridian"
            )
        if len(shown) > 1:
            fact = f"{name[:1].upper()}{name[1:]}, {'solid' if kind == 'truth' else 'dashed'}: {fact}"
        sentences.append(fact + ".")
    if asked_meridian is not None:
        sentences.append(f"A pale line marks the {write_axis(asked_meridian)} meridian, its power to be found.")
    return " ".join(sentences)


def _key(pen: Pen, y: float, names: tuple[str, str]) -> None:
    for x, name, kind in ((36, names[0], "truth"), (176, names[1], "mine")):
        pen.line((x, y - 5), (x + 38, y - 5), kind, weight=2)
        pen.text(x + 46, y, name, size=SMALL, anchor="start")


def _spread(turns: list[float]) -> list[float]:
    """Choose for each meridian which of its two ends is lettered, so that the labels stand as far apart as they can.

    With two crosses the best choice always leaves 45 degrees between neighbours.
    """
    best: tuple[float, list[float]] = (-1, [])
    for flips in product((0, 180), repeat=len(turns)):
        ends = [turn + flip for turn, flip in zip(turns, flips, strict=True)]
        apart = min((_apart(a, b) for i, a in enumerate(ends) for b in ends[:i]), default=360.0)
        if apart > best[0] + 1e-6:
            best = (apart, ends)
    return best[1]


def _apart(a: float, b: float) -> float:
    gap = abs(a - b) % 360
    return min(gap, 360 - gap)


def _freest(taken: list[float], choices: list[float]) -> float:
    return max(choices, key=lambda end: min((_apart(end, other) for other in taken), default=360.0))


def _outside(end: float, words: list[str]) -> tuple[float, list[float], Box]:
    """Place the lines of a label just beyond the end of an arm: x, the baselines, and the ground, from the centre."""
    sizes = [TEXT if line == len(words) - 2 else SMALL for line in range(len(words))]
    half_wide = max(text_width(text, size) for text, size in zip(words, sizes, strict=True)) / 2
    tall = math.fsum(sizes) + 3 * (len(sizes) - 1)
    reach = ARM
    while True:
        x, y = toward(end, reach)
        near = max(abs(x) - half_wide, 0) ** 2 + max(abs(y) - tall / 2, 0) ** 2
        if near >= (ARM + 6) ** 2:
            break
        reach += 1
    baselines, at = [], y - tall / 2
    for size in sizes:
        baselines.append(at + 0.8 * size)
        at += size + 3
    return x, baselines, Box(x - half_wide, y - tall / 2, x + half_wide, y + tall / 2)


def trial_frame(
    lenses: Sequence[SphCyl],
    *,
    uid: str,
    notes: Mapping[int, str] | None = None,
    distance_cm: float | None = None,
) -> Figure:
    """Draw every lens in the trial frame, from the cell nearest the eye forward, and list each as it is written.

    lenses: 0 to 6 of them, back to front. notes: words beside a lens, by its place from 0 ("working lens").
    distance_cm: when given, the examiner's sight hole and the distance from the eye to it are drawn; not to scale.

    Raises
    ------
    OutOfRange
        For more than 6 lenses.
    """
    if len(lenses) > MOST_LENSES:
        raise OutOfRange("lenses in the frame", str(len(lenses)), f"a frame takes at most {MOST_LENSES}")
    notes = notes or {}
    pen, eye_x, mid = Pen(), 48.0, 66.0
    profile(pen, eye_x, mid, 20)
    room = 262 if distance_cm is None else 232
    step = min(40.0, (room - eye_x) / (len(lenses) + 0.5)) if lenses else 40.0
    for place, lens in enumerate(lenses):
        x = eye_x + 8 + step * (place + 0.5)
        lens_profile(pen, x, mid, lens)
        pen.text(x, mid - 40, str(place + 1), size=SMALL, kind="number")
    pen.text(6, 18, "eye", size=SMALL, anchor="start")
    pen.text(314, 18, "examiner", size=SMALL, anchor="end")
    y = mid + 48
    if distance_cm is not None:
        sight_hole(pen, 296, mid)
        measure(pen, eye_x, 296, y)
        pen.text((eye_x + 296) / 2, y + 20, f"{write_distance(distance_cm)}", kind="number")
        y += 30
    # A note that finds no room beside its lens stands below it, and then so do the others: each is looked for alike.
    below = any(_after(lens) + text_width(notes.get(place, ""), SMALL) > 276 for place, lens in enumerate(lenses))
    for place, lens in enumerate(lenses):
        y = _row(pen, y, place, lens, notes.get(place, ""), below=below)
    if not lenses:
        y += 22
        pen.text(WIDTH / 2, y, "no lens in the frame")
    return pen.figure(
        uid=uid,
        title="Lenses in the trial frame",
        description=_frame_words(lenses, notes, distance_cm),
        height=y + 16,
        use="none",
    )


def _after(lens: SphCyl) -> float:
    """Return where a note beside this lens may begin, across the drawing."""
    return 40 + text_width(engraved(lens)) + 14


def _row(pen: Pen, y: float, place: int, lens: SphCyl, note: str, *, below: bool) -> float:
    y += 34
    pen.text(18, y, str(place + 1), size=SMALL, kind="number")
    pen.text(40, y, engraved(lens), anchor="start", kind="number")
    if not is_sphere(lens):
        dial = (298.0, y - 6)
        pen.circle(dial, 11, "faint")
        pen.line(toward(lens.axis, 14.5, dial), toward(lens.axis + 180, 14.5, dial), weight=2.2)
    if note:
        y += 20 if below else 0
        pen.text(40 if below else _after(lens), y, note, size=SMALL, anchor="start")
    return y


def _frame_words(lenses: Sequence[SphCyl], notes: Mapping[int, str], distance_cm: float | None) -> str:
    if lenses:
        written = [
            engraved(lens) + (f" ({notes[place]})" if notes.get(place) else "") for place, lens in enumerate(lenses)
        ]
        cells = "one lens" if len(lenses) == 1 else f"{len(lenses)} lenses, from the eye outward"
        facts = f"The trial frame holds {cells}: {joined(written)}."
    else:
        facts = "The trial frame has no lens."
    if distance_cm is not None:
        facts += f" The examiner's sight hole is {write_distance(distance_cm)} from the eye."
    return facts
