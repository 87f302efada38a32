"""A typical year outdoors from monthly means or a weather file, laid over real years and brought indoors."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.wood.air.psychrometrics import dew_point
from model.wood.climate.epw import read_epw
from model.wood.climate.outdoor import HOURS, MONTH_OF_HOUR, OutdoorClimate, calendar_year, hour_of_year
from model.wood.errors import BadInput

TEMPERATURES = [-6.0, -5.0, 0.0, 7.0, 13.0, 18.0, 21.0, 20.0, 16.0, 9.0, 3.0, -3.0]
HUMIDITIES = [75.0, 72.0, 68.0, 62.0, 65.0, 68.0, 70.0, 73.0, 75.0, 74.0, 78.0, 79.0]
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def valley():
    return OutdoorClimate.from_monthly_means("valley", TEMPERATURES, HUMIDITIES, zone_h=-5.0)


def a_line(at: datetime, temperature_c: float, rh_pct: float, dew_c: float = 99.9, minute: int = 0) -> str:
    stamp = f"{at.year},{at.month},{at.day},{at.hour + 1},{minute}"
    return f"{stamp},?9?9?9,{temperature_c:.1f},{dew_c:.1f},{rh_pct:.0f},101000" + ",0" * 25


def a_file(
    rows: list[str], location: str = "LOCATION,Birch Ford,-,XYZ,invented,0,45.0,-75.0,-5.0,60.0"
) -> str:
    header = [
        location,
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,invented for a test",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]
    return "\n".join(header + rows) + "\n"


def hours_of(year: int) -> list[datetime]:
    start = datetime(year, 1, 1, tzinfo=UTC)
    return [start + number * HOUR for number in range((datetime(year + 1, 1, 1, tzinfo=UTC) - start) // HOUR)]


def plain_rows(year: int = 2023) -> list[str]:
    return [a_line(at, at.month + at.hour / 10, 50 + at.day) for at in hours_of(year)]


# --- twelve monthly means -----------------------------------------------------------------------


def by_month(hours):
    return np.array([hours[month == MONTH_OF_HOUR].mean() for month in range(12)])


def test_monthly_means_are_kept(valley):
    assert by_month(valley.temperature_c) == pytest.approx(np.array(TEMPERATURES), abs=1e-9)
    assert by_month(valley.rh_pct) == pytest.approx(np.array(HUMIDITIES), abs=1e-9)


def test_the_year_is_smooth_and_closes_on_itself(valley):
    # 7 points from month to month are 0.01 an hour; a step between months would be 7.
    round_the_year = np.append(valley.temperature_c, valley.temperature_c[0])
    assert np.abs(np.diff(round_the_year)).max() < 0.02


months = st.lists(st.floats(0.0, 100.0), min_size=12, max_size=12)


@settings(max_examples=10)
@given(months)
def test_any_humidities_give_air_that_exists(humidities):
    climate = OutdoorClimate.from_monthly_means("anywhere", TEMPERATURES, humidities)
    assert ((climate.rh_pct >= 0.0) & (climate.rh_pct <= 100.0)).all()
    assert by_month(climate.rh_pct) == pytest.approx(np.array(humidities), abs=1e-6)


@pytest.mark.parametrize(
    ("temperatures", "humidities", "says"),
    [
        (TEMPERATURES[:11], HUMIDITIES, "twelve"),
        (TEMPERATURES, [*HUMIDITIES[:11], 120.0], "month 12"),
        ([*TEMPERATURES[:2], -90.0, *TEMPERATURES[3:]], HUMIDITIES, "month 3"),
        (TEMPERATURES, [*HUMIDITIES[:11], float("nan")], "month 12"),
        (["cold"] * 12, HUMIDITIES, "numbers"),
    ],
)
def test_wrong_monthly_means_are_refused(temperatures, humidities, says):
    with pytest.raises(BadInput, match=says):
        OutdoorClimate.from_monthly_means("valley", temperatures, humidities)


# --- over real years, and indoors ----------------------------------------------------------------


def test_hours_are_found_in_local_standard_time():
    at = pd.DatetimeIndex(
        ["2025-01-01 05:00", "2025-01-01 04:59", "2024-02-29 05:00", "2024-03-01 05:00"], tz="UTC"
    )
    # The 29th of February takes the air of the 28th.
    assert hour_of_year(at, -5.0).tolist() == [0, HOURS - 1, 58 * 24, 59 * 24]


def test_instants_without_a_zone_are_refused():
    with pytest.raises(BadInput, match="time zone"):
        hour_of_year(pd.DatetimeIndex(["2025-01-01"]))


def test_indoors_follows_the_day_and_not_the_hour():
    hours = np.arange(HOURS)
    swinging = 5.0 + 10.0 * np.sin(2 * np.pi * hours / 24)
    climate = OutdoorClimate("plain", swinging, np.full(HOURS, 70.0))
    room = climate.indoors("en-15026-normal", calendar_year(2025))
    assert room.rh_pct.to_numpy() == pytest.approx(45.0, abs=1e-6)
    assert room.temperature_c.to_numpy() == pytest.approx(20.0)


def test_a_dry_house_is_driest_in_the_coldest_weeks(valley):
    room = valley.indoors("dry-unhumidified", calendar_year(2025))
    monthly = room.rh_pct.groupby(room.index.month).mean()
    assert monthly.idxmin() in (1, 2)
    assert 12.0 < monthly.min() < 20.0


def test_a_year_of_another_length_is_refused():
    with pytest.raises(BadInput, match="8760"):
        OutdoorClimate("short", np.zeros(100), np.zeros(100))
    with pytest.raises(BadInput, match="hour 3 "):
        OutdoorClimate("gap", np.zeros(HOURS), np.where(np.arange(HOURS) == 3, np.nan, 50.0))


def test_daily_means_keep_the_water_in_the_air(valley):
    assert len(valley.daily["rh_pct"]) == 365
    assert valley.daily["temperature_c"].mean() == pytest.approx(valley.temperature_c.mean())


# --- weather files -------------------------------------------------------------------------------


def test_a_weather_file_gives_place_and_hours():
    climate = read_epw(a_file(plain_rows()), "ford.epw")
    assert climate.name == "Birch Ford, XYZ"
    assert (climate.zone_h, climate.filled_hours) == (-5.0, 0)
    # The first line, hour 1, is the hour from midnight.
    assert climate.temperature_c[[0, 23]] == pytest.approx([1.0, 3.3])
    assert climate.rh_pct[31 * 24] == 51.0
    assert "ford.epw" in climate.source


def test_a_leap_year_leaves_out_its_day():
    climate = read_epw(a_file(plain_rows(2024)))
    assert climate.rh_pct[59 * 24] == 51.0  # 1 March


def test_a_month_from_another_year_is_welcome():
    rows = [row.replace("2023,2,", "1998,2,", 1) for row in plain_rows()]
    assert read_epw(a_file(rows)).rh_pct[31 * 24] == 51.0


def test_missing_humidity_is_taken_from_the_dew_point():
    rows = plain_rows()
    at = datetime(2023, 1, 1, 12, tzinfo=UTC)
    rows[12] = a_line(at, 10.0, 999, dew_point(10.0, 80.0))
    climate = read_epw(a_file(rows))
    assert climate.rh_pct[12] == pytest.approx(80.0, abs=0.3)  # a dew point to 0.1 °C
    assert climate.filled_hours == 0


def test_a_short_gap_is_filled_and_counted():
    rows = plain_rows()
    for hour in (12, 13, 14):
        rows[hour] = a_line(datetime(2023, 1, 1, hour, tzinfo=UTC), 99.9, 999)
    climate = read_epw(a_file(rows))
    assert climate.filled_hours == 3
    # 2.1 °C at eleven, 2.5 at fifteen o'clock.
    assert climate.temperature_c[11:16] == pytest.approx([2.1, 2.2, 2.3, 2.4, 2.5])


def test_two_records_an_hour_are_averaged():
    rows = [
        a_line(at, value, 50, minute=minute) for at in hours_of(2023) for value, minute in ((4, 30), (6, 60))
    ]
    assert (read_epw(a_file(rows)).temperature_c == 5.0).all()


def test_air_more_than_saturated_is_saturated():
    rows = [a_line(at, 5.0, 106) for at in hours_of(2023)]
    assert (read_epw(a_file(rows)).rh_pct == 100.0).all()


def broken(line: int, text: str) -> str:
    lines = a_file(plain_rows()).splitlines()
    lines[line - 1] = text
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "line 1: a weather file must begin with LOCATION"),
        ("temperature,humidity\n5,60\n", "line 1: .*LOCATION"),
        (a_file([])[:60], "eight header lines"),
        (broken(8, "COMMENTS 3"), "line 8: .*DATA PERIODS"),
        (broken(1, "LOCATION,Birch Ford,-,XYZ,invented,0,45.0,-75.0,east,60.0"), "line 1: time zone"),
        (broken(20, "2023,1,1,12,60,?,warm,1,50"), "line 20: dry bulb temperature .*'warm'"),
        (broken(21, "2023,1,1,13,60,?,5.0,1,140"), "line 21: relative humidity"),
        (broken(22, "2023,1,1,14,60,?"), "line 22: an hour must have at least 9 fields"),
        (broken(23, "2023,13,1,15,60,?,5.0,1,50"), "line 23: month"),
        (broken(24, "2023,4,31,15,60,?,5.0,1,50"), "line 24: day"),
        (a_file(plain_rows()[:-1]), "every hour.*month 12, day 31, hour 24"),
        (a_file([a_line(at, 99.9, 50) for at in hours_of(2023)]), "missing in every hour"),
        (
            a_file([a_line(at, 5, 999 if at.month == 5 else 60) for at in hours_of(2023)]),
            "relative humidity must not be missing for more than 24 hours on end, got 744",
        ),
    ],
)
def test_a_broken_weather_file_is_one_sentence_with_its_line(text, says):
    with pytest.raises(BadInput, match=says) as caught:
        read_epw(text, "ford.epw")
    assert str(caught.value).startswith("ford.epw")
    assert "\n" not in str(caught.value)


def test_files_are_read_whatever_their_line_ends():
    text = a_file(plain_rows()).replace("\n", "\r\n")
    assert (read_epw(text).rh_pct[MONTH_OF_HOUR == 0][:24] == 51.0).all()
