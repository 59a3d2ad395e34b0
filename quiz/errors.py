"""The one base of every error that `quiz` raises on purpose; its message is meant for a person to read."""


class QuizError(Exception):
    """What was asked, what stands in its way, and what would be right, in one sentence."""
