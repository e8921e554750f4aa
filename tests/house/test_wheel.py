"""What is shipped: the version, the types, the samples, and nothing of the tests."""

from __future__ import annotations

import zipfile

import pytest

import goosewing
from goosewing_cli.main import outcome


@pytest.fixture(scope="module")
def shipped(wheel):
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_the_version_is_one_everywhere(wheel, capsys):
    assert wheel.name.split("-")[1] == goosewing.__version__
    assert outcome(["--version"]) == 0
    assert capsys.readouterr().out == f"goosewing {goosewing.__version__}\n"


def test_both_packages_say_that_they_are_typed(shipped):
    assert {"goosewing/py.typed", "goosewing_cli/py.typed"} <= shipped


def test_the_sample_passage_is_in_it(shipped):
    samples = {name for name in shipped if name.startswith("goosewing_cli/sample_routes/")}
    names = {name.rsplit("/", 1)[1] for name in samples}
    assert {"kattegat.gpx", "boat.toml", "main-and-jib.csv", "wing-and-wing.csv"} <= names


def test_nothing_else_is_in_it(shipped):
    roots = {name.split("/")[0] for name in shipped}
    about = f"goosewing-{goosewing.__version__}.dist-info"
    assert roots == {"goosewing", "goosewing_cli", about}
    assert f"{about}/licenses/LICENSE" in shipped
