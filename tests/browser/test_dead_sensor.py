"""The dead sensor: a home goes silent, and its readings come in one late batch."""

import shutil
from datetime import timedelta

from sqlalchemy import func, select

from model.records.acts.invalidation import mark_hours
from model.records.schema.tables import (
    Checkpoint,
    FitRow,
    Hanging,
    MemberRow,
    PieceRow,
    Place,
    Reading,
    Verdict,
)
from model.records.store import Store
from model.watch.run.evaluation import bring_up_to_date


def test_the_dead_sensor(shop, walking, tmp_path):
    hands = walking
    with shop.store.session() as session:
        piece = session.scalars(select(PieceRow.id).where(PieceRow.name == "Hall bench")).one()
        house = session.scalars(select(Place.id).where(Place.name == "Lake house")).one()
        sensor = session.scalars(select(Hanging.sensor_id).where(Hanging.place_id == house)).one()
        last = session.scalar(select(func.max(Reading.observed_at)).where(Reading.sensor_id == sensor))
    with shop.store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copyfile(shop.store.engine.url.database, tmp_path / "on_time.sqlite")

    # Nothing says that all is well.
    hands.open(shop.address)
    hands.until(lambda: silent_is_said(hands))
    (line,) = [line for line in hands.all(".note > li") if "Hall bench" in line]
    assert "not known" in line
    hands.open(f"{shop.address}/piece/{piece}")
    hands.until(lambda: "No reading from Lake house for 5 days" in hands.text)
    assert "not known" in hands.text
    # The band has widened while nothing was heard.
    silent_days = spread(shop.store, piece)
    assert silent_days[-1] > silent_days[0] + 0.1

    # The late batch arrives.
    hours = range(1, int((shop.now - last) / timedelta(hours=1)) + 1)
    late_air(shop.store, sensor, last, hours)
    bring_up_to_date(shop.store, shop.now)
    hands.reload()
    hands.until(lambda: not silent_is_said(hands) and "Hall bench" in hands.text)
    assert "not known" not in hands.read("#page .lead")
    assert spread(shop.store, piece)[-1] < silent_days[-1] - 0.1
    hands.open(shop.address)
    hands.until(lambda: hands.all("#page .note > li"))
    assert not silent_is_said(hands)

    # It is the verdict that would have been, had every hour come when it was measured.
    on_time = Store(f"sqlite:///{tmp_path / 'on_time.sqlite'}")
    for hour in hours:
        late_air(on_time, sensor, last, [hour])
        if hour % 24 == 0:
            bring_up_to_date(on_time, last + timedelta(hours=hour))
    bring_up_to_date(on_time, shop.now)
    assert verdicts(shop.store, piece) == verdicts(on_time, piece)
    on_time.close()


def silent_is_said(hands) -> bool:
    """Whether the page says, at the head of a sentence or within one, that nothing came from the house."""
    return "no reading from lake house" in hands.text.casefold()


def late_air(store, sensor: int, last, hours) -> None:
    """The air of some hours after the last that was heard."""
    with store.session() as session:
        for hour in hours:
            at = last + timedelta(hours=hour)
            session.add(
                Reading(
                    sensor_id=sensor,
                    observed_at=at,
                    received_at=at,
                    temperature_c=4.0 + 0.1 * (hour % 4),
                    rh_pct=70.0 + 0.2 * (hour % 5),
                )
            )
        session.flush()
        mark_hours(session, [sensor], last + timedelta(hours=hours[0]))


def spread(store, piece: int) -> list[float]:
    """How uncertain the moisture of the piece's first member is, at the last midnights and now [points]."""
    with store.session() as session:
        body = session.scalars(
            select(MemberRow.id).where(MemberRow.piece_id == piece).order_by(MemberRow.id)
        ).first()
        variances = session.scalars(
            select(Checkpoint.variance_pct2).where(Checkpoint.body_id == body).order_by(Checkpoint.at)
        ).all()
    return [variance**0.5 for variance in variances[-6:]]


def verdicts(store, piece: int) -> list[tuple]:
    """How the piece and each of its fits stand, in every word."""
    with store.session() as session:
        fits = session.scalars(select(FitRow.id).where(FitRow.piece_id == piece)).all()
        return [
            (row.subject_kind, row.subject_id, row.verdict, row.since_at, row.detail)
            for row in session.scalars(select(Verdict).order_by(Verdict.subject_kind, Verdict.subject_id))
            if (row.subject_kind == "piece" and row.subject_id == piece)
            or (row.subject_kind == "fit" and row.subject_id in fits)
        ]
