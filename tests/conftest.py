"""What several rooms' tests share."""

from __future__ import annotations

import importlib
import os
import pkgutil
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

# As the command does: on small matrices threads only wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

import goosewing
import goosewing_cli
from goosewing.boat.model import Boat
from goosewing.boat.read import read_boat

QUICK, WHOLE = "quick", "whole"
for profile, examples in ((QUICK, 30), (WHOLE, 100)):
    settings.register_profile(
        profile,
        max_examples=examples,
        # The same examples on every run of one commit: a run that landed lands again.
        derandomize="CI" in os.environ,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
    )

CHECKOUT = Path(__file__).parents[1]
LONG_ROOMS = {"signalk": "a Signal K server", "panel": "a browser"}
"""What a folder's tests need that takes its time."""


def pytest_configure(config: pytest.Config) -> None:
    """Try more examples where the long tests run too."""
    settings.load_profile(QUICK if config.getoption("-m") == "not long" else WHOLE)
    if "CI" in os.environ:
        load_everything()


def load_everything() -> None:
    """Import the whole engine, so that no order of tests chooses their examples.

    Hypothesis draws on the constants of all modules loaded so far: of two runs that share the
    tests out in other ways, each tried examples that the other never met.
    """
    for package in (goosewing, goosewing_cli):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            with suppress(ImportError):
                importlib.import_module(module.name)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what needs a server or a browser as long."""
    for item in items:
        if item.path.parent.name in LONG_ROOMS and CHECKOUT / "tests" in item.path.parents:
            item.add_marker(pytest.mark.long)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say what was left out, and who runs it."""
    left_out = len(terminalreporter.stats.get("deselected", ()))
    if left_out and terminalreporter.config.getoption("-m") == "not long":
        needed = ", ".join(LONG_ROOMS.values())
        terminalreporter.write_line(
            f"{left_out} long tests left out ({needed}, long plans, executors): "
            '`.ci/run` runs them, and so does `pytest -m ""`.'
        )


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
