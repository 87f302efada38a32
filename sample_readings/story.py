"""The story of the sample shop: when it begins, its places, sensors, pieces and stacks."""

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

import msgspec

from sample_readings.climate import HOURS_A_YEAR, hours_since_year_zero

START_AT = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)  # a Tuesday, seven in the morning in the valley
HISTORY_HOURS = HOURS_A_YEAR
HISTORY_FROM = START_AT - timedelta(hours=HISTORY_HOURS)
RATE = 3600.0  # sample seconds a second
BRISK_SAMPLE_DAYS = 60.0


@dataclass(frozen=True)
class PlaceStory:
    """A place of the sample shop."""

    name: str
    kind: str
    note: str


@dataclass(frozen=True)
class ClientStory:
    """Whom the sample shop builds for, how to reach them, and where they live."""

    name: str
    reach: str
    home: str


@dataclass(frozen=True)
class SensorStory:
    """A sensor of the sample shop: where it hangs, how it speaks, and how far off it is."""

    name: str
    place: str
    shape: str
    topics: tuple[str, ...]
    offset_c: float
    rh_bias_pct: float
    rh_step_pct: float
    accepted: bool = True
    garbles: bool = False
    silent_from_hour: int | None = None
    silent_until_hour: int | None = None

    def is_silent(self, hour: int) -> bool:
        """Whether it is cut off at an hour from `START_AT`; what it measures then is sent late."""
        if self.silent_from_hour is None or self.silent_until_hour is None:
            return False
        return self.silent_from_hour <= hour < self.silent_until_hour

    @property
    def file_name(self) -> str:
        """Name of its file of readings."""
        return "".join(c if c.isalnum() else "_" for c in self.name.lower().replace(", ", "_")) + ".csv.gz"


@dataclass(frozen=True)
class StandStory:
    """A place where a piece stood, from an instant on."""

    place: str
    since: datetime


@dataclass(frozen=True)
class PieceStory:
    """A piece's file, and where it stood."""

    file: str
    stands: tuple[StandStory, ...]

    def text(self) -> str:
        """The piece file as it ships."""
        return package_file("pieces", self.file).read_text(encoding="utf-8")


@dataclass(frozen=True)
class StackStory:
    """A stack of lumber, where it lies and for whom."""

    name: str
    place: str
    since: datetime
    destination: str
    document: dict[str, Any]


@dataclass(frozen=True)
class ShopStory:
    """Everything that is recorded of the sample shop."""

    zone: str
    places: tuple[PlaceStory, ...]
    clients: tuple[ClientStory, ...]
    sensors: tuple[SensorStory, ...]
    pieces: tuple[PieceStory, ...]
    stacks: tuple[StackStory, ...]


def package_file(*names: str) -> Traversable:
    """A file that ships in this package, also from an installed wheel."""
    return files("sample_readings").joinpath(*names)


@lru_cache(maxsize=1)
def shop_story() -> ShopStory:
    """What `shop.toml` says."""
    document = tomllib.loads(package_file("shop.toml").read_text(encoding="utf-8"))
    plural = {f"{key}s" if isinstance(told, list) else key: told for key, told in document.items()}
    return msgspec.convert(plural, ShopStory)


def at_hour(hour: int) -> datetime:
    """The instant a number of hours after the story's start."""
    return START_AT + timedelta(hours=hour)


def climate_hour(hour: int) -> int:
    """The same hour, counted as `climate` and `rooms` count."""
    return round(hours_since_year_zero(START_AT)) + hour
