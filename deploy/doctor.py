"""Is everything that is needed there and working, and what to do if not."""

import importlib.util
import json
import shutil
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlalchemy import func, select

from deploy import wiring
from deploy.answer import ServiceMissing
from deploy.settings import Settings, origin, settings_file, shown_value
from model.records.clock import machine_now
from model.records.health import INGEST, is_ingest, writable
from model.records.store import Store, StoreUnavailable
from model.records.tables import Pulse, Reading, RejectedMessage

State = Literal["well", "look", "amiss"]

LOW_DISK_MB = 500
PULSE_FRESH_S = 30.0


@dataclass(frozen=True)
class Finding:
    """One thing looked at: how it is, and what to do about it when it isn't well."""

    what: str
    state: State
    found: str
    remedy: str = ""


def examine(settings: Settings) -> list[Finding]:
    """Look at everything a running service needs.

    Returns
    -------
    list of Finding
        `amiss` is something without which it can't work; `look` is worth a look.
    """
    findings = [_folder(settings), _disk(settings)]
    store, finding = _database(settings)
    findings.append(finding)
    findings.append(_broker(settings))
    findings.append(_page(settings))
    if store is not None:
        findings += _parts(store)
        findings += _readings(store)
        store.close()
    return findings


def setting_rows(settings: Settings) -> list[dict[str, str]]:
    """Every setting with its value (secrets masked), where it came from and what it means."""
    return [
        {
            "name": name,
            "value": shown_value(settings, name),
            "from": str(settings_file()) if origin(name) == "file" else origin(name),
            "meaning": field.description or "",
        }
        for name, field in Settings.model_fields.items()
    ]


def _folder(settings: Settings) -> Finding:
    try:
        wiring.open_folder(settings.data_dir)
    except ServiceMissing as error:
        return Finding("data folder", "amiss", str(error), "set PANELTIDE_DATA_DIR to a folder you can write")
    return Finding("data folder", "well", str(settings.data_dir))


def _disk(settings: Settings) -> Finding:
    folder = settings.data_dir
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    free_mb = shutil.disk_usage(folder).free // 1_000_000
    if free_mb < LOW_DISK_MB:
        return Finding(
            "disk", "amiss", f"{free_mb} MB free", f"free some space: {LOW_DISK_MB} MB should be there"
        )
    return Finding("disk", "well", f"{free_mb} MB free")


def _database(settings: Settings) -> tuple[Store | None, Finding]:
    try:
        store = Store(settings.database)
        revision = store.schema_revision()
        if revision is None:
            remedy = "nothing to do: the first `paneltide run` or `paneltide migrate` makes it"
            return None, Finding("database", "look", f"{store.shown} holds no book yet", remedy)
        store.require_current()
        if not writable(store):
            return None, Finding(
                "database",
                "amiss",
                f"{store.shown} can be read, not written",
                "check the disk, and the permissions of the file and its folder",
            )
    except StoreUnavailable as error:
        return None, Finding("database", "amiss", str(error), "see the sentence itself")
    except Exception as error:
        reason = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        remedy = "check that the server runs, and the folder's and file's permissions"
        return None, Finding("database", "amiss", f"can't be read and written: {reason}", remedy)
    return store, Finding("database", "well", f"{store.shown}, schema {revision}, readable and writable")


def _broker(settings: Settings) -> Finding:
    from ingest.broker import mosquitto_program
    from ingest.link import probe

    if settings.mqtt_url != "embedded":
        broker = wiring.ingest_settings(settings)
        problem = probe(broker)
        if problem:
            remedy = "check that the broker runs there, and the address, user, password and certificates"
            return Finding("broker", "amiss", f"{broker.shown}: {problem}", remedy)
        return Finding("broker", "well", f"{broker.shown} lets us in")
    program = mosquitto_program()
    if program:
        return Finding("broker", "well", f"embedded: {program}; its queue survives a restart")
    if importlib.util.find_spec("iotcore"):
        return Finding(
            "broker",
            "look",
            "embedded: in-process; messages it holds don't survive its restart",
            "install mosquitto for real use (apt-get install mosquitto, or brew install mosquitto)",
        )
    return Finding("broker", "amiss", "no broker to embed", "install mosquitto, or set PANELTIDE_MQTT_URL")


def _page(settings: Settings) -> Finding:
    address = f"http://{settings.bind}:{settings.port}/"
    try:
        with urllib.request.urlopen(f"{address}healthz", timeout=2.0) as answer:
            json.load(answer)
    except urllib.error.HTTPError as error:
        return Finding(
            "dashboard", "look", f"{address} answers with status {error.code}", f"open {address}healthz"
        )
    except (OSError, ValueError):
        try:
            wiring.require_free_port(settings.bind, settings.port)
        except ServiceMissing as error:
            return Finding("dashboard", "amiss", str(error), "stop the other program or set PANELTIDE_PORT")
        return Finding("dashboard", "look", "not running; its port is free", "start it: `paneltide run`")
    return Finding("dashboard", "well", f"answers at {address}")


PARTS = (INGEST, "watch")


def _parts(store: Store) -> list[Finding]:
    findings = []
    with store.session() as session:
        rows = session.execute(select(Pulse.part, Pulse.at, Pulse.detail)).all()
    # One of several that was taken away on purpose is not missed.
    pulses: dict[str, datetime] = {
        part: at for part, at, told in rows if part in PARTS or (is_ingest(part) and not told.get("stopped"))
    }
    if any(part != INGEST and is_ingest(part) for part in pulses):
        pulses.pop(INGEST, None)  # from before the messages were shared
    for part in PARTS:
        if not any(part in (name, name.split()[0]) for name in pulses):
            findings.append(Finding(part, "look", "has never run on this book", "start it: `paneltide run`"))
    for part, pulse_at in sorted(pulses.items()):
        age_s = (machine_now() - pulse_at).total_seconds()
        if age_s > PULSE_FRESH_S:
            found = f"last sign of life {_span(age_s)} ago"
            findings.append(Finding(part, "look", found, "start it: `paneltide run`"))
        else:
            found = standby_in_words(store) if part == "watch" else ""
            findings.append(Finding(part, "well", found or "running"))
    return findings


def standby_in_words(store: Store) -> str:
    """How many watches stand by; nothing where none does."""
    from model.watch.standby import standing_by

    if store.is_sqlite:
        return ""
    with store.engine.connect() as connection:
        number = standing_by(connection)
    return f"running; {number} more standing by" if number else ""


def _readings(store: Store) -> list[Finding]:
    with store.session() as session:
        newest: datetime | None = session.scalar(select(func.max(Reading.received_at)))
        rejected = session.scalar(select(func.count()).select_from(RejectedMessage)) or 0
    if newest is None:
        found, remedy = "no reading yet", "accept a sensor: `paneltide sensors`"
        findings = [Finding("readings", "look", found, remedy)]
    else:
        findings = [Finding("readings", "well", f"last one received {newest:%Y-%m-%d %H:%M} UTC")]
    if rejected:
        findings.append(
            Finding(
                "rejected", "look", f"{rejected} messages kept with their reasons", "see `paneltide rejected`"
            )
        )
    return findings


def _span(seconds: float) -> str:
    for unit, size in (("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s"
