"""Two thousand damaged files in each run; 200,000 by `python tests/robust/campaign.py`."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

CAMPAIGN = Path(__file__).with_name("campaign.py")
KINDS = (
    ("grib", "real-grib", "netcdf", "netcdf-classic"),
    ("wind-table", "tides", "card", "tide-heights", "nmea", "deltas"),
    ("marks", "boat", "polar", "heel", "dimensions"),
    ("geojson", "hazard-gpx", "shapefile", "projection"),
)
CASES = 500


@pytest.mark.long
@pytest.mark.skipif(sys.platform != "linux", reason="forks, limits and /proc")
@pytest.mark.parametrize("kinds", KINDS, ids=lambda kinds: kinds[0])
def test_no_damage_ends_in_more_than_a_line(kinds):
    chosen = [word for kind in kinds for word in ("--kind", kind)]
    command = [sys.executable, str(CAMPAIGN), "--cases", str(CASES), *chosen]
    ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=1800)
    assert ran.returncode == 0, ran.stdout[-4000:] + ran.stderr[-2000:]
    # A hand that spoils nothing, or a file that is always refused, would show nothing.
    done, refused = (
        int(found[1]) if (found := re.search(rf"(\d+) × exit {code}\b", ran.stdout)) else 0
        for code in (0, 2)
    )
    assert done > CASES / 100
    assert refused > CASES / 10


def test_every_kind_is_in_the_run():
    sys.path.insert(0, str(CAMPAIGN.parent))
    try:
        from campaign import COMMANDS
    finally:
        sys.path.pop(0)
    assert sorted(COMMANDS) == sorted(kind for kinds in KINDS for kind in kinds)
