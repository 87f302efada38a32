"""What the soak found: counts against what was sent, the way to the page, memory of every part."""

import argparse
import os

import numpy as np
from sqlalchemy import text

from model.records.store import Store
from tests.bench.soak_probes import Probe
from tests.bench.soak_world import Part, World

LIMIT_S = 10.0
SETTLED_S = 15.0
MEMORY_GROWTH = 1.25
"""A part may take this much more at the end than when it had settled."""


def verdict(name: str, good: bool, found: str) -> bool:
    print(f"{'well ' if good else 'AMISS'}  {name:<38} {found}")
    return good


def judge(
    store: Store, world: World, probe: Probe, done: list[str], rows: int, expected: int,
    given: argparse.Namespace,
) -> int:  # fmt: skip
    kinds = ", ".join(f"{done.count(kind)} x {kind}" for kind in sorted(set(done)))
    print(
        f"{given.minutes:g} minutes, {given.sensors} sensors x {given.rate:g}/s; "
        f"{len(done)} restarts ({kinds or 'none'}); load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores\n"
    )
    with store.engine.connect() as connection:
        tallies = dict(connection.execute(text("SELECT name, count FROM tally")).all())  # type: ignore[arg-type]
        wrong = connection.scalar(
            text(
                "SELECT count(*) FROM (SELECT sensor_id, count(*) AS n FROM reading JOIN sensor "
                "ON sensor.id = sensor_id WHERE name LIKE 's%' GROUP BY sensor_id) AS own "
                "WHERE abs(n - :each) > 1"
            ),
            {"each": expected // given.sensors},
        )
        refused = connection.scalar(text("SELECT count(*) FROM rejected_message"))
        stored_all = connection.scalar(text("SELECT count(*) FROM reading"))
    good = [
        verdict("nothing lost", rows >= expected, f"{expected} sent, {rows} stored"),
        verdict("nothing doubled", rows <= expected and not wrong, f"{wrong} sensors with odd counts"),
        verdict(
            "counts agree",
            tallies.get("stored") == stored_all and not refused,
            f"tally stored {tallies.get('stored')}, rows {stored_all}, "
            f"redelivered {tallies.get('duplicate', 0)}, rejected {refused}",
        ),
    ]
    took = np.array([seconds for seconds, _ in probe.took_s])
    calm = np.array([seconds for seconds, disturbed in probe.took_s if not disturbed])
    slowest = sorted(probe.took_s, reverse=True)[:5]
    if len(took):
        p50, p99 = np.percentile(took, [50, 99])
        of_calm = f"{np.percentile(calm, 99):.1f}" if len(calm) else "-"
        good.append(
            verdict(
                "message to page, p99 < 10 s",
                bool(p99 < LIMIT_S),
                f"p50 {p50:.1f} s, p99 {p99:.1f} s, longest {took.max():.1f} s over {len(took)} probes; "
                f"p99 without a restart meanwhile {of_calm} s ({len(calm)})",
            )
        )
        told = ", ".join(f"{seconds:.1f} ({'+'.join(names) or 'none'})" for seconds, names in slowest)
        print(f"       the slowest, and what was restarted      {told}")
        print(f"       of that until the verdict is stored      p50 {np.median(probe.verdict_s):.1f} s")
        with store.engine.connect() as connection:
            detail = connection.scalar(text("SELECT detail FROM pulse WHERE part = 'watch'")) or {}
        print(f"       the last evaluation took                 {detail.get('durations_s')}")
    else:
        good.append(verdict("message to page, p99 < 10 s", False, "no probe ever reached the page"))
    for name, part in world.parts.items():
        if name in ("broker", "database"):
            continue
        settled = [size for since, size in part.memory if since > SETTLED_S]
        if len(settled) < 20:
            print(f"       memory of {name:<27} too few samples since its restarts")
            continue
        early, late = np.median(settled[:10]), np.median(settled[-10:])
        good.append(
            verdict(
                f"memory of {name} flat",
                bool(late < MEMORY_GROWTH * early),
                f"{early / 1e6:.0f} MB settled, {late / 1e6:.0f} MB at the end, {part.starts} starts; in the "
                f"longest run {_longest(part)}",
            )
        )
    return 0 if all(good) else 1


def _longest(part: Part) -> str:
    """How much a part grew between two starts, where it lived the longest, once it had settled."""
    runs: list[list[tuple[float, int]]] = [[]]
    for since_s, size in part.memory:
        if runs[-1] and since_s < runs[-1][-1][0]:
            runs.append([])
        runs[-1].append((since_s, size))
    longest = [(since_s, size) for since_s, size in max(runs, key=len) if since_s > SETTLED_S]
    if len(longest) < 2:
        return "too short"
    first, last = longest[0], longest[-1]
    return f"{(last[1] - first[1]) / 1e6:+.0f} MB over {last[0] - first[0]:.0f} s"
