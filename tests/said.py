"""What a reason says, as a person reads it."""

from typing import Any

from model.wood.reason import Reason
from model.words.display import Display, Units, plain
from model.words.reasons import in_sentences


def said(of: Any, units: Units = "metric") -> str:
    """The sentences of a reason, of whatever has one, or of several."""
    reason = of if isinstance(of, Reason | list | tuple) else of.reason
    return plain(in_sentences(reason, Display(units)))
