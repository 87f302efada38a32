"""How the service is, in five lines; the same on the Settings page, on the command line and in a notice."""

from datetime import datetime, timedelta

from model.records.queries.service import ServiceNow
from model.words import times

OLD_BACKUP = timedelta(days=8)
LOW_DISK_MB, LOW_DISK_DAYS = 500.0, 30.0
YEAR_DAYS = 365.25


def troubles(service: ServiceNow, now: datetime) -> list[str]:
    """What is amiss with the service itself, the worst first; empty when all is well."""
    found = [*service.problems]
    if service.free_mb is not None and _is_low(service):
        found.append(f"the disk is nearly full: {_size(service.free_mb)} free")
    if service.sensors and service.readings == 0:
        found.append("no sensor has been heard for an hour")
    if service.backup_at is not None and now - service.backup_at > OLD_BACKUP:
        found.append(f"the last proven backup is {times.span(now - service.backup_at)} old")
    return found


def five_lines(service: ServiceNow, now: datetime) -> list[str]:
    """Readings, doubt, disk, backup and version, a sentence each."""
    return [
        _readings(service),
        _doubt(service, now),
        _disk(service),
        _backup(service, now),
        _version(service),
    ]


def _readings(service: ServiceNow) -> str:
    if service.readings is None:
        return "Readings: unknown, the book can't be read."
    return (
        f"Readings: {service.readings} in the last hour; sensors heard: {service.heard} of {service.sensors}."
    )


def _doubt(service: ServiceNow, now: datetime) -> str:
    doubt = service.oldest_doubt
    if service.readings is None:
        return "Doubts: unknown, the book can't be read."
    if doubt is None:
        return "Doubts: no sensor is doubted now."
    kind = doubt.kind.replace("-", " ")
    return f"Doubts: the oldest is {doubt.sensor}, {kind} for {times.span(now - doubt.since_at)}."


def _disk(service: ServiceNow) -> str:
    if service.free_mb is None:
        return "Disk: the book is on a database server; look at that server's disk."
    told = f"Disk: {_size(service.free_mb)} free"
    if service.days_left is None:
        return f"{told}; in a week it shows for how long that is enough."
    if service.days_left > 20 * YEAR_DAYS:
        return f"{told}, enough for more than 20 years."
    return f"{told}, enough for {times.span(timedelta(days=service.days_left))}."


def _backup(service: ServiceNow, now: datetime) -> str:
    if service.backup_at is None:
        return "Backup: none was made and proven yet; `paneltide backup` makes one."
    return f"Backup: the last proven one was made {times.ago(service.backup_at, now)}."


def _version(service: ServiceNow) -> str:
    return f"Version: paneltide {service.version}, schema {service.schema_revision}."


def _is_low(service: ServiceNow) -> bool:
    short = service.days_left is not None and service.days_left < LOW_DISK_DAYS
    return short or (service.free_mb is not None and service.free_mb < LOW_DISK_MB)


def _size(mb: float) -> str:
    return f"{mb / 1000:.0f} GB" if mb >= 10_000 else f"{mb:.0f} MB"
