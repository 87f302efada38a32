"""Doors to what only another part can do: the dashboard names what it needs, and the wiring hands it in.

The dashboard and ingest never import each other; what the Sensors page asks of ingest stands here.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol


class UnboundTopic(Protocol):
    """A topic that no sensor is bound to: its last message, and what it is taken for."""

    @property
    def topic(self) -> str: ...
    @property
    def kept(self) -> int: ...
    @property
    def last_at(self) -> datetime: ...
    @property
    def last_payload(self) -> bytes: ...
    @property
    def proposal(self) -> Any: ...  # None, or has `parts` (each with a `name`), `confidence` and `reasons`

    @property
    def fields(self) -> Sequence[tuple[str, str]]: ...  # where each number stands, and how it is written


class SeenReading(Protocol):
    """One observation of a message."""

    @property
    def observed_at(self) -> datetime: ...
    @property
    def temperature_c(self) -> float | None: ...
    @property
    def rh_pct(self) -> float | None: ...


class ReadByHand(Protocol):
    """How a person says that a topic is read, and what its last message comes to."""

    @property
    def reading(self) -> Any: ...  # as `accept` takes it
    @property
    def seen(self) -> Sequence[SeenReading]: ...


class HungSensor(Protocol):
    """Where a sensor hangs since when; `place` is none where it hangs nowhere."""

    @property
    def sensor(self) -> str: ...
    @property
    def place(self) -> str | None: ...
    @property
    def since_at(self) -> datetime | None: ...
    @property
    def zone(self) -> str: ...
    @property
    def is_new(self) -> bool: ...
    @property
    def joined(self) -> bool: ...
    @property
    def wood(self) -> str | None: ...  # what it is bound to in place of a place


class TopicAccepted(Protocol):
    """What accepting a topic came to."""

    @property
    def topics(self) -> Sequence[str]: ...
    @property
    def readings(self) -> int: ...
    @property
    def number(self) -> int: ...  # by which it is taken back, see model.records.acts.revisions
    @property
    def hung(self) -> Sequence[HungSensor]: ...


class Imported(Protocol):
    """What became, or would become, of a file of readings."""

    @property
    def guess(self) -> Any: ...  # has `reasons`, `sensor`, and by which columns it is read
    @property
    def accepted(self) -> int: ...
    @property
    def duplicate(self) -> int: ...
    @property
    def rejected_count(self) -> int: ...
    @property
    def rejected(self) -> Sequence[tuple[int, str]]: ...
    @property
    def created(self) -> Sequence[str]: ...
    @property
    def first(self) -> Sequence[Any]: ...  # each `sensor, observed_at, temperature_c, rh_pct`
    @property
    def notes(self) -> Sequence[str]: ...
    @property
    def hung(self) -> Mapping[str, tuple[str, datetime]]: ...


@dataclass(frozen=True)
class BrokerAddress:
    """What is typed into a sensor so that it reaches the broker.

    Attributes
    ----------
    hosts : tuple of str
        Addresses under which the network reaches it, the likeliest first; none where only this
        computer does.
    port : int
    user, password : str
        Empty where none is asked for, or where they are not ours to know.
    said : tuple of str
        Sentences, what to do first: the topics to use or how to open it, then whose broker it is and what it
        can't.
    heard : str
        What has come in since it was listened to, in one sentence.
    """

    hosts: tuple[str, ...]
    port: int
    user: str
    password: str
    said: tuple[str, ...]
    heard: str


@dataclass(frozen=True)
class SensorDoor:
    """What ingest does for the Sensors page.

    Attributes
    ----------
    heard : callable
        The unknown topics, the last heard first.
    accept : callable
        ``accept(topic, part=None, name=None, place=None, place_kind=None, zone="UTC", temperature_unit="C",
        reading=None, on=None)`` makes a sensor of a topic, or of one part of its messages; raises BadInput.
    by_hand : callable
        ``by_hand(topic, temperature="", rh="", temperature_unit="C", rh_unit="%", zone="UTC")``: what the
        last message comes to where a person says which field is what; raises BadInput.
    read_file : callable
        ``read_file(path, keep, sensor=None, place=None, zone="UTC", temperature_unit=None, day_first=None)``
        stores a file's readings, or says what would become of them; raises BadInput.
    room : int
        How many unknown topics are listed at once.
    broker : callable
        How a sensor reaches the broker, and what it has brought; none where that isn't known.
    """

    heard: Callable[[], Sequence[UnboundTopic]]
    accept: Callable[..., TopicAccepted]
    by_hand: Callable[..., ReadByHand]
    read_file: Callable[..., Imported]
    room: int
    broker: Callable[[], BrokerAddress] | None = None


@dataclass(frozen=True)
class NoticeDoor:
    """What the Settings page may know of the addresses that are told of warnings: never the addresses.

    Attributes
    ----------
    addresses : callable
        Every address, masked.
    test : callable
        ``test(masked)`` sends a test message; returns what went wrong, None when it went out.
    """

    addresses: Callable[[], Sequence[str]]
    test: Callable[[str], str | None]
