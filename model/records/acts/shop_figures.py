"""The shop's own figures for drawn cases, kept in the book [mm]."""

from collections.abc import Mapping

from sqlalchemy.orm import Session

from model.records.schema.tables import Preference
from model.wood.design.patterns.shop_figures import FIGURES, ShopFigures

KEPT_AS = "shop figures"
"""Name of the preference that holds them: figure by name, in mm."""


def figures_of(session: Session) -> dict[str, float]:
    """The shop's own figures [mm]; those that are as usual are left out."""
    row = session.get(Preference, KEPT_AS)
    value = row.value if row is not None else {}
    return {name: float(length) for name, length in value.items() if name in FIGURES}


def keep_figures(session: Session, own_mm: Mapping[str, float]) -> None:
    """Keep the shop's own figures in place of all kept before.

    Raises
    ------
    BadInput
        For the name of no figure, or one that is not more than 0.
    """
    ShopFigures("metric", own_mm)
    session.merge(Preference(name=KEPT_AS, value=dict(own_mm)))
