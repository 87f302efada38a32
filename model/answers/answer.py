"""An answer to one of the maker's questions: a verdict, its reasons, and when it changes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from model.wood.reason import Reason


@dataclass(frozen=True)
class Answer:
    """A verdict with its reasons, those `against` first.

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
    detail: Mapping[str, Any] = field(default_factory=dict)

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
            "reasons": [one.document() for one in self.reasons],
            "earliest": None if earliest is None else {"low_days": earliest[0], "high_days": earliest[1]},
            "holds_until": None if self.holds_days is None else {"low_days": self.holds_days},
            **self.detail,
        }
