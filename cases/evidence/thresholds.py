"""A fixed value that marks or decides, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from cases.evidence.sources import COMMON, check_sources


@dataclass(frozen=True)
class Threshold:
    """One such value in a sentence. A file of case types lists its own in THRESHOLDS, beside TYPES."""

    says: str
    """What it is, with the number and its unit, without a full stop."""
    sources: tuple[str, ...] = (COMMON,)
    """Keys of evidence/sources.toml."""

    def __post_init__(self) -> None:
        """Refuse keys that name no source, with UnknownSource or BadSource."""
        check_sources(self.sources)
