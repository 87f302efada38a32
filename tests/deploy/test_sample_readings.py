"""The sample shop's air is invented, but it has to behave as air does. Limits here are of physics, or of the
story that sample_readings/README.md tells; dew points are checked by PsychroLib, not by our own formulas."""

import csv
import gzip
import io
import json
from datetime import timedelta

import numpy as np
import pandas as pd
import psychrolib
import pytest

from sample_readings import generate, sensors
from sample_readings.climate import HOURS_A_YEAR, YEAR_ZERO, local_hour, outdoors
from sample_readings.rooms import ROOMS, in_use, room_air
from sample_readings.story import (
    HISTORY_FROM,
    HISTORY_HOURS,
    START_AT,
    at_hour,
    climate_hour,
    package_file,
    shop_story,
)

psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.fixture(scope="module")
def year() -> dict[str, pd.DataFrame]:
    """The year before the story, by place, with the valley's local hour beside it."""
    hours = pd.date_range(at_hour(-HISTORY_HOURS), periods=HISTORY_HOURS, freq="h", name="timestamp_utc")

    def of(room: str) -> pd.DataFrame:
        air = room_air(room, climate_hour(-HISTORY_HOURS), HISTORY_HOURS)
        return pd.DataFrame({"temperature_c": air.temperature_c, "rh_pct": air.rh_pct}, index=hours)

    return {room: of(room) for room in ROOMS}


def months(frame: pd.DataFrame, *wanted: int) -> pd.DataFrame:
    return frame[frame.index.month.isin(wanted)]


# ---------------------------------------------------------------- outdoors


def test_the_climate_repeats_every_8760_hours_and_meets_itself_without_a_step():
    hours = np.arange(0.0, HOURS_A_YEAR, 1.0)
    this_year, next_year = outdoors(hours), outdoors(hours + HOURS_A_YEAR)
    np.testing.assert_allclose(this_year.temperature_c, next_year.temperature_c, atol=1e-8)
    np.testing.assert_allclose(this_year.vapour_pressure_pa, next_year.vapour_pressure_pa, atol=1e-6)
    seam = abs(this_year.temperature_c[0] - this_year.temperature_c[-1])
    assert seam <= np.abs(np.diff(this_year.temperature_c)).max()


def test_outdoor_air_is_never_above_saturation_and_has_a_northern_year():
    valley = outdoors(np.arange(0.0, HOURS_A_YEAR))
    assert valley.rh_pct.min() > 5
    assert valley.rh_pct.max() <= 98.0 + 1e-9
    by_month = pd.Series(valley.temperature_c, index=pd.date_range(YEAR_ZERO, periods=HOURS_A_YEAR, freq="h"))
    monthly = by_month.groupby(by_month.index.month).mean()
    assert monthly.idxmin() == 1
    assert monthly.idxmax() == 7
    assert -6 < monthly.min() < 0
    assert 17 < monthly.max() < 23


def test_the_day_is_warmest_in_the_afternoon_and_moistest_at_dawn():
    hours = np.arange(0.0, HOURS_A_YEAR)
    valley = outdoors(hours)
    by_hour = pd.DataFrame({"hour": local_hour(hours), "t": valley.temperature_c, "rh": valley.rh_pct})
    daily = by_hour.groupby("hour").mean()
    assert daily["t"].idxmax() in (14, 15, 16)
    assert daily["rh"].idxmax() in (2, 3, 4, 5, 6)


def test_weather_fronts_last_for_days_not_hours():
    hours = np.arange(0.0, HOURS_A_YEAR)
    daily = outdoors(hours).temperature_c.reshape(-1, 24).mean(axis=1)
    anomaly = daily - pd.Series(daily).rolling(45, center=True, min_periods=1).mean().to_numpy()
    day_to_day = np.corrcoef(anomaly[:-1], anomaly[1:])[0, 1]
    ten_days_on = np.corrcoef(anomaly[:-10], anomaly[10:])[0, 1]
    assert day_to_day > 0.6
    assert abs(ten_days_on) < 0.4


# ---------------------------------------------------------------- indoors


@pytest.mark.parametrize("name", ROOMS)
def test_a_room_answers_the_same_for_an_hour_whatever_span_was_asked_for(name: str):
    whole = room_air(name, 0, 2 * HOURS_A_YEAR)
    piece = room_air(name, HOURS_A_YEAR - 7, 20)
    np.testing.assert_array_equal(piece.temperature_c, whole.temperature_c[HOURS_A_YEAR - 7 :][:20])
    np.testing.assert_array_equal(piece.rh_pct, whole.rh_pct[HOURS_A_YEAR - 7 :][:20])


@pytest.mark.parametrize("name", ROOMS)
def test_rooms_stay_in_bounds_and_never_jump(name: str, year: dict[str, pd.DataFrame]):
    air = year[name]
    assert len(air) == HISTORY_HOURS
    assert air["rh_pct"].between(5, 97).all()
    # Wood Handbook eq. 4-5 is not fitted below -1 °C; the frost guards of the story keep the rooms above it.
    assert air["temperature_c"].between(0, 35).all()
    assert air["temperature_c"].diff().abs().max() < 9.0


@pytest.mark.slow
@pytest.mark.parametrize("name", ROOMS)
def test_indoor_air_holds_at_least_the_outdoor_moisture_in_winter(name: str, year: dict[str, pd.DataFrame]):
    """Vapour comes in with the outdoor air and is added to indoors; nothing there takes it away for long."""
    winter = months(year[name], 12, 1, 2)
    hours = np.asarray((winter.index - YEAR_ZERO) / timedelta(hours=1), dtype=np.float64)
    inside = [
        psychrolib.GetTDewPointFromRelHum(t, rh / 100)
        for t, rh in zip(winter["temperature_c"][::24], winter["rh_pct"][::24], strict=True)
    ]
    outside = outdoors(hours).dew_point_c[::24]
    assert np.mean(inside) > np.mean(outside) + 0.5


def test_an_unheated_night_raises_the_shop_humidity_as_its_temperature_falls(year: dict[str, pd.DataFrame]):
    """The same vapour in colder air is a higher relative humidity; at times a dry front wins the night."""
    shop = months(year["Shop"], 12, 1, 2)
    evening = shop[shop.index.hour == 22]  # five in the afternoon in the valley
    dawn = shop[shop.index.hour == 11].iloc[1:]
    pairs = list(zip(evening.itertuples(), dawn.itertuples(), strict=False))
    workday_nights = [(e, d) for e, d in pairs if e.temperature_c - d.temperature_c > 5.0]
    assert len(workday_nights) > 40
    assert np.mean([d.rh_pct > e.rh_pct for e, d in workday_nights]) > 0.9


def test_the_stove_dries_the_shop_by_day(year: dict[str, pd.DataFrame]):
    january = months(year["Shop"], 1)
    january = january[january.index.day_of_week < 5]
    assert (
        january[january.index.hour == 20]["rh_pct"].mean()
        < january[january.index.hour == 11]["rh_pct"].mean() - 5
    )


def test_the_dry_flat_is_dry_in_winter(year: dict[str, pd.DataFrame]):
    winter = months(year["Dry flat"], 12, 1, 2)["rh_pct"]
    assert winter.mean() < 30
    assert 12 < winter.resample("D").mean().min() < 20
    assert months(year["Dry flat"], 7, 8)["rh_pct"].mean() > 50


def test_the_lake_house_is_damp_while_it_is_shut(year: dict[str, pd.DataFrame]):
    air = year["Lake house"]
    hours = np.asarray((air.index - YEAR_ZERO) / timedelta(hours=1), dtype=np.float64)
    shut = months(air[~in_use(hours)], 11, 12, 1, 2, 3, 4)
    assert shut["rh_pct"].quantile(0.1) > 60
    assert shut["rh_pct"].median() < 80
    assert shut["temperature_c"].median() < 8


def test_the_orchard_house_is_kept_between_its_humidifier_and_its_dehumidifier(year: dict[str, pd.DataFrame]):
    assert year["Orchard house"]["rh_pct"].between(38, 55.5).all()


# ---------------------------------------------------------------- sensors and files


@pytest.mark.parametrize("sensor", [s for s in shop_story().sensors if s.accepted], ids=lambda s: s.name)
def test_generating_again_gives_the_committed_rows(sensor):
    committed = package_file("readings", sensor.file_name).read_bytes()
    # Compressed bytes may differ between compressors; what they hold may not.
    assert gzip.decompress(committed) == generate.csv_bytes(generate.history(sensor))


def test_the_files_hold_the_year_before_the_story_and_the_dead_sensor_stops_days_before_it():
    last = {}
    for sensor in shop_story().sensors:
        if not sensor.accepted:
            continue
        text = gzip.decompress(package_file("readings", sensor.file_name).read_bytes()).decode()
        rows = list(csv.DictReader(io.StringIO(text)))
        assert list(rows[0]) == ["timestamp_utc", "sensor", "topic", "temperature_c", "rh_pct"]
        assert rows[0]["timestamp_utc"] == HISTORY_FROM.strftime("%Y-%m-%dT%H:%M:%SZ")
        last[sensor.name] = pd.Timestamp(rows[-1]["timestamp_utc"])
    dead = last.pop("Lake house hall")
    assert START_AT - dead > timedelta(hours=72)
    assert set(last.values()) == {pd.Timestamp(START_AT - timedelta(hours=1))}


def test_the_rack_is_cooler_than_the_bench_with_the_same_vapour():
    by_name = {sensor.name: sensor for sensor in shop_story().sensors}
    bench = sensors.measured(by_name["Bench"], 0, 500)
    rack = sensors.measured(by_name["Lumber rack"], 0, 500)
    assert np.mean(bench.temperature_c - rack.temperature_c) == pytest.approx(0.9, abs=0.05)
    dew = [
        np.mean(
            [
                psychrolib.GetTDewPointFromRelHum(t, rh / 100)
                for t, rh in zip(air.temperature_c, air.rh_pct, strict=True)
            ]
        )
        for air in (bench, rack)
    ]
    assert dew[0] == pytest.approx(dew[1], abs=0.4)  # their biases differ by 0.7 % RH


@pytest.mark.parametrize("sensor", shop_story().sensors, ids=lambda s: s.name)
def test_every_sensor_says_what_it_measured_in_its_own_shape(sensor):
    sent = sensors.messages(sensor, at_hour(3), 21.4, 33.2)
    assert [topic for topic, _ in sent] == list(sensor.topics)
    said = " ".join(payload.decode() for _, payload in sent)
    assert "33.2" in said
    assert ("70.5" if sensor.shape == "fahrenheit json" else "21.4") in said
    if sensor.shape != "bare numbers":
        json.loads(sent[0][1])
        assert str(int(at_hour(3).timestamp())) in said or "2026-02-03T15:00:00Z" in said


def test_only_the_faulty_sensor_garbles_and_rarely():
    by_name = {sensor.name: sensor for sensor in shop_story().sensors}
    good = sensors.messages(by_name["Lumber rack"], START_AT, 9.8, 41.0)[0]
    bad = [sensors.garbled(by_name["Lumber rack"], hour, good) for hour in range(1440)]
    said = {message[1] for message in bad if message is not None}
    assert 15 < sum(message is not None for message in bad) < 70
    assert len(said) == 3
    assert all(sensors.garbled(by_name["Bench"], hour, good) is None for hour in range(1440))
