"""The tables refuse nonsense themselves, by constraints with names."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import CheckConstraint, insert, inspect, select
from sqlalchemy.exc import IntegrityError, StatementError

from model.records.schema.tables import (
    AirHour,
    BodyRow,
    Checkpoint,
    FitRow,
    Hanging,
    Margin,
    PieceRow,
    Place,
    Reading,
    Record,
    Sensor,
    Stay,
    Verdict,
)
from model.records.schema.types import from_epoch_ms, to_epoch_ms

AT = datetime(2026, 1, 1, 12, tzinfo=UTC)


@pytest.fixture
def session(store):
    with store.session() as unit:
        unit.add_all([Place(name="shop", kind="shop"), Sensor(name="s", accepted_at=AT), _piece()])
        unit.flush()
        yield unit


def _piece():
    return PieceRow(name="p", document={}, recorded_at=AT)


def reading(**change):
    return Reading(
        **{
            "sensor_id": 1,
            "observed_at": AT,
            "received_at": AT,
            "temperature_c": 20.0,
            "rh_pct": 40.0,
            **change,
        }
    )


def test_a_naive_instant_is_refused(session):
    session.add(reading(observed_at=datetime(2026, 1, 1)))  # noqa: DTZ001
    with pytest.raises(StatementError, match="must carry its zone"):
        session.flush()
    session.rollback()


def test_an_instant_comes_back_aware_in_utc_whatever_zone_it_was_given_in(session):
    there = timezone(timedelta(hours=-5))
    session.add(reading(observed_at=datetime(2026, 1, 1, 7, 0, 0, 123_000, tzinfo=there)))
    session.flush()
    session.expire_all()
    (found,) = session.scalars(select(Reading))
    assert found.observed_at == datetime(2026, 1, 1, 12, 0, 0, 123_000, tzinfo=UTC)
    assert found.observed_at.utcoffset() == timedelta(0)


def test_milliseconds_since_1970_and_back_are_the_identity():
    for at in (AT, datetime(1969, 12, 31, 23, 59, 59, 999_000, tzinfo=UTC), datetime(2900, 1, 1, tzinfo=UTC)):
        assert from_epoch_ms(to_epoch_ms(at)) == at
    with pytest.raises(ValueError, match="must carry its zone"):
        to_epoch_ms(datetime(2026, 1, 1))  # noqa: DTZ001


@pytest.mark.parametrize(
    ("row", "constraint"),
    [
        (lambda: reading(rh_pct=140.2), "ck_reading_rh_pct"),
        (lambda: reading(temperature_c=255.0), "ck_reading_temperature_c"),
        (lambda: reading(temperature_c=None, rh_pct=None), "ck_reading_something"),
        (lambda: Place(name="attic", kind="attic"), "ck_place_kind"),
        (lambda: Hanging(sensor_id=1, place_id=1, since_at=AT, until_at=AT), "ck_hanging_order"),
        (lambda: Stay(place_id=1, since_at=AT), "ck_stay_one_owner"),
        (lambda: Stay(place_id=1, piece_id=1, since_at=AT, until_at=AT), "ck_stay_order"),
        (
            lambda: AirHour(
                place_id=1, hour_at=AT, temperature_c=1.0, rh_pct=1.0, n_readings=0, basis="guessed"
            ),
            "ck_air_hour_basis",
        ),
        (
            lambda: Verdict(
                subject_kind="fit", subject_id=1, verdict="fine", since_at=AT, evaluated_at=AT,
                detail={},
            ),
            "ck_verdict_verdict",
        ),
    ],
)  # fmt: skip
def test_the_database_refuses_nonsense_by_a_named_constraint(session, row, constraint):
    session.add(row())
    with pytest.raises(IntegrityError, match=constraint):
        session.flush()
    session.rollback()


def test_a_redelivery_is_the_same_row(session):
    session.execute(insert(Reading), [_values(AT)])
    with pytest.raises(IntegrityError):
        session.execute(insert(Reading), [_values(AT)])
    session.rollback()


def _values(at):
    return {
        "sensor_id": 1,
        "observed_at": at,
        "received_at": at,
        "temperature_c": 20.0,
        "rh_pct": 40.0,
        "clock": "device",
    }


def test_what_hangs_on_a_row_that_is_gone_is_refused(session):
    session.add(Hanging(sensor_id=99, place_id=1, since_at=AT))
    with pytest.raises(IntegrityError, match="FOREIGN KEY"):
        session.flush()
    session.rollback()


def test_a_margin_s_standing_begins_with_itself(session):
    session.add(FitRow(piece_id=1, name="f", kind="panel-in-groove", document={}))
    session.flush()
    session.add(
        Margin(
            fit_id=1,
            limit_name="binds",
            at=AT,
            direction="swelling",
            severity="harms",
            margin_mm=1.0,
            play_mm=2.0,
        )
    )
    session.flush()
    (margin,) = session.scalars(select(Margin))
    assert (margin.standing, margin.standing_since_at) == ("clear", AT)


def test_every_constraint_and_index_has_a_name_and_every_instant_a_zone():
    for table in Record.metadata.tables.values():
        for constraint in table.constraints:
            assert constraint.name, f"{table.name}: {constraint}"
            if isinstance(constraint, CheckConstraint):
                assert str(constraint.name).startswith(f"ck_{table.name}_")
        for index in table.indexes:
            assert str(index.name).startswith(f"ix_{table.name}_")
        for column in table.columns:
            if column.name.endswith("_at") or column.name == "at":
                assert type(column.type).__name__ == "UtcDateTime", f"{table.name}.{column.name}"


def test_the_migrations_make_what_the_tables_say(store):
    found = inspect(store.engine)
    for name, table in Record.metadata.tables.items():
        columns = {column["name"]: column["nullable"] for column in found.get_columns(name)}
        assert columns == {column.name: column.nullable for column in table.columns}, name
    assert {BodyRow.__tablename__, Checkpoint.__tablename__} <= set(found.get_table_names())
