"""Doors to what only another part can do: the dashboard names what it needs, and the wiring hands it in.

The dashboard and ingest never import each other; what the Sensors page asks of ingest stands here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol


class HeardTopic(Protocol):
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


class Accepted(Protocol):
    """What accepting a topic came to."""

    @property
    def sensors(self) -> Sequence[str]: ...
    @property
    def readings(self) -> int: ...
    @property
    def number(self) -> int: ...  # by which it is taken back, see model.records.acceptances


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
        ``accept(topic, name=None, place=None, place_kind="home", zone="UTC", temperature_unit="C")`` makes a
        sensor of a topic; raises BadInput.
    broker : callable
        How a sensor reaches the broker, and what it has brought; none where that isn't known.
    """

    heard: Callable[[], Sequence[HeardTopic]]
    accept: Callable[..., Accepted]
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
