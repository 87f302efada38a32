"""Readings from files in the layouts that loggers write.

Clock changes: IANA time zone data (tzdata) as Python's zoneinfo reads it; Europe/Paris set its clocks back on
26 October 2025 at 03:00 and forward on 30 March 2025 at 02:00 (Directive 2000/84/EC). ISO 8601 and strptime
patterns by pandas.
"""

from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest
from sqlalchemy import func, select

from ingest.files.columns import EPOCH_MS, EPOCH_S, ISO, guess_columns
from ingest.files.import_file import import_readings
from ingest.files.imported import ImportReport
from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.schema.tables import Hanging, Sensor, StaleHour
from model.records.store import Store
from model.wood.errors import BadInput
from tests.ingest.files import Write, now, stored

NOON_JUNE = ("2025-06-01 12:00", 20.5, 45.0)


def test_our_own_layout_is_read_and_read_again_changes_nothing(bench: Store, write: Write) -> None:
    path = write(
        "timestamp_utc,sensor,topic,temperature_c,rh_pct\n"
        "2025-06-01T12:00:00Z,Bench,shop/bench,20.5,45.0\n"
        "2025-06-01T13:00:00Z,Bench,shop/bench,20.7,\n",
        "readings.csv.gz",
    )
    first, again = import_readings(bench, path, now), import_readings(bench, path, now)
    assert (first.accepted, first.duplicate, first.rejected) == (2, 0, [])
    assert (again.accepted, again.duplicate) == (0, 2)
    assert first.sensors == {"Bench": 2}
    assert stored(bench) == [NOON_JUNE, ("2025-06-01 13:00", 20.7, None)]
    with bench.session() as session:
        # A quantity alone marks as far as it is paired, half an hour each way.
        assert {mark.hour_at.hour: mark.revision for mark in session.scalars(select(StaleHour))} == {
            12: 2 - 1,
            13: 1,
        }


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Date;Time;Temp °C;Humidity %\n01.06.2025;12:00;20,5;45,0\n", NOON_JUNE),
        ("time\ttemp_f\trh\n2025-06-01 12:00:00\t68.9\t45\n", NOON_JUNE),
        ("timestamp|humidity|temperature\n1748779200|45|20.5\n", NOON_JUNE),
        ("ts,temperature,humidity\n1748779200000,20.5,45\n", NOON_JUNE),
        ("time,temperature,humidity\n2025-06-01T14:00:00+02:00,20.5,45\n", NOON_JUNE),
        ("datetime,temperature,humidity\n06/13/2025 01:30 PM,20.5,45\n", ("2025-06-13 13:30", 20.5, 45.0)),
        ("datetime,temperature,humidity\n13/06/2025 13:30:00,20.5,45\n", ("2025-06-13 13:30", 20.5, 45.0)),
        ("time,temperature,dew point,humidity\n2025-06-01T12:00:00Z,20.5,8.1,45\n", NOON_JUNE),
        ("made by a logger\n\ntime,temperature,humidity\n2025-06-01T12:00:00Z,20.5,45\n", NOON_JUNE),
        ("time,temperature_k,humidity\n2025-06-01T12:00:00Z,293.65,0.45\n", NOON_JUNE),
        ('"time","temperature","humidity"\n"2025-06-01T12:00:00Z","20.5","45"\n', NOON_JUNE),
    ],
)  # fmt: skip
def test_other_layouts_are_told_by_their_columns(
    bench: Store, write: Write, text: str, expected: tuple[str, float, float]
) -> None:
    report = import_readings(bench, write(text), now, sensor="Bench")
    assert report.rejected == []
    [(at, temperature_c, rh_pct)] = stored(bench)
    assert (at, rh_pct) == (expected[0], expected[2])
    assert temperature_c == pytest.approx(expected[1], abs=1e-6)


def test_the_guess_says_why_before_anything_is_stored(bench: Store, write: Write) -> None:
    guess = guess_columns(
        write("Zeit;Temperatur;Feuchte %\n2025-06-01 12:00;20,5;45,5\n2025-06-01 13:00;20,6;45,6\n")
    )
    assert (guess.delimiter, guess.decimal, guess.time_format) == (";", ",", ISO)
    assert any("semicolons" in reason for reason in guess.reasons)
    assert any("comma" in reason for reason in guess.reasons)
    assert stored(bench) == []


@pytest.mark.parametrize(("values", "how"), [("1748779200", EPOCH_S), ("1748779200123", EPOCH_MS)])
def test_counts_since_1970_are_told_apart(write: Write, values: str, how: str) -> None:
    assert guess_columns(write(f"time,temperature\n{values},20\n")).time_format == how


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "must hold a line of column names"),
        ("20.5,45\n20.6,46\n", "must name the columns"),
        ("time,door\n2025-06-01T12:00:00Z,1\n", "must hold a temperature or a humidity"),
        ("temperature,humidity\n20,45\n", "must hold the instants"),
        ("time,temp one,temp two\n2025-06-01T12:00:00Z,20,21\n", "must hold one temperature: choose one"),
        ("time,temperature\n03/04/2025 12:00,20\n", "could have the day or the month first"),
        ("time,temperature,temperature\n2025-06-01T12:00:00Z,20,21\n", "must differ from one another"),
    ],
)
def test_a_file_that_cannot_be_told_is_refused_in_a_sentence(write: Write, text: str, rule: str) -> None:
    with pytest.raises(BadInput, match=rule) as caught:
        guess_columns(write(text))
    assert str(caught.value).startswith("readings.csv: ")


def test_day_first_can_be_said(bench: Store, write: Write) -> None:
    path = write("time,temperature\n03/04/2025 12:00,20\n")
    for day_first, month in ((True, "04-03"), (False, "03-04")):
        columns = guess_columns(path, day_first=day_first)
        import_readings(bench, path, now, sensor="Bench", columns=columns)
        assert f"2025-{month} 12:00" in [at for at, *_ in stored(bench)]


def test_bad_lines_are_reported_by_number_and_stop_nothing(bench: Store, write: Write) -> None:
    path = write(
        "timestamp_utc,sensor,temperature_c,rh_pct\n"  # line 1
        "2025-06-01T12:00:00Z,Bench,20.5,45\n"
        "\n"
        "2025-06-01T13:00:00Z,Bench,20.5\n"  # 4: too short
        "yesterday,Bench,20.5,45\n"
        "2025-06-01T14:00:00Z,Nobody,20.5,45\n"
        "2025-06-01T15:00:00Z,Bench,warm,45\n"
        "2025-06-01T16:00:00Z,Bench,200,45\n"
        "2025-06-01T17:00:00Z,Bench,20.5,140\n"
        "2025-06-01T18:00:00Z,Bench,nan,unavailable\n"
        "2099-06-01T19:00:00Z,Bench,20.5,45\n"
        "1969-06-01T20:00:00Z,Bench,20.5,45\n"
        "2025-06-01T21:00:00Z,Bench,20.5,45,46\n"  # 13: too long
        "2025-06-01T22:00:00Z,Bench,20.5,1e999\n"
        "2025-06-01T23:00:00Z,Bench,21.5,46\n"
    )
    report = import_readings(bench, path, now)
    assert stored(bench) == [NOON_JUNE, ("2025-06-01 23:00", 21.5, 46.0)]
    assert [line for line, _ in report.rejected] == [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14]
    assert (report.rejected_count, report.lines) == (11, 15)
    reasons = dict(report.rejected)
    assert reasons[4] == "must have 4 fields, got 3"
    assert reasons[6] == "sensor must be one that is known, got 'Nobody'"
    assert reasons[8] == "temperature must lie in -40 to 85 °C, got '200'"
    assert "ahead of the clock" in reasons[11]


def test_a_wet_sensor_in_a_file_keeps_its_temperature(bench: Store, write: Write) -> None:
    path = write(
        "timestamp_utc,sensor,temperature_c,rh_pct\n"
        "2025-06-01T12:00:00Z,Bench,12.5,101.3\n"
        "2025-06-01T13:00:00Z,Bench,,101.3\n"
        "2025-06-01T14:00:00Z,Bench,12.5,255\n"
    )
    report = import_readings(bench, path, now)
    assert stored(bench) == [("2025-06-01 12:00", 12.5, None)]
    assert [line for line, _ in report.rejected] == [3, 4]
    assert any("one line" in note.lower() or "1 line" in note for note in report.notes)


def test_the_doubled_hour_of_autumn_is_two_hours(bench: Store, write: Write) -> None:
    lines = [
        "01:30",
        "02:00",
        "02:30",
        "02:00",
        "02:30",
        "03:00",
    ]  # summer time, then winter time from the second 02:00
    path = write(
        "time,temperature\n" + "".join(f"2025-10-26 {at},{n}\n" for n, at in enumerate(lines, start=10))
    )
    report = import_readings(bench, path, now, sensor="Bench", zone="Europe/Paris")
    utc = [
        "2025-10-25 23:30",
        "2025-10-26 00:00",
        "2025-10-26 00:30",
        "2025-10-26 01:00",
        "2025-10-26 01:30",
        "2025-10-26 02:00",
    ]
    assert stored(bench) == [(at, float(n), None) for n, at in enumerate(utc, start=10)]
    assert any("came twice in Europe/Paris" in note for note in report.notes)


def test_the_doubled_hour_is_told_for_each_sensor_by_itself(bench: Store, write: Write) -> None:
    times = ["02:00", "02:30", "02:00", "02:30"]
    rows = [
        f"2025-10-26 {at},{name},{n}\n" for n, at in enumerate(times, start=10) for name in ("Bench", "Rack")
    ]
    import_readings(
        bench,
        write("time,sensor,temperature\n" + "".join(rows)),
        now,
        zone="Europe/Paris",
        create="Shop",
        place_kind="home",
    )
    utc = [f"2025-10-26 {at}" for at in ("00:00", "00:30", "01:00", "01:30")]
    assert [at for at, *_ in stored(bench)] == utc * 2


def test_the_hour_that_spring_skips_is_read_with_the_offset_before(bench: Store, write: Write) -> None:
    path = write("time,temperature\n2025-03-30 01:30,10\n2025-03-30 02:30,11\n2025-03-30 03:30,12\n")
    report = import_readings(bench, path, now, sensor="Bench", zone="Europe/Paris")
    # 02:30 never was; at the offset before the change, +01:00, it is 01:30 UTC, which is also 03:30 after it.
    # Both are kept.
    assert stored(bench) == [
        ("2025-03-30 00:30", 10.0, None),
        ("2025-03-30 01:30", 11.0, None),
        ("2025-03-30 01:30", 12.0, None),
    ]
    assert report.duplicate == 0
    assert any("skipped in Europe/Paris" in note for note in report.notes)


def test_an_unknown_zone_or_sensor_is_refused(bench: Store, write: Write) -> None:
    path = write("time,temperature\n2025-03-30 01:30,10\n")
    with pytest.raises(BadInput, match="must be an IANA time zone"):
        import_readings(bench, path, now, sensor="Bench", zone="Mars/Olympus")
    with pytest.raises(BadInput, match="sensor must be one that is known"):
        import_readings(bench, path, now, sensor="Nobody")
    with pytest.raises(BadInput, match="name no sensor"):
        import_readings(bench, path, now)


def test_a_topic_names_its_sensor(bench: Store, write: Write) -> None:
    path = write(
        "time,topic,temperature\n2025-06-01T12:00:00Z,shop/bench,20\n2025-06-01T12:00:00Z,shop/rack,20\n"
    )
    report = import_readings(bench, path, now)
    assert (report.accepted, [line for line, _ in report.rejected]) == (1, [3])


def test_sensors_are_made_only_when_asked_and_hang_since_their_first_reading(
    store: Store, write: Write
) -> None:
    path = write(
        "timestamp_utc,sensor,temperature_c,rh_pct\n"
        "2025-06-02T12:00:00Z,Hall,20.5,45\n2025-06-01T12:00:00Z,Hall,20.5,45\n2025-06-01T12:00:00Z,Attic,20.5,45\n"
    )
    assert import_readings(store, path, now).rejected_count == 3
    report = import_readings(store, path, now, create="Lake house", place_kind="home")
    assert (report.accepted, report.created, report.rejected) == (3, ["Hall", "Attic"], [])
    with store.session() as session:
        for hanging in session.scalars(select(Hanging)):
            assert hanging.place.name == "Lake house"
            assert hanging.since_at == datetime(2025, 6, 1, 12, tzinfo=UTC)
        assert session.scalar(select(func.count()).select_from(Hanging)) == 2


def test_a_file_that_grew_can_go_on_where_it_was_left(bench: Store, write: Write) -> None:
    text = "timestamp_utc,sensor,temperature_c,rh_pct\n2025-06-01T12:00:00Z,Bench,20.5,45\n"
    done = import_readings(bench, write(text), now).lines
    grown = write(text + "2025-06-01T13:00:00Z,Bench,20.5,45\nbad,Bench,1,1\n")
    report = import_readings(bench, grown, now, from_line=done + 1)
    assert (report.accepted, report.duplicate, [line for line, _ in report.rejected]) == (1, 0, [4])


def test_progress_goes_from_nothing_to_all(bench: Store, write: Write) -> None:
    lines = "".join(f"{1748779200 + 60 * n},Bench,20,45\n" for n in range(1_000))
    seen: list[tuple[int, int]] = []
    path = write("time,sensor,temperature,humidity\n" + lines)
    report: ImportReport = import_readings(
        bench, path, now, progress=lambda done, total: seen.append((done, total))
    )
    assert report.accepted == 1_000
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_encodings_of_old_loggers_are_read(bench: Store, write: Write, encoding: str) -> None:
    path = write("time,Temp °C,Humidity %\n2025-06-01T12:00:00Z,20.5,45\n", encoding=encoding)
    assert import_readings(bench, path, now, sensor="Bench").accepted == 1


# ---------------------------------------------------------------- whose place


def hung(store: Store) -> list[tuple[str, str, str | None]]:
    with store.session() as session:
        rows = session.scalars(select(Hanging).order_by(Hanging.since_at)).all()
        return [
            (one.place.name, f"{one.since_at:%Y-%m-%d}", one.until_at and f"{one.until_at:%Y-%m-%d}")
            for one in rows
        ]


def year(write: Write, name: str, first: str) -> Path:
    days = pd.date_range(first, periods=30, freq="D", tz="UTC")
    return write("timestamp_utc,rh_pct\n" + "".join(f"{day:%Y-%m-%dT%H:%MZ},45\n" for day in days), name)


def test_the_order_in_which_two_files_come_does_not_matter(store: Store, write: Write) -> None:
    newer, older = year(write, "newer.csv", "2025-06-01"), year(write, "older.csv", "2024-06-01")
    for file in (newer, older):
        report = import_readings(store, file, now, sensor="Logger", create="Loft", place_kind="home")
        assert report.nowhere == {}
    assert report.hung == {"Logger": ("Loft", datetime(2024, 6, 1, tzinfo=UTC))}
    assert hung(store) == [("Loft", "2024-06-01", None)]


def test_a_known_sensor_that_hangs_nowhere_is_hung_where_its_file_says(bench: Store, write: Write) -> None:
    import_readings(
        bench, year(write, "june.csv", "2025-06-01"), now, sensor="Bench", create="Shop", place_kind="home"
    )
    assert hung(bench) == [("Shop", "2025-06-01", None)]


def test_readings_from_before_a_sensor_hung_elsewhere_are_counted_and_left_there(
    bench: Store, write: Write
) -> None:
    with bench.session() as session:
        sensor = session.scalars(select(Sensor)).one()
        hang_sensor(session, sensor, add_place(session, "Shop", "shop"), datetime(2025, 6, 11, tzinfo=UTC))
    june = year(write, "june.csv", "2025-06-01")
    report = import_readings(bench, june, now, sensor="Bench")
    assert report.nowhere == {"Bench": (10, "Shop", datetime(2025, 6, 11, tzinfo=UTC))}
    # Said to be another place's, they don't move a sensor that hung in the shop.
    report = import_readings(bench, june, now, sensor="Bench", create="Loft", place_kind="home")
    assert report.nowhere["Bench"][0] == 10
    assert hung(bench) == [("Shop", "2025-06-11", None)]
    # Said to be the shop's, its hanging is dated back.
    report = import_readings(bench, june, now, sensor="Bench", create="Shop", place_kind="home")
    assert report.nowhere == {}
    assert hung(bench) == [("Shop", "2025-06-01", None)]


def test_what_would_become_of_a_file_is_what_becomes_of_it_and_nothing_is_kept(
    bench: Store, write: Write
) -> None:
    import_readings(bench, year(write, "june.csv", "2025-06-01"), now, sensor="Bench")
    text = "timestamp_utc,sensor,temperature_c,rh_pct\n"
    text += "2025-06-01T00:00Z,Bench,20,45\n"  # its temperature is new
    text += "2025-06-02T00:00Z,Bench,,45\n"  # known
    text += "2025-07-02T00:00Z,Bench,,45\n2025-07-02T00:00Z,Bench,,45\n"  # new, and twice
    text += "2025-07-03T00:00Z,Loft,21,46\n2025-07-04T00:00Z,Loft,much,46\n"
    file = write(text, "more.csv")
    before = stored(bench)
    would = import_readings(bench, file, now, create="Loft", place_kind="home", keep=False)
    assert stored(bench) == before
    assert hung(bench) == []
    assert [(row.sensor, row.rh_pct) for row in would.first][:1] == [("Bench", 45.0)]
    did = import_readings(bench, file, now, create="Loft", place_kind="home")
    for report in (would, did):
        assert (report.accepted, report.duplicate, report.rejected_count) == (3, 2, 1)
        assert report.created == ["Loft"]
