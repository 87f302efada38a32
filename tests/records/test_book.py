"""Writing the book: what each change stores, refuses, and takes back."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from model.records.acts import book, hangings, measured
from model.records.acts.invalidation import BOOK, mark_hours
from model.records.acts.places import add_place, change_place
from model.records.acts.revisions import recorded, take_back
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    FitRow,
    Margin,
    Measurement,
    MemberRow,
    PieceRow,
    Place,
    Reading,
    RunningCount,
    Sensor,
    StaleHour,
    Stay,
    Verdict,
    Warning,
)
from model.wood.errors import BadInput
from model.wood.piece import document_of, read_piece

AT = datetime(2026, 3, 1, 9, 20, tzinfo=UTC)
DAY = timedelta(days=1)

BENCH = """
[piece]
name = "Hall bench"
note = "for the flat"
[part.back]
species = "white ash"
ring_angle_deg = 20
width = "14 1/2in"
mc_pct = 8.0
thickness = "5/8in"
finish = { face = "oil-modified urethane varnish", coats = 3, back = "none" }
[part.front]
species = "hard maple"
cut = "quarter-sawn"
width = "180mm"
mc_pct = 7.5
thickness = "19mm"
[fit.back_panel]
kind = "panel-in-groove"
part = "back"
held = "centre"
sight_width = "14in"
groove_depth = "3/8in"
[fit.front]
kind = "front-in-opening"
parts = "front"
gap = "1.6mm"
"""


@pytest.fixture
def bench(session, places):
    return book.add_piece(session, read_piece(BENCH), places[0], AT)


def fill(session, piece, days=5):
    """Computed rows as the watch leaves them: each midnight and the latest hour."""
    for number in range(days):
        at = datetime(2026, 3, 1, tzinfo=UTC) + number * DAY
        for member in piece.members:
            session.add(
                Checkpoint(
                    body_id=member.id, at=at, profile_pct=b"", mc_mean_pct=8.0, mc_face_pct=8.0,
                    mc_core_pct=8.0, mc_back_pct=8.0, width_mm=100.0,
                )
            )  # fmt: skip
        for fit in piece.fits:
            session.add(
                Margin(
                    fit_id=fit.id, limit_name="binds", at=at, direction="swelling", severity="harms",
                    margin_mm=1.0, play_mm=2.0, standing_since_at=at,
                )
            )  # fmt: skip
    session.flush()


def instants(session, table=Checkpoint):
    return sorted(set(session.scalars(select(table.at))))


def changes(session):
    return session.scalar(select(RunningCount.count).where(RunningCount.name == BOOK))


# ---------------------------------------------------------------- places


def test_a_place_is_recorded_with_its_zone(session):
    place = add_place(session, " Lake house ", "home", "Europe/Vienna", note="shut half the year")
    assert (place.name, place.kind, place.zone) == ("Lake house", "home", "Europe/Vienna")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": "shop"}, "place name must not be taken yet, got 'shop'"),
        ({"name": " "}, "place name must be given"),
        ({"kind": "attic"}, "kind must be one of shop, storage, home, got 'attic'"),
        ({"zone": "Middle/Earth"}, "zone must be the name of a time zone"),
        ({"wood_offset_c": 40.0}, "wood_offset_c must be a number in -15 to 15 K, got 40.0"),
    ],
)
def test_a_senseless_place_is_refused_in_one_sentence(session, places, change, says):
    with pytest.raises(BadInput, match=says):
        add_place(session, **{"name": "loft", "kind": "home", **change})


def test_changing_the_wood_s_offset_marks_every_hour_with_a_reading(session, places):
    sensor = _sensor(session)
    hangings.hang_sensor(session, sensor, places[0], AT)
    for number in range(3):
        _read(session, sensor, AT + number * timedelta(hours=1))
    change_place(session, places[0], name="big shop")
    assert session.scalar(select(func.count()).select_from(StaleHour)) == 0
    change_place(session, places[0], wood_offset_c=-2.0)
    assert session.scalar(select(func.count()).select_from(StaleHour)) == 3
    with pytest.raises(BadInput, match="must be one of name"):
        change_place(session, places[0], colour="green")


# ---------------------------------------------------------------- pieces


def test_a_piece_becomes_rows_and_is_read_back_as_it_was(session, bench):
    assert document_of(book.load_piece(session, bench)) == document_of(read_piece(BENCH))
    assert [(member.name, member.start_mc_pct) for member in bench.members] == [("back", 8.0), ("front", 7.5)]
    assert {member.start_at for member in bench.members} == {AT}
    assert [fit.kind for fit in bench.fits] == ["panel-in-groove", "front-in-opening"]
    assert [(stay.since_at, stay.until_at) for stay in bench.stays] == [(AT, None)]


def test_a_member_starts_when_it_was_measured(session, places):
    measured_at = 'mc_pct = 8.0\nmeasured_at = 2026-02-20T10:00:00+00:00\nmc_basis = "assumed"'
    row = book.add_piece(session, read_piece(BENCH.replace("mc_pct = 8.0", measured_at)), places[0], AT)
    back = next(member for member in row.members if member.name == "back")
    assert (back.start_at, back.start_basis) == (datetime(2026, 2, 20, 10, tzinfo=UTC), "assumed")


def test_a_taken_name_and_a_naive_instant_are_refused(session, bench, places):
    with pytest.raises(BadInput, match="piece name must not be taken yet, got 'Hall bench'"):
        book.add_piece(session, read_piece(BENCH), places[0], AT)
    other = read_piece(BENCH.replace("Hall", "Porch"))
    with pytest.raises(BadInput, match="since_at must carry its offset from UTC"):
        book.add_piece(session, other, places[0], datetime(2026, 3, 1))  # noqa: DTZ001


def test_a_correction_keeps_rows_stays_and_measurements_and_takes_back_what_was_computed(
    session, bench, places
):
    back = bench.members[0]
    book.move(session, bench, places[1], AT + DAY)
    measured.record_measurement(session, back, "mc_pct", 8.5, AT + DAY)
    fill(session, bench)
    ids = back.id, bench.fits[0].id
    with recorded(session, "correction", AT) as revision:
        book.replace_piece(session, bench, read_piece(BENCH.replace('"5/8in"', '"3/4in"')))
    assert (bench.members[0].id, bench.fits[0].id) == ids
    assert bench.members[0].document["thickness"] == pytest.approx(19.05)
    assert instants(session) == []
    assert len(bench.stays) == 2
    assert session.scalar(select(func.count()).select_from(Measurement)) == 1
    take_back(session, revision.id, AT)
    assert document_of(book.load_piece(session, bench)) == document_of(read_piece(BENCH))


def test_a_fit_that_is_gone_takes_its_verdict_and_warnings_along(session, bench):
    fit = bench.fits[1]
    _judge(session, fit)
    text = BENCH[: BENCH.index("[fit.front]")]
    book.replace_piece(session, bench, read_piece(text))
    assert [f.name for f in bench.fits] == ["back_panel"]
    assert session.scalar(select(func.count()).select_from(Verdict)) == 0
    assert session.scalar(select(func.count()).select_from(Warning)) == 0


def test_a_piece_recorded_by_mistake_leaves_nothing(session, places):
    with recorded(session, "entry", AT) as revision:
        bench = book.add_piece(session, read_piece(BENCH), places[0], AT)
    fill(session, bench)
    _judge(session, bench.fits[0])
    take_back(session, revision.id, AT)
    for table in (PieceRow, MemberRow, FitRow, Stay, Checkpoint, Margin, Verdict, Warning):
        assert session.scalar(select(func.count()).select_from(table)) == 0


# ---------------------------------------------------------------- moves


def test_a_move_closes_one_stay_opens_another_and_rewinds_from_its_hour(session, bench, places):
    fill(session, bench)
    at = datetime(2026, 3, 3, 0, 40, tzinfo=UTC)
    book.move(session, bench, places[1], at)
    assert [(stay.place_id, stay.until_at) for stay in bench.stays] == [(1, at), (2, None)]
    kept = [datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 3, 2, tzinfo=UTC)]
    assert instants(session) == kept
    assert instants(session, Margin) == kept


def test_undoing_a_move_opens_the_stay_before(session, bench, places):
    fill(session, bench)
    with recorded(session, "move", AT + DAY) as revision:
        book.move(session, bench, places[1], AT + DAY)
    fill_again = instants(session)
    take_back(session, revision.id, AT + DAY)
    assert [(stay.place_id, stay.until_at) for stay in bench.stays] == [(1, None)]
    assert instants(session) == fill_again
    with pytest.raises(BadInput, match="can't be taken back any more"):
        take_back(session, revision.id, AT + DAY)


def test_a_move_before_the_last_one_or_to_where_it_stands_is_refused(session, bench, places):
    with pytest.raises(BadInput, match="must come after its last move"):
        book.move(session, bench, places[1], AT)
    with pytest.raises(BadInput, match="must be another than where it stands, got 'shop'"):
        book.move(session, bench, places[0], AT + DAY)


def test_a_retired_piece_is_not_moved(session, bench, places):
    with recorded(session, "change", AT + DAY) as revision:
        book.retire(session, bench, AT + DAY)
    with pytest.raises(BadInput, match="must come before it was retired"):
        book.move(session, bench, places[1], AT + 2 * DAY)
    with pytest.raises(BadInput, match="must come after"):
        book.retire(session, bench, AT)
    take_back(session, revision.id, AT + DAY)
    assert bench.retired_at is None


# ---------------------------------------------------------------- measurements


def test_a_measurement_rewinds_from_its_hour_and_can_be_undone(session, bench):
    fill(session, bench)
    at = datetime(2026, 3, 3, 0, 0, tzinfo=UTC)
    with recorded(session, "measurement", at) as revision:
        reading = measured.record_measurement(session, bench.members[0], "mc_pct", 8.4, at)
    assert reading.uncertainty == 0.5
    assert instants(session)[-1] == at - DAY
    take_back(session, revision.id, AT + 9 * DAY)
    assert reading.undone_at == AT + 9 * DAY


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"quantity": "colour"}, "quantity must be one of mc_pct, width_mm, gap_mm"),
        ({"value": 80.0}, "mc_pct must be a number in 0 to 60 %, got 80.0"),
        ({"uncertainty": 0.0}, "uncertainty must be more than 0"),
        ({"at": AT - DAY}, "must not come before its record begins"),
        ({"quantity": "gap_mm", "value": 1.0}, "fit must be given for a gap"),
    ],
)
def test_a_senseless_measurement_is_refused_in_one_sentence(session, bench, asked, says):
    given = {"quantity": "mc_pct", "value": 8.0, "at": AT + DAY, **asked}
    with pytest.raises(BadInput, match=says):
        measured.record_measurement(session, bench.members[0], **given)


def test_a_gap_is_measured_where_there_is_one(session, bench):
    back, front = bench.fits
    member = bench.members[1]
    with pytest.raises(BadInput, match="must have a gap that can be measured; a panel-in-groove has none"):
        measured.record_measurement(session, member, "gap_mm", 1.0, AT + DAY, fit=back)
    assert measured.record_measurement(session, member, "gap_mm", 1.0, AT + DAY, fit=front).fit_id == front.id


# ---------------------------------------------------------------- sensors' places


def test_hanging_a_sensor_elsewhere_takes_back_the_air_from_then_on(session, places):
    sensor = _sensor(session)
    hangings.hang_sensor(session, sensor, places[0], AT)
    for number in range(4):
        at = AT.replace(minute=0) + number * timedelta(hours=1)
        _read(session, sensor, at)
        session.add(
            AirHour(place_id=1, hour_at=at, temperature_c=20.0, rh_pct=40.0, n_readings=1, basis="measured")
        )
    hangings.hang_sensor(session, sensor, places[1], AT + timedelta(hours=2))
    assert session.scalar(select(func.count()).select_from(AirHour)) == 2
    assert [(h.place_id, h.until_at) for h in sensor.hangings] == [(1, AT + timedelta(hours=2)), (2, None)]
    marked = session.scalars(select(StaleHour.hour_at).order_by(StaleHour.hour_at)).all()
    assert AT.replace(minute=0) + timedelta(hours=2) in marked


def test_hangings_must_not_overlap(session, places):
    sensor = _sensor(session)
    first = hangings.hang_sensor(session, sensor, places[0], AT)
    hangings.hang_sensor(session, sensor, places[1], AT + 2 * DAY)
    with pytest.raises(BadInput, match="must come after it was last hung"):
        hangings.hang_sensor(session, sensor, places[0], AT)
    with pytest.raises(BadInput, match="must not overlap another place where it hung"):
        hangings.correct_hanging(session, sensor.hangings[1], places[1], AT + DAY)
    hangings.correct_hanging(session, first, places[0], AT + DAY)
    hangings.take_down_sensor(session, sensor, AT + 3 * DAY)
    assert sensor.hangings[1].until_at == AT + 3 * DAY
    with pytest.raises(BadInput, match="must come while it hangs somewhere"):
        hangings.take_down_sensor(session, sensor, AT + 4 * DAY)


# ---------------------------------------------------------------- what the watch goes by


def test_every_change_is_counted(session, bench, places):
    counts = [changes(session)]

    def counted():
        counts.append(changes(session))
        return counts[-1] > counts[-2]

    with recorded(session, "move", AT + DAY) as moved:
        book.move(session, bench, places[1], AT + DAY)
    assert counted()
    take_back(session, moved.id, AT + DAY)
    assert counted()
    with recorded(session, "measurement", AT + DAY) as metered:
        measured.record_measurement(session, bench.members[0], "mc_pct", 8.4, AT + DAY)
    assert counted()
    take_back(session, metered.id, AT + DAY)
    assert counted()
    book.replace_piece(session, bench, read_piece(BENCH))
    assert counted()
    book.retire(session, bench, AT + DAY)
    assert counted()
    hangings.hang_sensor(session, _sensor(session), places[0], AT)
    assert counted()


def test_a_change_that_is_refused_is_not_counted(session, bench, places):
    before = changes(session)
    with pytest.raises(BadInput):
        book.move(session, bench, places[0], AT + DAY)
    assert changes(session) == before


def test_marking_an_hour_again_raises_its_revision(session, places):
    sensor = _sensor(session)
    _read(session, sensor, AT)
    mark_hours(session, [sensor.id], AT)
    mark_hours(session, [sensor.id], AT, AT)
    session.expire_all()
    (mark,) = session.scalars(select(StaleHour))
    assert (mark.hour_at, mark.revision) == (AT.replace(minute=0), 2)


def test_acknowledging_asks_for_an_act_of_the_trade(session, bench):
    warning = _judge(session, bench.fits[0])
    with pytest.raises(BadInput, match="trade act must be given"):
        book.acknowledge(session, warning, " ", AT)
    book.acknowledge(session, warning, "client told", AT)
    assert (warning.trade_act, warning.acknowledged_at, warning.closed_at) == ("client told", AT, None)


def _sensor(session):
    sensor = Sensor(name="bench", accepted_at=AT)
    session.add(sensor)
    session.flush()
    return sensor


def _read(session, sensor, at):
    session.add(Reading(sensor_id=sensor.id, observed_at=at, received_at=at, temperature_c=20.0, rh_pct=40.0))
    session.flush()


def _judge(session, fit):
    session.add(
        Verdict(
            subject_kind="fit", subject_id=fit.id, verdict="near", since_at=AT, evaluated_at=AT,
            detail={},
        )
    )  # fmt: skip
    warning = Warning(
        subject_kind="fit", subject_id=fit.id, from_verdict="clear", to_verdict="near", detail={},
        opened_at=AT,
    )  # fmt: skip
    session.add(warning)
    session.flush()
    return warning


def test_places_are_found_by_name_once(session, places):
    assert session.scalars(select(Place.name).order_by(Place.id)).all() == ["shop", "flat"]
