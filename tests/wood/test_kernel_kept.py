"""Code that a process compiled and code that it loaded answer alike, to the last bit."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ASK = """
import hashlib
import numpy as np
from model.wood.moisture import solver as moisture
random = np.random.default_rng(7)
n = 20
bare_or_not = np.where(random.random(n) < 0.5, np.nan, 2e-10)
batch = moisture.Batch(
    thickness_mm=random.uniform(6, 50, n),
    specific_gravity=random.uniform(0.35, 0.7, n),
    oven_dry_density_kg_m3=random.uniform(350, 700, n),
    face_permeance=bare_or_not,
    back_permeance=bare_or_not[::-1].copy(),
)
temperature_c = 20 + 3 * random.standard_normal((400, 2))
rh_pct = np.clip(45 + 10 * random.standard_normal((400, 2)), 5, 95)
air = random.integers(0, 2, n)
start = moisture.uniform_profile(random.uniform(5, 12, n))
run = moisture.advance(start, batch, temperature_c, rh_pct, air, air)
print(hashlib.sha256(run.profile.tobytes()).hexdigest())
"""


@pytest.mark.slow
def test_first_process_and_the_next_give_the_same_bits(tmp_path: Path) -> None:
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    answers = []
    for _ in range(2):
        done = subprocess.run(
            [sys.executable, "-c", ASK], env=environment, capture_output=True, text=True, check=True
        )
        answers.append(done.stdout)
        assert list(tmp_path.rglob("*.nbc")), "the first process keeps its machine code for the next"
    assert answers[0] == answers[1]
