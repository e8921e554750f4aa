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


RESTART_H, UNTIL_H, STILL_S = 2.1, 3.0, 60.0
"""A service started anew knows neither the minutes' means of wind and stream nor the old plan: what
it tells comes as much earlier or later as another plan of the same passage would have it."""


def begun(hash_seed: int, *words: str, hours: float = HOURS) -> subprocess.Popen[str]:
    # Two runs alike but for the order in which Python keeps its sets.
    return subprocess.Popen(
        [sys.executable, str(DAY), "--hours", str(hours), "--step", str(STEP_S), "--json", *words],
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


def test_after_a_restart_the_same_is_told_at_the_same_times():
    running = [
        begun(1, *words, hours=UNTIL_H) for words in (("--calm",), ("--restart", str(RESTART_H)))
    ]
    calm, anew = (json.loads(each.communicate()[0]) for each in running)
    assert (calm["wrong"], anew["wrong"]) == ([], [])
    assert (calm["restarts"], anew["restarts"]) == (0, 1)

    def told(found):
        marks = zip(found["rounded"], found["rounded_s"], strict=True)
        turns = [(turn["point"][0], turn["at_s"]) for turn in found["turns"]]
        return sorted([*marks, *turns], key=lambda each: (each[1], each[0]))

    before, after = [], []
    for (what, at_s), (other, other_s) in zip(told(calm), told(anew), strict=True):
        assert what == other
        (before if at_s < 3600.0 * RESTART_H else after).append(other_s - at_s)
    assert len(before) >= 2
    assert len(after) >= 3
    assert set(before) == {0.0}
    assert max(map(abs, after)) <= STILL_S
