"""Writing down what was measured on wood: its moisture content, its width, the gap of a fit."""

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy.orm import Session

from model.records.acts.invalidation import aware, note_change, rewind
from model.records.schema.tables import BodyRow, FitRow, Measurement, MemberRow, Stack
from model.wood.errors import BadInput
from model.wood.fits import kind_named
from model.wood.material.instruments import OVEN_DOUBT_PCT

QUANTITIES = {"mc_pct": (0.0, 60.0, "%"), "width_mm": (1.0, 3000.0, "mm"), "gap_mm": (0.0, 100.0, "mm")}

# One standard deviation when none is given. A hand meter is good to about one point at two deviations
# (Wood Handbook ch. 13), an oven and scale to a tenth; half a millimetre for a rule across a panel and two
# tenths for feelers are common practice, no source.
USUAL_UNCERTAINTY = {"mc_pct": 0.5, "width_mm": 0.25, "gap_mm": 0.1}


def record_measurement(
    session: Session,
    body: BodyRow,
    quantity: str,
    value: float,
    at: datetime,
    uncertainty: float | None = None,
    fit: FitRow | None = None,
    how: str = "",
    sensor_id: int | None = None,
) -> Measurement:
    """Record a measurement; what was computed for the wood from that hour on is computed again.

    Parameters
    ----------
    body : Body
        The member or stack measured.
    quantity : str
        ``mc_pct`` re-anchors the moisture; ``width_mm`` makes a new pair of width and moisture;
        ``gap_mm`` is the play measured at one of the piece's fits.
    value, uncertainty : float
        In the quantity's unit; the uncertainty is a ±, to the 10th and the 90th percentile.
    fit : Fit, optional
        Whose gap it is; required for ``gap_mm``.
    how : str
        pin meter, oven, weighed board, caliper, feeler ...

    Raises
    ------
    BadInput
        For a value out of range, an instant before the record of the wood begins, a stack's width ...
    """
    where = f"{body.kind} {body.name}"
    at = aware(at, where, "at")
    if quantity not in QUANTITIES:
        raise BadInput(where, "quantity", f"must be one of {', '.join(QUANTITIES)}", quantity)
    least, most, unit = QUANTITIES[quantity]
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        raise BadInput(where, quantity, f"must be a number in {least:g} to {most:g} {unit}", value)
    if uncertainty is None:
        exact = quantity == "mc_pct" and "oven" in how.lower()
        uncertainty = OVEN_DOUBT_PCT if exact else USUAL_UNCERTAINTY[quantity]
    if isinstance(uncertainty, bool) or not 0.0 < uncertainty <= most:
        raise BadInput(where, "uncertainty", f"must be more than 0 and at most {most:g} {unit}", uncertainty)
    if at < body.start_at:
        raise BadInput(
            where,
            "at",
            f"must not come before its record begins ({body.start_at.isoformat()})",
            at.isoformat(),
        )
    if isinstance(body, Stack) and quantity != "mc_pct":
        raise BadInput(where, "quantity", "must be mc_pct for a stack", quantity)
    if quantity == "gap_mm":
        if fit is None:
            raise BadInput(where, "fit", "must be given for a gap", fit)
        if not isinstance(body, MemberRow) or fit.piece_id != body.piece_id:
            raise BadInput(where, "fit", "must be a fit of the same piece", fit.name)
        if kind_named(fit.kind).gap_attribute is None:
            raise BadInput(
                where, "fit", f"must have a gap that can be measured; a {fit.kind} has none", fit.name
            )
    note_change(session)
    rewind(session, body, at)
    measurement = Measurement(
        body_id=body.id,
        fit_id=fit.id if fit is not None else None,
        at=at,
        quantity=quantity,
        value=float(value),
        uncertainty=float(uncertainty),
        how=how,
        sensor_id=sensor_id,
    )
    session.add(measurement)
    session.flush()
    return measurement


def withdraw_measurements(session: Session, rows: Iterable[Measurement]) -> None:
    """Take measurements that were made of a sensor's readings out of the book, as if they had never been."""
    for row in rows:
        note_change(session)
        rewind(session, session.get_one(BodyRow, row.body_id), row.at)
        session.delete(row)
    session.flush()
