"""Tells under which addresses a sensor on the network reaches the broker, and says so in sentences."""

import socket
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from dashboard.shell.ports import BrokerAddress
from deploy.settings import LOOPBACK, Settings
from ingest.broker.embedded import mosquitto_program, promises, reachable, started_kind
from ingest.settings import IngestSettings
from model.records.clock import machine_now
from model.records.queries.health import listening
from model.records.store import Store

EVERY_ADDRESS = "0.0.0.0"
CLOSED = (
    "The broker listens to this computer only, so no sensor on the network reaches it: "
    "`paneltide open-broker` makes a password and opens it."
)
UNSEEN = "this computer's address"

# An address kept for examples (RFC 5737): nothing is sent, the system only looks up which of its own
# addresses it would use on the way out.
OUTSIDE = ("192.0.2.1", 9)


def network_addresses() -> tuple[str, ...]:
    """IPv4 addresses under which the network knows this computer, the likeliest first; nothing is sent.

    Bridges, which containers and virtual machines talk over, are left out.
    """
    import psutil

    found: list[str] = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way_out:
        way_out.connect(OUTSIDE)
        found.append(way_out.getsockname()[0])
    with suppress(OSError):
        for name, addresses in psutil.net_if_addrs().items():
            if not Path("/sys/class/net", name, "bridge").exists():
                found += [one.address for one in addresses if one.family == socket.AF_INET]
    return tuple(dict.fromkeys(one for one in found if not one.startswith(("127.", "169.254.", "0."))))


def broker_address(settings: Settings, store: Store | None = None) -> BrokerAddress:
    """How a sensor reaches the broker in use, and what was heard since.

    Parameters
    ----------
    settings : Settings
        As set, or as `run` hands them to its parts, with the address of the broker it started.
    store : Store, optional
        The book, for what was heard.
    """
    heard = heard_words(store, machine_now()) if store is not None else ""
    kind = started_kind(settings.mqtt_url)
    if settings.mqtt_url == "embedded":
        kind = "mosquitto" if mosquitto_program() else "iotcore"
    if kind is None:
        return replace(_named(settings), heard=heard)
    port = settings.broker_port
    if settings.mqtt_url != "embedded":
        port = IngestSettings.from_url(settings.mqtt_url).port
    promise = promises(kind, bool(settings.broker_password))
    user = settings.broker_user if settings.broker_password else ""
    if settings.broker_bind == reachable(EVERY_ADDRESS):
        return BrokerAddress((), port, user, settings.broker_password, (CLOSED, promise), heard)
    every = settings.broker_bind == EVERY_ADDRESS
    hosts = (network_addresses() or (UNSEEN,)) if every else (settings.broker_bind,)
    opened = (
        f"If a sensor isn't heard all the same, let port {port} through this computer's firewall. "
        "The password crosses the network unencrypted: use it for nothing else."
    )
    said = (_topics_words(settings), opened, promise)
    return BrokerAddress(hosts, port, user, settings.broker_password, said, heard)


def _named(settings: Settings) -> BrokerAddress:
    """A broker that is not ours: its address, as far as mqtt_url tells it."""
    broker = IngestSettings.from_url(settings.mqtt_url)
    secure = ", encrypted (TLS)" if broker.tls else ""
    said = (
        f"The broker is the one that mqtt_url names{secure}; its own settings say which users and passwords "
        "it takes, and who may reach it."
    )
    here = broker.host in LOOPBACK
    hosts = (network_addresses() or (UNSEEN,)) if here else (broker.host,)
    return BrokerAddress(hosts, broker.port, "", "", (_topics_words(settings), said), "")


def _topics_words(settings: Settings) -> str:
    filters = [topic.strip() for topic in settings.mqtt_topics.split(",")]
    return "Any topic will do." if "#" in filters else f"Topics that are listened to: {', '.join(filters)}."


def address_words(address: BrokerAddress) -> str:
    """What is typed into a sensor, in one sentence without the password."""
    if not address.hosts:
        return address.said[0]
    first, *others = address.hosts
    also = f" (or {', '.join(others)})" if others else ""
    user = f", user {address.user} and the password" if address.user else ""
    return f"Type into each sensor: broker {first}{also}, port {address.port}{user}."


def heard_words(store: Store, now: datetime) -> str:
    """What has come in since ingest has listened, in one sentence."""
    with store.session() as session:
        ear = listening(session)
    if ear is None or ear.silent(now):
        return "Nothing listens to the broker now: `paneltide run` is not running."
    if not ear.connected:
        return f"Ingest can't reach the broker: {ear.reason}."
    count = f"{ear.messages} message{'' if ear.messages == 1 else 's'}" if ear.messages else "nothing yet"
    return f"Connected to the broker for {span_words((now - ear.since_at).total_seconds())}; heard {count}."


def span_words(seconds: float) -> str:
    """A span of time, in the largest unit of which it has two at least."""
    for unit, size in (("days", 86_400), ("hours", 3_600), ("minutes", 60)):
        if seconds >= 2 * size:
            return f"{seconds // size:.0f} {unit}"
    return f"{max(seconds, 1):.0f} seconds"
