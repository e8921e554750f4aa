"""A beat and a reach in a shifty wind, worked out once."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from goosewing.plan import make
from goosewing.records import Mark
from goosewing.shifts import Shifts
from goosewing.shifts.chances import with_chances
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
MARKS = [
    Mark(name="Start", lat=57.0, lon=11.0),
    Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0),
    Mark(name="Beam", lat=57.0 + 5.0 / 60.0, lon=11.2),
]
SHIFTS = Shifts(sigma_deg=5.0, tau_min=10.0)


@pytest.fixture(scope="session")
def told(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    plan = make(MARKS, brisvik, weather, DEPARTURE)
    return with_chances(plan, brisvik, weather, SHIFTS, "As given.")
