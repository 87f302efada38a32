"""Examines everything a running service needs, and says what to do where something is missing."""

import json
import os
import shutil
import urllib.error
import urllib.request
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from sqlalchemy import func, select

from deploy import wiring
from deploy.reach import address_words, broker_address, span_words
from deploy.settings import Settings, shown_value
from deploy.sources import origin_words
from model.records.clock import machine_now
from model.records.queries.health import INGEST, SILENT_AFTER, is_ingest, writable
from model.records.queries.service import proven_at
from model.records.schema.tables import Pulse, Reading, RejectedMessage
from model.records.store import Store, newest_revision
from model.wood.errors import BadInput, ServiceMissing

State = Literal["well", "look", "amiss"]

LOW_DISK_MB = 500
MANY_CUTS = 10
"""Ends of the connection to the broker in an hour; a restart or a bad night has fewer."""


@dataclass(frozen=True)
class Diagnosis:
    """One thing looked at: how it is, and what to do about it when it isn't well."""

    what: str
    state: State
    found: str
    remedy: str = ""


def examine(settings: Settings, show_password: bool = False) -> list[Diagnosis]:
    """Look at everything a running service needs; nothing is made by looking.

    Returns
    -------
    list of Diagnosis
        `amiss` is something without which it can't work; `look` is worth a look.
    """
    findings = [_folder(settings), _disk(settings)]
    store, finding = _database(settings)
    findings.append(finding)
    findings.append(_broker(settings, store))
    findings.append(_sensors_way(settings, store, show_password))
    findings.append(_page(settings))
    if store is not None:
        findings += _parts(store)
        findings += _readings(store)
        findings.append(_backup(store))
        store.close()
    return findings


def setting_rows(settings: Settings) -> list[dict[str, str]]:
    """Every setting with its value (secrets masked), where it came from and what it means."""
    return [
        {
            "name": name,
            "value": shown_value(settings, name),
            "from": origin_words(name),
            "meaning": field.description or "",
        }
        for name, field in Settings.model_fields.items()
    ]


def _existing(folder: Path) -> Path:
    """The folder, or the nearest one above it that is there."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder


def _folder(settings: Settings) -> Diagnosis:
    above = _existing(settings.data_dir)
    if above != settings.data_dir and above.is_dir() and os.access(above, os.W_OK):
        return Diagnosis("data folder", "well", f"{settings.data_dir}, made at the first start")
    try:
        wiring.open_folder(settings.data_dir)
    except ServiceMissing as error:
        return Diagnosis(
            "data folder", "amiss", str(error), "set PANELTIDE_DATA_DIR to a folder you can write"
        )
    return Diagnosis("data folder", "well", str(settings.data_dir))


def _disk(settings: Settings) -> Diagnosis:
    free_mb = shutil.disk_usage(_existing(settings.data_dir)).free // 1_000_000
    if free_mb < LOW_DISK_MB:
        return Diagnosis(
            "disk", "amiss", f"{free_mb} MB free", f"free some space: {LOW_DISK_MB} MB should be there"
        )
    return Diagnosis("disk", "well", f"{free_mb} MB free")


def _database(settings: Settings) -> tuple[Store | None, Diagnosis]:
    try:
        store = Store(settings.database)
        if not store.exists():
            remedy = "nothing to do: the first `paneltide run` or `paneltide migrate` makes it"
            return None, Diagnosis("database", "look", f"there is no book at {store.place} yet", remedy)
        store.require_current()
        if not writable(store):
            return None, Diagnosis(
                "database",
                "amiss",
                f"{store.shown} can be read, not written",
                "check the disk, and the permissions of the file and its folder",
            )
    except (ServiceMissing, BadInput) as error:
        return None, Diagnosis("database", "amiss", str(error), "see the sentence itself")
    except Exception as error:
        reason = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        remedy = "check that the server runs, and the folder's and file's permissions"
        return None, Diagnosis("database", "amiss", f"can't be read and written: {reason}", remedy)
    found = f"{store.shown}, schema {newest_revision()}, readable and writable"
    if store.is_sqlite and _size(Path(f"{store.url.database}-wal")):
        found += ". Its newest part is in the log beside it: the file alone is no backup"
    return store, Diagnosis("database", "well", found)


def _size(path: Path) -> int:
    """Bytes of a file; none of one that isn't there."""
    return path.stat().st_size if path.exists() else 0


def _broker(settings: Settings, store: Store | None) -> Diagnosis:
    """The broker that our own parts speak to, tried: connected to, logged in, topics asked for."""
    from ingest.broker.embedded import EmbeddedBroker, answers, reachable
    from ingest.broker.login import OWN_USER, own_password
    from ingest.mqtt.link import probe

    if settings.mqtt_url != "embedded":
        broker = wiring.ingest_settings(settings)
        problem = probe(broker)
        if problem:
            remedy = "check that the broker runs there, and the address, user, password and certificates"
            return Diagnosis("broker", "amiss", f"{broker.shown}: {problem}", remedy)
        return Diagnosis("broker", "well", f"{broker.shown} lets us in and gives us our topics")
    host, port = reachable(settings.broker_bind), settings.broker_port
    folder = settings.data_dir / "broker"
    try:
        ours = EmbeddedBroker(folder, port, listen=settings.broker_bind, password=settings.broker_password)
    except ServiceMissing as error:
        return Diagnosis("broker", "amiss", str(error), "install mosquitto, or set PANELTIDE_MQTT_URL")
    if store is None or not _runs(store):
        try:
            ours.require_free_port()
        except ServiceMissing as error:
            named = "set mqtt_url, and run `paneltide doctor` again: it tries that broker"
            remedy = named if answers(host, port) else "stop the other program, or set broker_port"
            return Diagnosis("broker", "amiss", str(error), remedy)
        found = f"not running; port {port} on {settings.broker_bind} is free. {ours.promises}"
        return Diagnosis("broker", "look", found, "start it: `paneltide run`")
    broker = wiring.ingest_settings(settings, f"mqtt://{host}:{port}")
    if settings.broker_password:
        broker = replace(broker, username=OWN_USER, password=own_password(folder))
    problem = probe(broker)
    if problem:
        remedy = "settings changed since it was started? Stop `paneltide run` and start it again"
        return Diagnosis("broker", "amiss", f"{broker.shown}: {problem}", remedy)
    found = f"{broker.shown} lets us in and gives us our topics. {ours.promises}"
    if ours.kind == "iotcore":
        remedy = "install mosquitto for real use (apt-get install mosquitto, or brew install mosquitto)"
        return Diagnosis("broker", "look", found, remedy)
    return Diagnosis("broker", "well", found)


def _sensors_way(settings: Settings, store: Store | None, show_password: bool) -> Diagnosis:
    """What a sensor on the network would type, tried as far as this computer can try it by itself."""
    from ingest.mqtt.link import probe

    address = broker_address(settings, store)
    words = address_words(address)
    if address.password and show_password:
        words += f" The password is {address.password}"
    elif address.password:
        words += " (`paneltide doctor --show-password` shows it.)"
    found = f"{words} {address.heard}".strip()
    what = "address for sensors"
    if not address.hosts:
        return Diagnosis(
            what, "look", found, "`paneltide open-broker`, if sensors are to come over the network"
        )
    if settings.mqtt_url != "embedded" or store is None or not _runs(store):
        return Diagnosis(what, "look" if settings.mqtt_url == "embedded" else "well", found)
    sensor = wiring.ingest_settings(settings, f"mqtt://{address.hosts[0]}:{address.port}")
    problem = probe(replace(sensor, username=address.user, password=address.password))
    if problem:
        remedy = "stop `paneltide run` and start it again; then look at this computer's firewall"
        return Diagnosis(what, "amiss", f"{found} Tried from here: {problem}.", remedy)
    if probe(sensor) is None:
        remedy = "stop `paneltide run` and start it again, so that the password is asked for"
        return Diagnosis(
            what, "amiss", f"{found} Tried from here: it lets in anyone without a password.", remedy
        )
    remedy = f"if a sensor is not heard all the same, let port {address.port} through the firewall"
    found += " Tried from here: the password lets in, and nobody comes in without."
    return Diagnosis(what, "well", found, remedy)


def _runs(store: Store) -> bool:
    """Whether `paneltide run` runs on this book, by its last sign of life."""
    with store.session() as session:
        at = session.scalar(select(Pulse.at).where(Pulse.part == "supervisor"))
    return at is not None and machine_now() - at < SILENT_AFTER


def _page(settings: Settings) -> Diagnosis:
    what, address = "dashboard", f"http://{settings.bind}:{settings.port}/"
    try:
        with urllib.request.urlopen(
            f"{address}healthz?book={Store(settings.database).mark}", timeout=2.0
        ) as page:
            told, status = json.load(page), page.status
    except urllib.error.HTTPError as error:
        told, status = _told(error), error.code
    except (OSError, ValueError):
        try:
            wiring.require_free_port(settings.bind, settings.port)
        except ServiceMissing as error:
            return Diagnosis(what, "amiss", str(error), "stop the other program or set PANELTIDE_PORT")
        return Diagnosis(what, "look", "not running; its port is free", "start it: `paneltide run`")
    if told.get("is_book") is False:
        found = f"{address} shows another book: another paneltide has this port"
        return Diagnosis(what, "amiss", found, "stop that one, or set PANELTIDE_PORT to another port")
    if status != 200:
        found = f"{address} answers with status {status}"
        return Diagnosis(what, "look", found, f"open {address}healthz")
    return Diagnosis(what, "well", f"answers at {address}")


def _told(error: urllib.error.HTTPError) -> dict[str, Any]:
    """What a page says that is not well; nothing where it isn't ours."""
    try:
        told = json.load(error)
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}


PARTS = (INGEST, "watch")


def _parts(store: Store) -> list[Diagnosis]:
    findings = []
    with store.session() as session:
        rows = session.execute(select(Pulse.part, Pulse.at, Pulse.detail)).all()
    # One of several that was taken away on purpose is not missed.
    pulses: dict[str, datetime] = {
        part: at for part, at, told in rows if part in PARTS or (is_ingest(part) and not told.get("stopped"))
    }
    computing = {part: told.get("computing_since") for part, _, told in rows}
    cuts = {part: told.get("broker", {}).get("cuts", 0) for part, _, told in rows}
    if any(part != INGEST and is_ingest(part) for part in pulses):
        pulses.pop(INGEST, None)  # from before the messages were shared
    for part in PARTS:
        if not any(part in (name, name.split()[0]) for name in pulses):
            findings.append(
                Diagnosis(part, "look", "has never run on this book", "start it: `paneltide run`")
            )
    for part, pulse_at in sorted(pulses.items()):
        age = machine_now() - pulse_at
        if age > SILENT_AFTER:
            found = f"last sign of life {span_words(age.total_seconds())} ago"
            findings.append(Diagnosis(part, "look", found, "start it: `paneltide run`"))
            continue
        found = (standby_in_words(store) if part == "watch" else "") or "running"
        if since := computing.get(part):
            busy_s = (machine_now() - datetime.fromisoformat(since)).total_seconds()
            found += f"; it has been computing for {span_words(busy_s)}, the newest first"
        if cuts[part] >= MANY_CUTS:
            found += (
                f"; its connection to the broker ended {cuts[part]} times in the last hour, nothing is lost"
            )
            remedy = "look at the network between them, and in the broker's own log"
            findings.append(Diagnosis(part, "look", found, remedy))
            continue
        findings.append(Diagnosis(part, "well", found))
    return findings


def standby_in_words(store: Store) -> str:
    """How many watches stand by; nothing where none does."""
    from model.watch.run.standby import standing_by

    if store.is_sqlite:
        return ""
    with store.engine.connect() as connection:
        number = standing_by(connection)
    return f"running; {number} more standing by" if number else ""


def _backup(store: Store) -> Diagnosis:
    with store.session() as session:
        at = proven_at(session)
    if at is None:
        found = "none was made and proven yet; a copy of the .sqlite file without its log is no backup"
        return Diagnosis("backup", "look", found, "`paneltide backup`")
    return Diagnosis("backup", "well", f"the last proven one is of {at:%Y-%m-%d %H:%M} UTC")


def _readings(store: Store) -> list[Diagnosis]:
    with store.session() as session:
        newest: datetime | None = session.scalar(select(func.max(Reading.received_at)))
        rejected = session.scalar(select(func.count()).select_from(RejectedMessage)) or 0
    if newest is None:
        found, remedy = "no reading yet", "accept a sensor: `paneltide sensors`"
        findings = [Diagnosis("readings", "look", found, remedy)]
    else:
        findings = [Diagnosis("readings", "well", f"last one received {newest:%Y-%m-%d %H:%M} UTC")]
    if rejected:
        findings.append(
            Diagnosis(
                "rejected", "look", f"{rejected} messages kept with their reasons", "see `paneltide rejected`"
            )
        )
    return findings
