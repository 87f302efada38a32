"""A logger's file that a client mails: read as the guide says (deploy/guide/home.md), on both databases.

The file is invented, and written as loggers write: a line about the logger first, semicolons, decimal commas,
a Windows encoding, local time without an offset, through the night in which the clocks go back.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select

from deploy.cli.commands import main
from deploy.settings import load_settings
from deploy.wiring import evaluate_once, sensor_door
from model.records.acts.places import add_place
from model.records.schema.tables import AirHour, Hanging, Place, Reading, Sensor
from model.records.store import Store

ZONE = ZoneInfo("Europe/Vienna")
FIRST_AT = datetime(2025, 10, 20, 22, tzinfo=UTC)  # midnight there; the clocks go back on 26 October
HOURS = range(14 * 24)
OPENED_AT = datetime(2025, 11, 5, 9, tzinfo=UTC)
WORDS = ("--sensor", "Hall logger", "--place", "Lake house", "--zone", "Europe/Vienna")

Air = dict[datetime, tuple[float, float]]


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Store:
    """A book on each of the two databases, in which the home is recorded, as commands find it."""
    book: Store = request.getfixturevalue("store" if request.param == "sqlite" else "postgres_store")
    monkeypatch.setenv("PANELTIDE_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setenv("PANELTIDE_DATABASE_URL", book.url.render_as_string(hide_password=False))
    with book.session() as session:
        add_place(session, "Lake house", "home", zone="Europe/Vienna")
    return book


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """The JSON document of a command that answered."""

    def run(*words: object) -> Any:
        with pytest.raises(SystemExit) as ended:
            main([*map(str, words), "--json"])
        printed = capsys.readouterr()
        assert ended.value.code == 0, printed.err
        return json.loads(printed.out)

    return run


def measured(hours: range) -> Air:
    """What the logger measured at the turn of each hour."""
    return {FIRST_AT + timedelta(hours=n): (18.0 + n % 24 / 10, 40.0 + n % 36 / 2) for n in hours}


def mailed(path: Path, hours: range, spoilt: str = "") -> Path:
    """The file that the client sends, of some hours."""
    lines = ["Logger 4;hall, behind the door", "Date/time;Temperature [°C];Rel. humidity [%]"]
    for at, air in measured(hours).items():
        number, rh = (str(value).replace(".", ",") for value in air)
        lines.append(f"{at.astimezone(ZONE):%d.%m.%Y %H:%M};{number};{rh}")
    path.write_text("\r\n".join([*lines, spoilt]), encoding="cp1252")
    return path


def stored(book: Store) -> Air:
    with book.session() as session:
        rows = session.execute(select(Reading.observed_at, Reading.temperature_c, Reading.rh_pct)).all()
    return {at: (temperature_c, rh_pct) for at, temperature_c, rh_pct in rows}


@pytest.mark.parametrize("newest_first", [False, True])
def test_two_mails_in_either_order_and_one_of_them_twice_are_the_air_of_the_home(
    newest_first: bool, either: Store, command: Callable[..., Any], tmp_path: Path
) -> None:
    october = mailed(tmp_path / "october.csv", HOURS[:200])
    november = mailed(tmp_path / "november.csv", HOURS[150:])
    first, second = (november, october) if newest_first else (october, november)
    counts = [command("import-readings", file, *WORDS) for file in (first, second, first)]
    assert [one["rejected"] for one in counts] == [0, 0, 0]
    assert sum(one["accepted"] for one in counts) == len(HOURS)
    assert (counts[1]["duplicate"], counts[2]["accepted"]) == (50, 0)
    assert stored(either) == measured(HOURS)
    with either.session() as session:
        hung = session.execute(
            select(Sensor.name, Place.name, Hanging.since_at).join(Hanging.sensor).join(Hanging.place)
        )
        assert hung.all() == [("Hall logger", "Lake house", FIRST_AT)]
    evaluate_once(either, OPENED_AT)
    with either.session() as session:
        heard = select(func.count()).where(AirHour.basis == "measured", AirHour.rh_pct.is_not(None))
        assert session.scalar(heard) == len(HOURS)


def test_the_page_shows_what_it_will_keep_and_keeps_what_the_command_would(
    either: Store, command: Callable[..., Any], tmp_path: Path
) -> None:
    file = mailed(tmp_path / "hall.csv", HOURS)
    door = sensor_door(load_settings(), either, lambda: OPENED_AT)
    told = {"sensor": "Hall logger", "place": "Lake house", "zone": "Europe/Vienna"}
    looked = door.read_file(file, False, **told)
    assert stored(either) == {}
    assert looked.first[0][1:] == (FIRST_AT, *measured(HOURS)[FIRST_AT])
    reasons = " ".join(looked.guess.reasons)
    for words in ("separated by semicolons", "'Date/time' is the time", "decimals are written with a comma"):
        assert words in reasons
    assert any("came twice in Europe/Vienna" in note for note in looked.notes)
    assert command("import-readings", file, "--show-columns")["reasons"] == list(looked.guess.reasons)
    kept = door.read_file(file, True, **told)
    assert (kept.accepted, stored(either)) == (looked.accepted, measured(HOURS))
    again = command("import-readings", file, *WORDS)
    assert (again["accepted"], again["duplicate"]) == (0, len(HOURS))


def test_a_mail_cut_short_keeps_its_good_lines_and_names_the_bad_one(
    either: Store, command: Callable[..., Any], tmp_path: Path
) -> None:
    file = mailed(tmp_path / "hall.csv", HOURS[:5], spoilt="21.10.2025 05:00;19,0;4!2\r\n21.10.2025 06:")
    found = command("import-readings", file, *WORDS)
    assert (found["accepted"], stored(either)) == (5, measured(HOURS[:5]))
    said = {line["line"]: line["reason"] for line in found["rejected_lines"]}
    assert said.keys() == {8, 9}
    assert "humidity must be a number, got '4!2'" in said[8]
