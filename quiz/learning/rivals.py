"""Other ways to forecast a learner's next answer, to hold the memory against: published models, each trained alike.

Each is trained on some learners' logs and then gives chances one answer ahead for others', whom it has never seen. They
are here to compare with and take no part in what a learner meets. Needs numpy and scipy.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from scipy import optimize, sparse
from scipy.special import expit

from quiz.learning.prediction_scores import Floats
from quiz.learning.state import Log

HOUR = 3600.0
SPANS = (HOUR, 24 * HOUR, 7 * 24 * HOUR, 30 * 24 * HOUR, math.inf)
"""The time windows of DAS3H, seconds: an hour, a day, a week, a month, ever."""


def answers_right(logs: Sequence[Log]) -> Floats:
    """Return 1 or 0 for every answer of the logs, one learner after the other."""
    return np.array([float(event.right) for log in logs for event in log])


class Rival(ABC):
    """One way to forecast."""

    name: str

    @abstractmethod
    def train(self, logs: Sequence[Log]) -> None:
        """Learn what can be learnt from these learners."""

    @abstractmethod
    def forecast(self, log: Log) -> list[float]:
        """Return the chance of a right answer for each of a learner's answers, each before it is taken in."""


class Constant(Rival):
    """The share of right answers, the same for every answer."""

    name = "constant"

    def __init__(self) -> None:
        self.share = 0.5

    def train(self, logs: Sequence[Log]) -> None:
        """Take the share."""
        self.share = float(answers_right(logs).mean())

    def forecast(self, log: Log) -> list[float]:
        """Return it for every answer."""
        return [self.share] * len(log)


class Elo(Rival):
    """Elo with a rating for the learner, for the learner's step and for the type; gains shrink as answers gather.

    Pelánek 2016, Computers & Education 98:169: a rating moves by K = a/(1 + b·n) times the surprise, n its answers so
    far, with a = 1 and b = .05. A case's rating is the learner's own plus the mean over its steps minus the type's.
    The types' ratings are learnt from the training learners and stay as they are for the others.
    """

    name = "Elo by step"
    a, b = 1.0, 0.05

    def __init__(self) -> None:
        self.hardness: dict[str, float] = defaultdict(float)
        self._met: dict[str, int] = defaultdict(int)

    def _gain(self, n: int) -> float:
        return self.a / (1 + self.b * n)

    def train(self, logs: Sequence[Log]) -> None:
        """Let the learners answer, one after the other, and rate the types."""
        for log in logs:
            list(self._through(log, learning=True))

    def forecast(self, log: Log) -> list[float]:
        """Rate a learner along the way."""
        return list(self._through(log, learning=False))

    def _through(self, log: Log, *, learning: bool) -> Iterator[float]:
        learner = 0.0
        ratings: dict[str, float] = defaultdict(float)
        met: dict[str, int] = defaultdict(int)
        for answered, event in enumerate(log):
            steps = event.chain
            mean = math.fsum(ratings[step] for step in steps) / len(steps)
            p = float(expit(learner + mean - self.hardness[event.type]))
            yield p
            surprise = event.right - p
            learner += self._gain(answered) * surprise
            for step in steps:
                ratings[step] += self._gain(met[step]) * surprise
                met[step] += 1
            if learning:
                self.hardness[event.type] -= self._gain(self._met[event.type]) * surprise
                self._met[event.type] += 1


class Regression(Rival):
    """A logistic regression on counts of what came before, with a ridge on every weight but the first."""

    ridge = 1.0

    def __init__(self) -> None:
        self.columns: dict[object, int] = {}
        self.weights = np.zeros(0)

    @abstractmethod
    def features(self, log: Log) -> Iterator[dict[object, float]]:
        """Give by name the features of each answer, from what came before it alone."""

    def _matrix(self, logs: Sequence[Log], *, learning: bool) -> sparse.csr_array:
        rows: list[int] = [0]
        places: list[int] = []
        values: list[float] = []
        for log in logs:
            for found in self.features(log):
                for name, value in found.items():
                    place = self.columns.get(name)
                    if place is None:
                        if not learning:
                            continue
                        place = self.columns[name] = len(self.columns)
                    places.append(place)
                    values.append(value)
                rows.append(len(places))
        return sparse.csr_array((values, places, rows), shape=(len(rows) - 1, len(self.columns)))

    def train(self, logs: Sequence[Log]) -> None:
        """Find the weights of the least loss."""
        self.columns = {"always": 0}
        x, y = self._matrix(logs, learning=True), answers_right(logs)
        ridge = np.full(x.shape[1], self.ridge)
        ridge[0] = 0.0
        turned = x.T.tocsr()

        def loss(w: Floats) -> tuple[float, Floats]:
            z = x @ w
            value = np.logaddexp(0, z).sum() - y @ z + 0.5 * (ridge * w) @ w
            return float(value), turned @ (expit(z) - y) + ridge * w

        found = optimize.minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 500})
        self.weights = np.asarray(found.x)

    def forecast(self, log: Log) -> list[float]:
        """Weigh what came before."""
        chances: list[float] = expit(self._matrix([log], learning=False) @ self.weights).tolist()
        return chances


class PerformanceFactors(Regression):
    """Performance factor analysis: a start for each step, and a weight for each success and each failure with it.

    Pavlik, Cen & Koedinger 2009, AIED 200:531: logit = Σ over steps of β + γ·successes + ρ·failures.
    """

    name = "PFA"

    def features(self, log: Log) -> Iterator[dict[object, float]]:
        """Count successes and failures by step."""
        wins: dict[str, int] = defaultdict(int)
        misses: dict[str, int] = defaultdict(int)
        for event in log:
            found: dict[object, float] = {"always": 1.0}
            for step in event.chain:
                found["start", step] = 1.0
                found["wins", step] = wins[step]
                found["misses", step] = misses[step]
            yield found
            for step in event.chain:
                (wins if event.right else misses)[step] += 1


class TimeWindows(Regression):
    """Attempts and successes within an hour, a day, a week, a month and ever, by step; types, and the learner so far.

    After DAS3H (Choffin, Popineau, Bourda & Vie 2019, EDM 12:29): log(1 + attempts) and log(1 + successes) in each
    window, weighed step by step and in common, and a weight for each type. A learner who was never seen has no weight
    of their own, so their ability is what their answers so far say: how much more often they were right than others at
    the same types, and log(1 + right) and log(1 + wrong) over all steps, in each window.
    """

    name = "time windows (like DAS3H)"

    def __init__(self) -> None:
        super().__init__()
        self.share: dict[str, float] = {}
        self.usual = 0.5

    def train(self, logs: Sequence[Log]) -> None:
        """Take each type's share of right answers, then find the weights."""
        self.usual = float(answers_right(logs).mean())
        seen: dict[str, list[int]] = defaultdict(lambda: [0, 0])
        for log in logs:
            for event in log:
                seen[event.type][0] += event.right
                seen[event.type][1] += 1
        self.share = {type_id: (right + 5 * self.usual) / (of + 5) for type_id, (right, of) in seen.items()}
        super().train(logs)

    def features(self, log: Log) -> Iterator[dict[object, float]]:
        """Count within the windows."""
        by_step: dict[str, _Windows] = defaultdict(_Windows)
        whole = _Windows()
        above = 0.0
        for answered, event in enumerate(log):
            found: dict[object, float] = {"always": 1.0, ("type", event.type): 1.0}
            for step in event.chain:
                found["start", step] = 1.0
                for span, tries, wins in by_step[step].counts(event.at):
                    _add(found, ("all tries", span), math.log1p(tries))
                    _add(found, ("all wins", span), math.log1p(wins))
                    found["tries", span, step] = math.log1p(tries)
                    found["wins", span, step] = math.log1p(wins)
            for span, tries, wins in whole.counts(event.at):
                found["right", span] = math.log1p(wins)
                found["wrong", span] = math.log1p(tries - wins)
            for prior in (3, 15, 60):
                found["ability", prior] = 10 * above / (answered + prior)
            yield {name: value for name, value in found.items() if value}
            above += event.right - self.share.get(event.type, self.usual)
            for one in (whole, *(by_step[step] for step in event.chain)):
                one.add(event.at, event.right)


def _add(found: dict[object, float], name: object, value: float) -> None:
    found[name] = found.get(name, 0.0) + value


class _Windows:
    """Attempts and successes within each span up to now."""

    def __init__(self) -> None:
        self.at: list[float] = []
        self.wins: list[int] = [0]
        self.first = [0] * len(SPANS)

    def add(self, at: float, right: bool) -> None:
        self.at.append(at)
        self.wins.append(self.wins[-1] + right)

    def counts(self, now: float) -> Iterator[tuple[int, int, int]]:
        """Give the number of each span, the attempts and the successes within it."""
        for number, span in enumerate(SPANS):
            first = self.first[number]
            while first < len(self.at) and now - self.at[first] > span:
                first += 1
            self.first[number] = first
            yield number, len(self.at) - first, self.wins[-1] - self.wins[first]


class KnowledgeTracing(Rival):
    """Bayesian knowledge tracing: each step is known or not, is learnt at a fixed rate and never forgotten.

    Corbett & Anderson 1995, User Modeling and User-Adapted Interaction 4:253. The four numbers of a step are those of
    the least loss on a grid, every answer that called for the step being counted as the step's own; a case's chance is
    the mean of its steps'.
    """

    name = "BKT"
    known = (0.1, 0.3, 0.5, 0.7, 0.85, 0.95)
    learnt = (0.01, 0.03, 0.08, 0.2, 0.4)
    guessed = (0.05, 0.15, 0.3, 0.45)
    slipped = (0.02, 0.06, 0.12, 0.2, 0.3)

    def __init__(self) -> None:
        self.grid = np.array(
            [(k, l, g, s) for k in self.known for l in self.learnt for g in self.guessed for s in self.slipped]  # noqa: E741
        ).T
        self.numbers: dict[str, tuple[float, float, float, float]] = {}
        self.usual = (0.5, 0.1, 0.2, 0.1)

    def train(self, logs: Sequence[Log]) -> None:
        """Find each step's four numbers, and those that do best over all steps for a step that was never seen."""
        sequences: dict[str, list[list[bool]]] = defaultdict(list)
        for log in logs:
            own: dict[str, list[bool]] = defaultdict(list)
            for event in log:
                for step in event.chain:
                    own[step].append(event.right)
            for step, answers in own.items():
                sequences[step].append(answers)
        total: Floats = np.zeros(self.grid.shape[1])
        for step, some in sequences.items():
            losses = sum((self._losses(answers) for answers in some), np.zeros(self.grid.shape[1]))
            total = total + losses
            self.numbers[step] = self._at(int(losses.argmin()))
        self.usual = self._at(int(total.argmin()))

    def _at(self, place: int) -> tuple[float, float, float, float]:
        known, learnt, guessed, slipped = self.grid[:, place].tolist()
        return known, learnt, guessed, slipped

    def _losses(self, answers: Sequence[bool]) -> Floats:
        known, learnt, guessed, slipped = self.grid
        loss = np.zeros(len(known))
        for right in answers:
            chance, known = traced(known, learnt, guessed, slipped, right)
            loss -= np.log(chance if right else 1 - chance)
        return loss

    def forecast(self, log: Log) -> list[float]:
        """Trace a learner's steps along the way."""
        known: dict[str, float] = {}
        out = []
        for event in log:
            chances = []
            for step in event.chain:
                start, learnt, guessed, slipped = self.numbers.get(step, self.usual)
                chance, known[step] = traced(known.get(step, start), learnt, guessed, slipped, event.right)
                chances.append(chance)
            out.append(math.fsum(chances) / len(chances))
        return out


def traced(known: Any, learnt: Any, guessed: Any, slipped: Any, right: bool) -> tuple[Any, Any]:
    """Return the chance of a right answer, and the chance that the step is known after the answer came.

    Corbett & Anderson 1995, equations 1 to 3: P(right) = K(1−S) + (1−K)G; K after the answer by Bayes' rule; then
    K + (1−K)·T. Numbers or arrays.
    """
    chance = known * (1 - slipped) + (1 - known) * guessed
    # By way of what is not known, which rounding cannot make negative: a chance beyond 1 would grow with every miss.
    unknown = (1 - known) * guessed / chance if right else (1 - known) * (1 - guessed) / (1 - chance)
    return chance, 1 - unknown * (1 - learnt)


def all_rivals() -> tuple[Rival, ...]:
    """Return every rival, untrained."""
    return Constant(), Elo(), PerformanceFactors(), KnowledgeTracing(), TimeWindows()
