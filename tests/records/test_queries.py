"""What a page asks the book for."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from model.records.queries import overview as queries
from model.records.queries import series, traces
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    Doubt,
    FitRow,
    Hanging,
    HeardMessage,
    Margin,
    Measurement,
    MemberRow,
    PieceRow,
    Place,
    Reading,
    Sensor,
    Stay,
    Verdict,
    Warning,
)

NOW = datetime(2026, 2, 10, 15, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def add(session, *rows):
    session.add_all(rows)
    session.flush()
    return rows[0] if len(rows) == 1 else rows


@pytest.fixture
def shop(session):
    return add(session, Place(name="Shop", kind="shop"))


@pytest.fixture
def bench(session, shop):
    """A piece with one member and one fit, in the shop for thirty days."""
    piece = PieceRow(name="Bench", document={"name": "Bench"}, recorded_at=NOW)
    piece.members.append(MemberRow(name="back", document={"width": 300.0}, start_at=NOW, start_mc_pct=8.0))
    piece.fits.append(FitRow(name="panel", kind="panel-in-groove", document={"part": "back"}))
    piece.stays.append(Stay(place_id=shop.id, since_at=NOW - timedelta(days=30)))
    return add(session, piece)


def hour_of_air(place, at, rh_pct, basis="measured"):
    return AirHour(
        place_id=place.id, hour_at=at, temperature_c=20.0, rh_pct=rh_pct, n_readings=1, basis=basis
    )


def checkpoint(body, at, mc_pct, width_mm=300.0, estimated_hours=0):
    return Checkpoint(
        body_id=body.id,
        at=at,
        profile_pct=b"",
        mc_mean_pct=mc_pct,
        mc_face_pct=mc_pct,
        mc_core_pct=mc_pct,
        mc_back_pct=mc_pct,
        width_mm=width_mm,
        estimated_hours=estimated_hours,
    )


def margin(fit, name, at, margin_mm):
    return Margin(
        fit_id=fit.id,
        limit_name=name,
        at=at,
        direction="swelling",
        severity="harms",
        margin_mm=margin_mm,
        play_mm=3.0,
        standing="clear",
    )


def test_an_empty_book_answers_everything_with_nothing(session):
    shop = queries.shop(session, NOW)
    assert shop.places == shop.pieces == shop.stacks == shop.warnings == ()
    assert shop.heard_topics == shop.sensors == 0
    assert queries.piece(session, 1, NOW) is None


def test_a_place_tells_its_latest_air_and_none_from_the_future(session, shop):
    add(session, hour_of_air(shop, NOW - HOUR, 44.0), hour_of_air(shop, NOW + HOUR, 90.0))
    (place,) = queries.places(session, NOW)
    assert place.air is not None
    assert place.air.rh_pct == 44.0
    assert place.air.hour_at == NOW - HOUR


def test_a_place_was_last_heard_through_whatever_hangs_there_now(session, shop):
    hung, gone = Sensor(name="hung", accepted_at=NOW), Sensor(name="gone", accepted_at=NOW)
    add(session, hung, gone)
    add(
        session,
        Hanging(sensor_id=hung.id, place_id=shop.id, since_at=NOW - 9 * HOUR),
        Hanging(sensor_id=gone.id, place_id=shop.id, since_at=NOW - 9 * HOUR, until_at=NOW - 5 * HOUR),
        *(
            Reading(sensor_id=sensor.id, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=40.0)
            for sensor, at in ((hung, NOW - 3 * HOUR), (hung, NOW - 2 * HOUR), (gone, NOW - HOUR))
        ),
    )
    (place,) = queries.places(session, NOW)
    assert place.last_reading_at == NOW - 2 * HOUR
    assert place.sensors == ("hung",)


def test_the_shop_comes_first_then_the_rest_by_name(session, shop):
    add(
        session,
        Place(name="attic", kind="storage"),
        Place(name="Zoo", kind="home"),
        Place(name="An", kind="home"),
    )
    assert [place.name for place in queries.places(session, NOW)] == ["Shop", "attic", "An", "Zoo"]


def test_a_piece_stands_where_its_open_stay_is(session, bench, shop):
    home = add(session, Place(name="Home", kind="home"))
    bench.stays[0].until_at = NOW - timedelta(days=3)
    add(session, Stay(piece_id=bench.id, place_id=home.id, since_at=NOW - timedelta(days=3)))
    (piece,) = queries.pieces(session, NOW)
    assert piece.place is not None
    assert piece.place.name == "Home"
    assert [stay.place for stay in queries.stays(session, piece_id=bench.id)] == ["Shop", "Home"]


def test_a_piece_that_is_to_be_moved_tomorrow_stands_here_today(session, bench):
    home = add(session, Place(name="Home", kind="home"))
    bench.stays[0].until_at = NOW + timedelta(days=1)
    add(session, Stay(piece_id=bench.id, place_id=home.id, since_at=NOW + timedelta(days=1)))
    (piece,) = queries.pieces(session, NOW)
    assert piece.place is not None
    assert piece.place.name == "Shop"


def test_one_piece_tells_its_latest_moisture_and_margins(session, bench):
    (member,), (fit,) = bench.members, bench.fits
    for hours, mc_pct in ((48, 8.0), (24, 8.5), (1, 8.6)):
        add(
            session,
            checkpoint(member, NOW - hours * HOUR, mc_pct),
            margin(fit, "groove-bottom", NOW - hours * HOUR, 3.0 - mc_pct / 10),
        )
    piece = queries.piece(session, bench.id, NOW)
    assert piece is not None
    assert piece.members[0].moisture is not None
    assert piece.members[0].moisture.mc_mean_pct == 8.6
    (left,) = piece.fits[0].margins
    assert left.margin_mm == pytest.approx(2.14)


def test_a_verdict_comes_with_what_it_is_about(session, bench):
    add(
        session,
        Verdict(
            subject_kind="fit",
            subject_id=bench.fits[0].id,
            verdict="near",
            since_at=NOW,
            evaluated_at=NOW,
            detail={"margin_mm": 0.3},
        ),
    )
    (piece,) = queries.pieces(session, NOW)
    assert piece.fits[0].judgement.verdict == "near"
    assert piece.fits[0].judgement.detail == {"margin_mm": 0.3}
    assert piece.judgement.verdict == "unknown"


def test_retired_pieces_are_left_out_unless_asked_for(session, bench):
    bench.retired_at = NOW
    session.flush()
    assert queries.pieces(session, NOW) == ()
    assert len(queries.pieces(session, NOW, retired=True)) == 1


def test_open_warnings_come_newest_first(session):
    for name, at, closed in (("a", 3, None), ("b", 2, None), ("c", 1, NOW)):
        add(
            session,
            Warning(
                subject_kind="fit",
                subject_id=1,
                limit_name=name,
                from_verdict="clear",
                to_verdict="near",
                detail={},
                opened_at=NOW - at * HOUR,
                closed_at=closed,
            ),
        )
    assert [warning.limit_name for warning in queries.warnings(session)] == ["b", "a"]
    assert [warning.limit_name for warning in queries.warnings(session, open_only=False)] == ["c", "b", "a"]


def test_topics_heard_are_counted_once_each(session):
    add(session, *(HeardMessage(topic=topic, payload=b"1", received_at=NOW) for topic in ("a", "a", "b")))
    assert queries.shop(session, NOW).heard_topics == 2


# ---------------------------------------------------------------- series


def test_a_tide_is_in_order_within_its_span_and_says_what_was_bridged(session, bench):
    (member,) = bench.members
    for day, hours in ((3, 0), (1, 20), (2, 0), (9, 0)):
        add(session, checkpoint(member, NOW - timedelta(days=day), 8.0 + day, 300.0 + day, hours))
    tide = series.tide(session, member.id, NOW - timedelta(days=5), NOW)
    assert tide.width_mm.tolist() == [303.0, 302.0, 301.0]
    assert tide.estimated.tolist() == [False, False, True]
    assert tide.at[0] == np.datetime64("2026-02-07T15:00:00", "ms")


def test_air_is_read_by_the_hour(session, shop):
    add(session, hour_of_air(shop, NOW, 50.0, "estimated"), hour_of_air(shop, NOW - HOUR, 49.0))
    air = series.air(session, shop.id, NOW - 5 * HOUR, NOW)
    assert air.rh_pct.tolist() == [49.0, 50.0]
    assert air.estimated.tolist() == [False, True]
    assert len(series.air(session, shop.id, NOW - 9 * HOUR, NOW - 8 * HOUR).at) == 0


def test_a_trace_is_raw_with_gaps_for_what_was_not_sent_and_its_doubts(session, shop):
    sensor = add(session, Sensor(name="bench", accepted_at=NOW))
    add(
        session,
        Hanging(sensor_id=sensor.id, place_id=shop.id, since_at=NOW - 3 * HOUR),
        *(
            Reading(
                sensor_id=sensor.id, observed_at=NOW - h * HOUR, received_at=NOW, temperature_c=t, rh_pct=rh
            )
            for h, t, rh in ((5, 20.0, 10.0), (2, 20.0, 40.0), (1, None, 41.0))
        ),
        Doubt(sensor_id=sensor.id, kind="stuck", since_at=NOW - 2 * HOUR, reason="stuck", raised_at=NOW),
        Doubt(
            sensor_id=sensor.id,
            kind="spike",
            since_at=NOW - 2 * HOUR,
            reason="undone",
            raised_at=NOW,
            undone_at=NOW,
        ),
    )
    (trace,) = traces.traces(session, shop.id, NOW - 9 * HOUR, NOW)
    assert trace.rh_pct.tolist() == [40.0, 41.0]
    assert np.isnan(trace.temperature_c).tolist() == [False, True]
    assert [reason for _, _, reason in trace.doubts] == ["stuck"]


def test_measurements_that_were_undone_are_no_events(session, bench):
    (member,) = bench.members
    for value, undone in ((8.1, None), (9.9, NOW)):
        add(
            session,
            Measurement(
                body_id=member.id,
                at=NOW,
                quantity="mc_pct",
                value=value,
                uncertainty=0.5,
                how="pin meter",
                undone_at=undone,
            ),
        )
    assert [event.value for event in queries.measurements(session, member.id)] == [8.1]
