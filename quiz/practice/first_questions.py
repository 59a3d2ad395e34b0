"""Three questions after the first case: what someone is, how sure of the core of the trade, and when the exam is.

They set the level and what memory believes beforehand, no wall: everything stays open, and the first few answers
outweigh them. The means are estimates (2026-11-30), a little above and below the shipped ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from cases.curriculum.register import all_types
from cases.procedure.vocabulary import LEVELS
from quiz.learning.parameters import NUMBERS
from quiz.practice import learners
from quiz.practice.forms import BadText
from quiz.practice.settings import CLINICIAN, ROLES, WEEKLY, ExamDay, LearnerSettings
from quiz.storage import projection
from quiz.storage.store import Learner, Store

SURE = (("no", "not yet"), ("some", "with some thought"), ("yes", "sure"))
TRANSPOSING = ("transpose", "spherical-equivalent")
TWO_MERIDIANS = ("sphere-then-cyl", "two-spheres", "frame-net", "streak-axis", "net-sphere")
"""Types whose steps an answer speaks of; those with the distance are among the second, which nobody does without."""
MEANS = {"no": NUMBERS.start - 0.7, "some": NUMBERS.start, "yes": NUMBERS.start + 1.2}
"""Log-odds of a step of which someone says so."""
VARIANCE = 1.5
LEVEL_OF = {"no": 0, "some": 1, "yes": 2}


@dataclass(frozen=True)
class FirstAnswers:
    """What was answered; "" where a question was passed over."""

    role: str = ""
    transposing: str = ""
    two_meridians: str = ""
    exam_day: str = ""

    @property
    def expert(self) -> bool:
        """Whether to begin with one composite case a family."""
        return self.transposing == self.two_meridians == "yes"


def read_answers(sent: Mapping[str, str]) -> tuple[FirstAnswers, dict[str, str]]:
    """Read what the form sent, with a sentence for each field that cannot be."""
    faults = {}
    day = sent.get("exam_day", "").strip()
    if day:
        try:
            ExamDay().read(day)
        except BadText as error:
            faults["exam_day"] = str(error)
    known = {"role": dict(ROLES), "transposing": dict(SURE), "two_meridians": dict(SURE)}
    picked = {name: sent.get(name, "") if sent.get(name, "") in of else "" for name, of in known.items()}
    return FirstAnswers(**picked, exam_day=day), faults


def keep_answers(store: Store, learner: Learner, given: FirstAnswers) -> None:
    """Keep what was answered: role, level and exam day as settings, how sure as what memory believes beforehand."""
    settings = _settings(learners.settings_of(learner), given)
    with store.writing(learner.id):
        store.keep_settings(learner.id, settings)
        projection.keep_priors(store, learner.id, priors(given))


def _settings(before: LearnerSettings, given: FirstAnswers) -> LearnerSettings:
    said = [one for one in (given.transposing, given.two_meridians) if one]
    level = LEVELS[min(LEVEL_OF[one] for one in said)] if said else before.level
    # Anyone who uses retinoscopy daily needs no course: ten minutes a week keep what is rarely used.
    weekly = given.role == CLINICIAN and before.sitting == LearnerSettings().sitting
    before = replace(before, sitting=WEEKLY) if weekly else before
    return replace(before, role=given.role or before.role, level=level, exam_day=given.exam_day or before.exam_day)


def priors(given: FirstAnswers) -> dict[str, tuple[float, float]]:
    """Return by step the mean and the variance of its strength beforehand."""
    out: dict[str, tuple[float, float]] = {}
    for said, types in ((given.two_meridians, TWO_MERIDIANS), (given.transposing, TRANSPOSING)):
        if said:
            out |= {step: (MEANS[said], VARIANCE) for one in types for step in _steps(one)}
    return out


def _steps(type_id: str) -> tuple[str, ...]:
    one = all_types().get(type_id)
    return tuple(step.skill.id for step in one.steps) if one else ()


def are_due(store: Store, learner: Learner) -> bool:
    """Say whether to ask: after the first case, once."""
    return not projection.was_asked(store, learner.id) and store.count_answers(learner.id) == 1
