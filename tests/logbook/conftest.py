"""Invented logs by the independent simulator, made once a session."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from conftest import SAMPLES
from goosewing.logbook.samples import Log
from log_simulator import Table, Truth, boards, nmea, sail

BRISVIK = SAMPLES / "brisvik"


def truth(**aboard) -> Truth:
    return Truth(
        Table(BRISVIK / "main-and-jib.csv"), Table(BRISVIK / "main-and-jib-heel.csv"), **aboard
    )


def as_log(sailed) -> Log:
    return Log(time_s=sailed.time_s, channels=sailed.read)


def beats(hours: float, seed: int, **aboard):
    """A beat on both tacks, her wind angles as helms hold them."""
    rng = np.random.default_rng(seed)
    wanted = boards(rng, hours, [39.0, 42.0, 45.0])
    return sail(truth(**aboard), wanted, seed, tws=(11.0, 2.0))


@pytest.fixture(scope="session")
def beat_log(tmp_path_factory) -> Path:
    """Two hours' beat as sentences; k is 9, the compass reads 3° too much."""
    path = tmp_path_factory.mktemp("logs") / "beat.nmea"
    path.write_text(nmea(beats(2.0, 4, k=9.0, compass_reads_deg=3.0)), encoding="ascii")
    return path
