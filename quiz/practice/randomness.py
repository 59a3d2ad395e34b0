"""Where chance comes from: handed down from `create_app`, so that a test can say what falls."""

from __future__ import annotations

import random
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field

SEEDS = 2**31


@dataclass(frozen=True)
class Lots:
    """Names of cases that cannot be guessed, seeds to draw cases from, and picks among equals."""

    new_id: Callable[[], str] = lambda: secrets.token_urlsafe(12)
    new_seed: Callable[[], int] = lambda: secrets.randbelow(SEEDS)
    new_secret: Callable[[], str] = lambda: secrets.token_urlsafe(24)
    pick: Callable[[str], str] = secrets.choice
    """One mark of an alphabet, for codes that must not be guessed."""
    rng: random.Random = field(default_factory=secrets.SystemRandom)
