"""Five hours at sea, faster than the clock, with all that goes wrong in them; then once more.

The whole day, a look a second, is a command's: `python tests/robust/day_at_sea.py`.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc"),
]

DAY = Path(__file__).with_name("day_at_sea.py")
HOURS, STEP_S = 5, 4
MORE_BYTES, MORE_OBJECTS = 4_000_000, 0.02


def begun(hash_seed: int) -> subprocess.Popen[str]:
    # Two runs alike but for the order in which Python keeps its sets.
    return subprocess.Popen(
        [sys.executable, str(DAY), "--hours", str(HOURS), "--step", str(STEP_S), "--json"],
        stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONHASHSEED": str(hash_seed), "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


def test_nothing_is_missed_nothing_grows_and_it_all_happens_again():
    running = [begun(hash_seed) for hash_seed in (1, 2)]
    one, other = (json.loads(each.communicate()[0]) for each in running)
    assert one["wrong"] == []
    assert one["events"] == other["events"]
    # She got round, turned, set the pole, and much went wrong.
    assert len(one["rounded"]) >= 3
    assert {turn["point"][0] for turn in one["turns"]} >= {"T", "G"}
    assert len(set(one["faults"])) >= 7
    assert one["restarts"] >= 1
    # In the first hour caches fill.
    resident, objects, _ = zip(*one["memory"][1:], strict=True)
    assert max(resident) - min(resident) < MORE_BYTES
    assert max(objects) < (1.0 + MORE_OBJECTS) * min(objects)
