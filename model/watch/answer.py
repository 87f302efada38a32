"""An answer to one of the maker's questions: a verdict, its reasons in words, and when it changes."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Reason:
    """One reason: whether it speaks for or against, and the numbers behind the words."""

    key: str
    says: str
    against: bool = False
    numbers: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Answer:
    """A verdict with its reasons, those against first.

    Attributes
    ----------
    verdict : str
        go, wait or not today.
    earliest_days : (int, int) or None
        In how many days it may be otherwise, as a range; the second is None where it may take longer than
        was looked at. None when it is so now, or never as things are.
    holds_days : int or None
        For how many days at least it stays as it is; None when nothing says otherwise.
    """

    question: str
    subject: str
    verdict: str
    reasons: tuple[Reason, ...]
    earliest_days: tuple[int, int | None] | None = None
    holds_days: int | None = None
    detail: dict[str, Any] = field(default_factory=dict)

    @property
    def yes(self) -> bool:
        """Whether it may be done."""
        return self.verdict == "go"

    def document(self) -> dict[str, Any]:
        """As JSON; `earliest` and `holds_until` are in whole days from now."""
        earliest = self.earliest_days
        return {
            "question": self.question,
            "subject": self.subject,
            "verdict": self.verdict,
            "reasons": [
                {"key": one.key, "says": one.says, "against": one.against, **one.numbers}
                for one in self.reasons
            ],
            "earliest": None if earliest is None else {"low_days": earliest[0], "high_days": earliest[1]},
            "holds_until": None if self.holds_days is None else {"low_days": self.holds_days},
            **self.detail,
        }


def days_said(days: tuple[int, int | None]) -> str:
    """A range of days in words, in weeks where they are many."""
    low, high = days
    if high is None:
        return f"in {counted(low)} at the soonest"
    if low == high:
        return f"in {counted(low)}"
    if low >= 14:
        weeks = max(low // 7, 1), -(-high // 7)
        return f"in {weeks[0]} to {weeks[1]} weeks" if weeks[0] < weeks[1] else f"in {weeks[1]} weeks"
    return f"in {low} to {high} days"


def counted(days: int) -> str:
    """A number of days in words, in weeks where they are many."""
    if days >= 14:
        return f"{days // 7} weeks"
    return "a day" if days == 1 else f"{days} days"
