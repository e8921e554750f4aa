"""What reading and fitting a long log costs, as ratios within one run."""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pynmea2
import pytest

from conftest import SAMPLES
from goosewing.logbook.fit import Wish, fit
from goosewing.logbook.read import read_logs
from log_simulator import Table, Truth, boards, nmea, sail

BRISVIK = SAMPLES / "brisvik"
LINES = 1_000_000
"""Five sentences a second for fifty-five hours."""

MEASURE = """
import resource, sys
from pathlib import Path
from goosewing.logbook.fit import Wish, fit
from goosewing.logbook.read import read_logs
fit(read_logs([Path(sys.argv[1])]), None, Wish(wind_height_m=10.0))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
"""


def summer(path, hours, parts):
    rng = np.random.default_rng(3)
    aboard = Truth(
        Table(BRISVIK / "main-and-jib.csv"), Table(BRISVIK / "main-and-jib-heel.csv"),
        log_reads=1.05, compass_reads_deg=-2.0, vane_reads_deg=2.0, upwash_deg=2.0,
    )  # fmt: skip
    with path.open("w", encoding="ascii") as file:
        for part in range(parts):
            wanted = boards(rng, hours, lambda dice: dice.uniform(41.0, 165.0))
            log = sail(aboard, wanted, part, tws=(11.0, 3.0), engine=[(7000, 12000)])
            log.time_s = log.time_s + part * (hours + 1.0) * 3600.0
            file.write(nmea(log))
    return path


@pytest.fixture(scope="module")
def million(request, tmp_path_factory):
    # Where nothing is measured a tenth shows that it runs.
    lines = LINES / 10 if request.config.getoption("benchmark_disable") else LINES
    return summer(tmp_path_factory.mktemp("logs") / "summer.nmea", lines / 5.0 / 3600.0, 1)


@pytest.mark.benchmark(group="logbook")
def test_a_million_lines_read_and_fitted_against_pynmea2(benchmark, million):
    begun = time.process_time()
    for line in million.read_text(encoding="ascii").splitlines():
        pynmea2.parse(line, check=True)
    theirs = time.process_time() - begun

    def ours():
        return fit(read_logs([million]), None, Wish(wind_height_m=10.0))

    begun = time.process_time()
    found = benchmark.pedantic(ours, rounds=1)
    benchmark.extra_info["read_and_fitted_to_pynmea2s_parsing"] = (
        time.process_time() - begun
    ) / theirs
    assert found.tally.used > 100


@pytest.mark.benchmark(group="logbook")
def test_memory_of_ten_million_lines(benchmark, million, tmp_path):
    path = million if benchmark.disabled else summer(tmp_path / "years.nmea", 55.6, 10)

    def measured():
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True
        )
        return float(done.stdout)

    benchmark.extra_info["largest_memory_mb"] = benchmark.pedantic(measured, rounds=1)
