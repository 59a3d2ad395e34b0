"""Family Bench, short looks: which way the reflex goes, and which of three is nearest to neutral."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from cases import skills
from cases.bench import SOURCES_CM, Bench, Stage, View, still
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.choices import Option, Order
from cases.families.bench import FAMILY, MARGIN, PUPIL, pupil_words
from cases.families.movement import BEAMS, SWAPPED_OR_SLEEVE, next_lens
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_compare import View as Compared
from cases.figures_compare import side_by_side
from cases.kinds import BadFinding, Lens, Meridian, Power
from cases.lens import SphCyl
from cases.looks import PUPIL_MM, seen_in
from cases.movements import MOVEMENTS
from cases.notation import write_distance
from cases.retinoscope import residual, zones
from cases.steps import DISTANCE, as_written, degrees, lens_in_place, pick_distance
from cases.vergence import vergence_in_quarters, working_vergence
from cases.working import Known, Skill, Slip, SlipName, Step

RX = Field("rx", "Net prescription of the eye on the bench", Lens())
IN_PLACE = Field("in_place", "Lenses in place, as one", Lens(), default=SphCyl(0))
STREAK = Field("streak", "Long direction of the streak", Meridian(), default=90.0)

# --- which way it goes -------------------------------------------------------------------------------------------

COMPARE_MOVEMENT = Skill("compare-movement", "comparing the reflex's movement with the streak's")

FACE_WATCHED = SlipName(
    "face-watched",
    "watched the light on the face instead of the light in the pupil",
    "The streak on the face goes where your hand goes, so it always seems to be with. Look at the glow in the pupil.",
)
FAST_AS_NEUTRAL = SlipName(
    "fast-taken-for-neutral",
    "took a fast reflex for neutral",
    "Close to neutral the reflex is wide and quick, and easy to miss. Sweep slowly and watch the edge of the glow.",
)
NEAR_ENOUGH = 0.8
"""Residual in D below which a movement is quick enough to be missed: an estimate."""


def _bench(known: Known) -> Bench:
    bench = Bench(
        eye=known["rx"],
        streak=known["streak"],
        distance_cm=known["distance_cm"],
        sleeve=known["beam"],
        pupil_mm=known["pupil_mm"],
        margin=known["margin"],
    )
    return bench.holding(known["in_place"])


def _begin_movement(findings: Known) -> dict[str, Any]:
    bench = _bench(findings)
    centre, edge = zones(bench.setting, findings["streak"])
    if "neither" in (centre.movement, edge.movement):
        raise BadFinding(
            degrees(findings["streak"]),
            "off a meridian of a mixed residual the reflex only slides along the streak: give another streak",
        )
    return {"centre": centre.movement, "edge": edge.movement, "left": residual(bench.setting, findings["streak"])}


def _draw_movement(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = SphCyl(chance.stepped(-5, 5))
    distance = pick_distance(chance, settings)
    left = chance.among((0.0, 0.0, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)) * chance.among((1, -1))
    wide = settings.level != "novice" and chance.happens(0.3)
    return {
        "rx": rx,
        "in_place": SphCyl(round((rx.sphere + working_vergence(distance) - left) * 4) / 4),
        "distance_cm": distance,
        "streak": chance.among((90.0, 180.0, 45.0, 135.0)),
        # A beam that converges must come to its focus short of the eye.
        "beam": "converging"
        if chance.happens(0.2) and not wide and distance > -SOURCES_CM["converging"]
        else "parallel",
        "pupil_mm": 8.0 if wide else PUPIL_MM,
        "margin": chance.among((-1.0, -1.5)) if wide else 0.0,
    }


bench_movement = CaseType(
    id="bench-movement",
    title="Reading a movement at the bench",
    family=FAMILY,
    level="novice",
    seconds=15,
    findings=Group((RX, IN_PLACE, DISTANCE, STREAK, Field("beam", "Sleeve", BEAMS, default="parallel"), PUPIL, MARGIN)),
    asks=(Field("movement", "The reflex, as you see it, goes", MOVEMENTS), *next_lens.asks),
    draw=_draw_movement,
    begin=_begin_movement,
    steps=(
        Step(
            COMPARE_MOVEMENT,
            run=lambda known: {"movement": known["centre"]},
            says=lambda known: (
                "Nothing travels: neutral."
                if known["movement"] == "neutral"
                else f"In the middle of the pupil the light goes {known['movement']} the streak."
            ),
            slips=(
                Slip(
                    FACE_WATCHED,
                    run=lambda _: {"movement": "with"},
                    says=lambda _: "The light goes the way of the streak: with.",
                    live=lambda known: known["centre"] == "against",
                ),
                Slip(
                    FAST_AS_NEUTRAL,
                    run=lambda _: {"movement": "neutral"},
                    says=lambda _: "Too quick to follow: neutral.",
                    live=lambda known: known["centre"] != "neutral" and abs(known["left"]) < NEAR_ENOUGH,
                ),
                Slip(
                    skills.MARGIN_READ,
                    run=lambda known: {"movement": known["edge"]},
                    says=lambda known: f"At the edge of the pupil: {known['movement']}.",
                    # A neutral edge cannot be told from a quick reflex taken for neutral.
                    live=lambda known: known["edge"] not in (known["centre"], "neutral"),
                ),
            ),
        ),
        *next_lens.steps,
    ),
    answer=lambda known: {"movement": known["movement"], "lens": known["lens"]},
    found=lambda known: (
        f"In place: {as_written(known['in_place'])}.",
        *pupil_words(known),
        f"The streak lies at {degrees(known['streak'])}, {write_distance(known['distance_cm'])} from the pupil; "
        f"{BEAMS.write(known['beam'])}.",
    ),
    question=lambda _: "Sweep. Which way does the reflex go, and which lens next?",
    figure=lambda known, uid: still(_bench(known), uid=uid),
    form=lambda _: None,
    needs=("next-lens",),
    twins=(SWAPPED_OR_SLEEVE,),
    probes=(Probe(SWAPPED_OR_SLEEVE, "next-lens"),),
    sources=("Optics of the reflex, derived in DEVELOPERS.md, The reflex",),
)

# --- nearer or farther -------------------------------------------------------------------------------------------

NEARER = Order((Option("a", "view A"), Option("b", "view B"), Option("c", "view C")))
_NAMES = ("a", "b", "c")
LENS_SIZE = SlipName(
    "lens-size-for-nearness",
    "went by the lenses in place instead of by the reflex",
    "How much lens stands in the frame says nothing of what is still missing. The reflex does.",
)


def _draw_nearer(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = chance.stepped(-4, 4)
    distance = pick_distance(chance, settings)
    sizes = chance.among(((0.5, 1.25, 3.0), (0.5, 1.5, 3.5), (0.75, 1.75, 4.0)))
    lefts = [size * chance.among((1, -1)) for size in chance.shuffled(sizes)]
    gross = rx + vergence_in_quarters(distance)
    return {"rx": SphCyl(rx), "lenses": dict(zip(_NAMES, (gross - left for left in lefts), strict=True))} | {
        "distance_cm": distance
    }


def _nearer_views(known: Known) -> tuple[View, ...]:
    return tuple(
        View(
            f"View {name.upper()}",
            Bench(eye=known["rx"], sphere=known["lenses"][name], distance_cm=known["distance_cm"]),
        )
        for name in _NAMES
    )


def _begin_nearer(findings: Known) -> dict[str, Any]:
    lefts = {name: residual(view.bench.setting, 90) for name, view in zip(_NAMES, _nearer_views(findings), strict=True)}
    sizes = sorted(abs(left) for left in lefts.values())
    if min(b - a for a, b in pairwise(sizes)) < 0.2:
        raise BadFinding(
            list(findings["lenses"].values()), "each lens must be 0.25 D or more nearer neutral than the next"
        )
    return {"lefts": lefts}


def _by(known: Known, key: Any) -> dict[str, Any]:
    return {"order": tuple(sorted(_NAMES, key=lambda name: key(known["lefts"][name])))}


def _order_words(known: Known) -> str:
    return f"The nearest first: {NEARER.write(known['order'])}."


bench_nearer = CaseType(
    id="bench-nearer",
    title="Nearer or farther, by speed, width and brightness",
    family=FAMILY,
    level="novice",
    seconds=30,
    findings=Group(
        (
            RX,
            Field(
                "lenses",
                "Spheres in place in the three views",
                Group(tuple(Field(name, f"View {name.upper()}", Power()) for name in _NAMES)),
            ),
            DISTANCE,
        )
    ),
    asks=(Field("order", "Nearest to neutral first", NEARER),),
    draw=_draw_nearer,
    begin=_begin_nearer,
    steps=(
        Step(
            skills.LOOK_TO_DISTANCE,
            run=lambda known: _by(known, abs),
            says=lambda known: f"Fast, wide and bright is near, whichever way it goes. {_order_words(known)}",
            slips=(
                Slip(skills.SPEED_REVERSED, run=lambda known: _by(known, lambda left: -abs(left)), says=_order_words),
                Slip(
                    skills.AGAINST_AS_FARTHER,
                    run=lambda known: _by(known, lambda left: (left < 0, abs(left))),
                    says=_order_words,
                    live=lambda known: _by(known, lambda left: (left < 0, abs(left))) != _by(known, abs),
                ),
                Slip(
                    LENS_SIZE,
                    run=lambda known: {"order": tuple(sorted(_NAMES, key=lambda name: abs(known["lenses"][name])))},
                    says=_order_words,
                    live=lambda known: (
                        tuple(sorted(_NAMES, key=lambda name: abs(known["lenses"][name]))) != _by(known, abs)["order"]
                    ),
                ),
            ),
        ),
    ),
    answer=lambda known: {"order": known["order"]},
    found=lambda known: (
        *(f"View {name.upper()}: {lens_in_place(known['lenses'][name], 'DS in place')}." for name in _NAMES),
        f"Streak at 90, {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
    ),
    question=lambda _: "Three views of one eye. In which order do they come, the nearest to neutral first?",
    figure=lambda known, uid: several(_nearer_views(known), uid),
    form=lambda _: None,
    needs=("next-lens",),
    sources=("common practice, no published source; optics derived in DEVELOPERS.md, The reflex",),
)


def several(views: tuple[View, ...], uid: str) -> Figure:
    """Draw the views side by side."""
    compared = [
        Compared(one.name.removeprefix("View "), one.bench.streak, seen_in(one.bench.setting, one.bench.streak))
        for one in views
    ]
    return side_by_side(compared, uid=uid)


SWEEP_ALONE = frozenset[str]()
STAGES = {
    bench_movement.id: Stage(lambda known: (View("", _bench(known)),), SWEEP_ALONE),
    bench_nearer.id: Stage(_nearer_views, SWEEP_ALONE),
}

TYPES = (bench_movement, bench_nearer)
