"""Why something is so, as data: `model.words` says it, in a viewer's units."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self


@dataclass(frozen=True)
class Reason:
    """A reason without words.

    Attributes
    ----------
    key : str
        Which reason it is; `model.words.reasons` has a sentence for each.
    values : mapping of name to value
        Names as people call things, numbers in SI with the unit last in the name (`margin_mm`), aware
        instants (`from_at`), and reasons within the reason, one or several. `also` holds reasons that are
        said after it, each in a sentence of its own.

    Examples
    --------
    >>> near = Reason("near", {"margin_mm": 0.4, "seen": Reason("binds", {"parts": ("the lid",)})})
    >>> Reason.of(near.document()) == near
    True
    """

    key: str
    values: Mapping[str, Any] = field(default_factory=dict)

    def document(self) -> dict[str, Any]:
        """As JSON: the key beside the values."""
        return {"key": self.key, **{name: _plain(value) for name, value in self.values.items()}}

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Self:
        """A reason from its document; what else stands in the document is kept among the values."""
        values = {name: _read(name, value) for name, value in document.items() if name != "key"}
        return cls(document.get("key", ""), values)


def _plain(value: Any) -> Any:
    if isinstance(value, str | float | int):
        return value
    if isinstance(value, Reason):
        return value.document()
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return value.isoformat() if isinstance(value, datetime) else value


def _read(name: str, value: Any) -> Any:
    if isinstance(value, Mapping) and "key" in value:
        return Reason.of(value)
    if isinstance(value, list | tuple):
        return tuple(_read(name, one) for one in value)
    if name.endswith("_at") and isinstance(value, str):
        return datetime.fromisoformat(value)
    return value
