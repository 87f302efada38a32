"""What grows with the number of homes, and what has to be added when: a simulation from measured costs.

    python -m tests.bench.simulate_scale [--homes 100 1000 5000 50000]

Each home is a place with two sensors that speak every five minutes (a fifth of them all at once, on the full
five minutes) and two pieces of three members and three fits. Messages go through one queue after another: the
broker's thread, then one of the ingesters in turn, who waits for its database process. Service times vary
like an exponential with the measured mean. A watch looks, works, waits a second and looks again; what it does
in a look depends on what came since the last. Simulated are the hour after noon and that after midnight UTC,
when a day's outlooks are computed between looks. The number of ingesters and brokers is the least that stays
below `MOST_BUSY`; one watch works, whatever the number of homes, and others stand by. Every core is taken to
be as fast as those the costs were measured on.
"""

import argparse
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.bench.smoke import parsed

Floats = NDArray[np.float64]

SENSORS, EVERY_S, AT_ONCE, PIECES, MEMBERS, LIMITS = 2, 300.0, 0.2, 2, 6, 12
MOST_BUSY = 0.7
HOUR_S, DAY_S, YEAR_D = 3600.0, 86_400.0, 365.25
OUTAGE_H = 6

# Processor time, as two loaded cores gave it. bench_shared.py: 36 to 46 us a message in all.
BROKER_S, INGEST_S, DATABASE_S = 3e-6, 29e-6, 10e-6
# One watch and its database over 400 places: a new hour of a place 1.8 to 2.1 and 0.9 to 1.1 ms; a look 0.06
# and 0.03 ms for every place, and 0.45 and 0.24 ms more for every sensor heard; six hours at once 2.2 to 4.6
# and 1.2 to 1.4 ms a place; an outlook 135 to 211 and 2 to 5 ms a piece.
HOUR_OF_PLACE_S, HOUR_OF_PLACE_DB_S = 2.0e-3, 1.0e-3
LOOK_PLACE_S, LOOK_PLACE_DB_S = 0.06e-3, 0.03e-3
LOOK_SENSOR_S, LOOK_SENSOR_DB_S = 0.45e-3, 0.24e-3
CATCH_UP_PLACE_S, CATCH_UP_PLACE_DB_S = 4.6e-3, 1.4e-3
OUTLOOK_S, OUTLOOK_DB_S = 0.2, 4e-3
OUTLOOKS_A_LOOK = 20
WORKERS, WORTH = 8, 0.74
"""Dask's workers, and what each is worth beside one that works alone: two were 1.48 times one."""
LOOK_EVERY_S = 1.0

# Bytes a row with its key on PostgreSQL: readings over a million rows (`deploy/docs/scaling.md`), the others
# over 60 places and 21 days; an outlook, here reckoned from its columns, is kept for the newest day alone.
READING_B, AIR_HOUR_B, CHECKPOINT_B, MARGIN_B, OUTLOOK_B = 108, 111, 328, 231, 61_000


def arrivals(homes: int, seconds: float, rng: np.random.Generator) -> Floats:
    """Instants of all messages of some time, rising [s]."""
    sensors = homes * SENSORS
    phase = rng.uniform(0.0, EVERY_S, sensors)
    together = rng.random(sensors) < AT_ONCE
    phase[together] = rng.uniform(0.0, 2.0, int(together.sum()))
    beats = np.arange(0.0, seconds, EVERY_S)
    jitter = rng.uniform(0.0, 0.5, (len(beats), sensors))
    return np.sort((beats[:, None] + phase + jitter).ravel())


def departures(at: Floats, mean_s: float, rng: np.random.Generator) -> Floats:
    """When each of some rising arrivals has been served, one after another."""
    service = rng.exponential(mean_s, len(at))
    done = np.cumsum(service)
    return done + np.maximum.accumulate(at - (done - service))


def through(at: Floats, servers: int, mean_s: float, rng: np.random.Generator) -> Floats:
    """The same through servers that take turns; in the order of arrival."""
    left = np.empty_like(at)
    for server in range(servers):
        left[server::servers] = departures(at[server::servers], mean_s, rng)
    return left


@dataclass(frozen=True)
class Watched:
    """A watch through an hour: the delay from a stored reading to its verdict, and how busy it was."""

    delay_s: Floats
    busy: float
    database_s: float


def watched(stored: Floats, places: float, seconds: float, pieces_due: float) -> Watched:
    """One watch's hour that begins with the striking of a full hour, and with outlooks to compute if any."""
    now, busy_s, database_s, seen = 0.0, 0.0, 0.0, 0
    delays = []
    struck, due = False, pieces_due
    while now < seconds or seen < len(stored):
        end = int(np.searchsorted(stored, now, side="right"))
        heard = min(end - seen, places * SENSORS)
        cost_s = database = 0.0
        if heard or not struck:
            cost_s += LOOK_PLACE_S * places + LOOK_SENSOR_S * heard
            database += LOOK_PLACE_DB_S * places + LOOK_SENSOR_DB_S * heard
        if not struck:
            cost_s += HOUR_OF_PLACE_S * places
            database += HOUR_OF_PLACE_DB_S * places
            struck = True
        # A watch waits for its database.
        done = now + cost_s + database
        delays.append(done - stored[seen:end])
        seen = end
        some = min(due, OUTLOOKS_A_LOOK)
        due -= some
        cost_s += some * OUTLOOK_S
        database += some * OUTLOOK_DB_S
        busy_s += cost_s
        database_s += database
        now += cost_s + database + LOOK_EVERY_S
    length = max(seconds, now)
    return Watched(np.concatenate(delays), busy_s / length, database_s / length)


@dataclass(frozen=True)
class Plan:
    """What some homes need, and how it stands then."""

    homes: int
    per_s: float
    brokers: int
    broker_busy: float
    ingesters: int
    ingest_busy: float
    ingest_p99_s: float
    watch_busy: float
    noon_p99_s: float
    midnight_p99_s: float
    midnight_worst_s: float
    outlooks_s: float
    spread_s: float
    database_cores: float
    disk_gb: float
    outage_messages: float
    drained_s: float
    caught_up_s: float


def plan(homes: int, seed: int = 1) -> Plan:
    """The least that serves some homes."""
    rng = np.random.default_rng(seed)
    at = arrivals(homes, HOUR_S, rng)
    per_s = len(at) / HOUR_S
    brokers = max(1, int(np.ceil(per_s * BROKER_S / MOST_BUSY)))
    ingesters = max(1, int(np.ceil(per_s * (INGEST_S + DATABASE_S) / MOST_BUSY)))
    stored = np.sort(through(through(at, brokers, BROKER_S, rng), ingesters, INGEST_S + DATABASE_S, rng))
    noon = watched(stored, homes, HOUR_S, 0.0)
    midnight = watched(stored, homes, HOUR_S, homes * PIECES)
    waiting = per_s * OUTAGE_H * HOUR_S
    drain_per_s = min(ingesters / (INGEST_S + DATABASE_S), brokers / BROKER_S)
    outlooks_s = homes * PIECES * (OUTLOOK_S + OUTLOOK_DB_S)
    rows = {
        READING_B: SENSORS * DAY_S / EVERY_S * YEAR_D,
        AIR_HOUR_B: 24 * YEAR_D,
        CHECKPOINT_B: MEMBERS * YEAR_D,
        MARGIN_B: LIMITS * YEAR_D,
        OUTLOOK_B: PIECES,
    }
    return Plan(
        homes,
        per_s,
        brokers,
        per_s * BROKER_S / brokers,
        ingesters,
        per_s * INGEST_S / ingesters,
        float(np.quantile(np.sort(stored) - at, 0.99)),
        noon.busy,
        float(np.quantile(noon.delay_s, 0.99)),
        float(np.quantile(midnight.delay_s, 0.99)),
        float(midnight.delay_s.max()),
        outlooks_s,
        homes * PIECES * (OUTLOOK_S / WORKERS / WORTH + OUTLOOK_DB_S),
        per_s * DATABASE_S + noon.database_s,
        homes * sum(size * count for size, count in rows.items()) / 1e9,
        waiting,
        waiting / (drain_per_s - per_s),
        homes * (CATCH_UP_PLACE_S + CATCH_UP_PLACE_DB_S),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0] if __doc__ else None)
    parser.add_argument("--homes", type=int, nargs="+", default=[100, 1_000, 5_000, 50_000])
    plans = [plan(homes) for homes in parsed(parser, homes=[100]).homes]
    rows = [
        ("messages/s", [f"{p.per_s:.1f}" for p in plans]),
        ("brokers (busy)", [f"{p.brokers} ({p.broker_busy:.2%})" for p in plans]),
        ("ingesters (busy)", [f"{p.ingesters} ({p.ingest_busy:.2%})" for p in plans]),
        ("message to row, p99", [f"{1000 * p.ingest_p99_s:.1f} ms" for p in plans]),
        ("the watch is busy", [f"{p.watch_busy:.0%}" for p in plans]),
        ("row to verdict, p99", [f"{p.noon_p99_s:.1f} s" for p in plans]),
        ("the hour after midnight, p99", [f"{p.midnight_p99_s:.1f} s" for p in plans]),
        ("at worst, as it strikes", [f"{p.midnight_worst_s:.0f} s" for p in plans]),
        ("a day's outlooks take", [f"{p.outlooks_s / 60:.0f} min" for p in plans]),
        (f"the same on {WORKERS} Dask workers", [f"{p.spread_s / 60:.0f} min" for p in plans]),
        ("database, cores", [f"{p.database_cores:.2f}" for p in plans]),
        ("disk a year", [f"{p.disk_gb:.0f} GB" for p in plans]),
        (f"messages waiting after {OUTAGE_H} h", [f"{p.outage_messages:.2g}" for p in plans]),
        ("until they are rows", [f"{p.drained_s:.0f} s" for p in plans]),
        ("and verdicts, more", [f"{p.caught_up_s:.0f} s" for p in plans]),
    ]
    print("| homes | " + " | ".join(f"{p.homes:,}" for p in plans) + " |")
    print("|---|" + "---|" * len(plans))
    for what, values in rows:
        print(f"| {what} | " + " | ".join(values) + " |")


if __name__ == "__main__":
    main()
