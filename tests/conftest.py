"""What several rooms' tests share."""

from __future__ import annotations

from pathlib import Path

import pytest
from goosewing.boat.read import read_boat
from hypothesis import HealthCheck, settings

from goosewing.boat.model import Boat

settings.register_profile("goosewing", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("goosewing")

SAMPLES = Path(__file__).parents[1] / "sample_routes"


@pytest.fixture(scope="session")
def brisvik() -> Boat:
    """The sample boat."""
    return read_boat(SAMPLES / "brisvik" / "boat.toml")
