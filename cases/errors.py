"""The one base of every error that `cases` raises on purpose; its message is meant for a person to read."""


class CaseError(ValueError):
    """What was given, what is wrong with it, and what would be right, in one sentence."""


class OutOfRange(CaseError):
    """A quantity lies outside what its definition or the trade allows."""

    def __init__(self, quantity: str, given: str, rule: str) -> None:
        super().__init__(f"{quantity} {given}: {rule}")
        self.quantity = quantity
        self.given = given
        self.rule = rule


class NoFiniteEquivalent(CaseError):
    """A lens moved to where its focus lies has no finite power there."""

    def __init__(self, power: float, toward_eye_mm: float) -> None:
        super().__init__(
            f"power {power:+.2f} D moved by {toward_eye_mm:+.1f} mm has no finite equivalent: "
            "distance in metres × power must differ from 1"
        )
        self.power = power
        self.toward_eye_mm = toward_eye_mm
