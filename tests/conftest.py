"""What several rooms' tests share."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from goosewing.boat.model import Boat
from goosewing.boat.read import read_boat

settings.register_profile("goosewing", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("goosewing")

CHECKOUT = Path(__file__).parents[1]
SAMPLES = CHECKOUT / "sample_routes"


@pytest.fixture(scope="session")
def brisvik() -> Boat:
    """The sample boat."""
    return read_boat(SAMPLES / "brisvik" / "boat.toml")


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel, built from the checkout with what is installed, without asking any registry."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", folder],
        cwd=CHECKOUT,
        check=True,
        capture_output=True,
    )
    (built,) = folder.glob("*.whl")
    return built
