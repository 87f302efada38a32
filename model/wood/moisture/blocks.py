"""Members sorted into blocks of lanes, and threads that work on blocks side by side."""

import os
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.wood.moisture.lanes import LANES

Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Blocks:
    """Members sorted into blocks of lanes; a block's members divide a step alike."""

    order: Integers  # member standing in each lane of each block, some twice to fill a block
    lane_of: Integers  # the lane of each member
    parts: Integers  # of each block
    shared: Integers  # 1 where a whole block stands in the same airs

    @classmethod
    def of(cls, parts: Integers, face_air: Integers, back_air: Integers) -> "Blocks":
        sort = np.lexsort((back_air, face_air, parts))
        lanes: list[Integers] = []
        for value in np.unique(parts):
            alike = sort[parts[sort] == value]
            missing = -len(alike) % LANES
            lanes.append(np.concatenate([alike, np.repeat(alike[-1:], missing)]))
        order = np.concatenate(lanes)
        lane_of = np.empty(len(parts), dtype=np.int64)
        lane_of[order[::-1]] = np.arange(len(order))[::-1]
        blocks = order.reshape(-1, LANES)
        alike_airs = np.all(face_air[blocks] == face_air[blocks[:, :1]], axis=1) & np.all(
            back_air[blocks] == back_air[blocks[:, :1]], axis=1
        )
        return cls(order, lane_of, parts[blocks[:, 0]].copy(), alike_airs.astype(np.int64))

    def __len__(self) -> int:
        return len(self.parts)

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """Values of members as values of lanes."""
        return values[self.order]


class Pool:
    """Threads that run blocks side by side, made when first needed and again after a fork."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._threads: ThreadPoolExecutor | None = None
        if hasattr(os, "register_at_fork"):
            os.register_at_fork(after_in_child=self._forget)

    def _forget(self) -> None:
        self._lock, self._threads = threading.Lock(), None

    def run(self, task: Callable[[int, int], None], blocks: int, threads: int) -> None:
        shares = np.linspace(0, blocks, min(threads, blocks) + 1).round().astype(int).tolist()
        if len(shares) <= 2:
            task(0, blocks)
            return
        with self._lock:
            if self._threads is None:
                self._threads = ThreadPoolExecutor(cores(), thread_name_prefix="wood")
            waiting = [self._threads.submit(task, a, b) for a, b in pairwise(shares)]
        for one in waiting:
            one.result()


def cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1
