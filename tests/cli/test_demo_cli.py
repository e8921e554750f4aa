"""`goosewing demo`: in the checkout, and from an installed wheel far from it."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path

import gpxpy
import pytest

from goosewing_cli.demo_command import DEPARTURE, WIND

HAS_MATPLOTLIB = importlib.util.find_spec("matplotlib") is not None
FILES = {"plan.gpx", "plan.json", *(["plan.png"] if HAS_MATPLOTLIB else [])}


def check_folder(folder):
    assert {path.name for path in folder.iterdir()} == FILES
    assert json.loads((folder / "plan.json").read_bytes())["boat"] == "Brisvik"
    names = [p.name for p in gpxpy.parse((folder / "plan.gpx").read_text()).routes[0].points]
    assert {"Start", "Anholt E", "South mark", "Finish"} <= set(names)
    assert len(names) == len(set(names))
    if HAS_MATPLOTLIB:
        assert (folder / "plan.png").read_bytes().startswith(b"\x89PNG")


def test_it_prints_a_plan_and_writes_nothing_unasked(run, desk):
    before = set(desk.rglob("*"))
    ran = run("demo")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Brisvik: Start – Anholt E – South mark – Finish")
    assert "wing-and-wing" in ran.out
    assert "Saves" in ran.out
    assert "Not for sole navigation" in ran.out
    assert set(desk.rglob("*")) == before


README = Path(__file__).parents[2] / "README.md"


@pytest.mark.skipif(not README.is_file(), reason="no README beside the tests")
def test_the_readme_shows_what_it_prints(run):
    shown = README.read_text(encoding="utf-8").split("```text\n")[1].split("```")[0]
    printed = run("demo").out
    pieces = shown.split("…\n")
    assert len(pieces) == 2
    for piece in pieces:
        assert piece in printed


def test_it_is_the_plan_command_on_the_sample(run):
    arguments = ("--boat", "brisvik/boat.toml", "--wind", WIND, "--depart", DEPARTURE.isoformat())
    assert run("demo", "--json").out == run("plan", "marks.gpx", *arguments, "--json").out


def test_it_writes_every_form_into_a_folder_that_it_makes(run, desk):
    assert run("demo", "--out", "a/b").out.count("plan.") == len(FILES)
    check_folder(desk / "a" / "b")
    again = run("demo", "--out", "a/b")
    assert again.code == 0
    check_folder(desk / "a" / "b")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        pytest.param(lambda at: at.write_text("mine"), "can't make the folder", id="a-file"),
        pytest.param(lambda at: at.symlink_to("/proc/no"), "can't make the folder", id="system"),
        pytest.param(
            lambda at: (at / "plan.json").mkdir(parents=True), "is a folder", id="name-taken"
        ),
    ],
)
def test_a_folder_that_cannot_be_had_is_refused_and_nothing_written(run, desk, make, words):
    make(desk / "there")
    before = {path: path.is_file() and path.read_bytes() for path in desk.rglob("*")}
    ran = run("demo", "--out", "there")
    assert ran.code == 2
    assert ran.out == ""
    assert ran.err.count("\n") == 1
    assert words in ran.err
    assert {path: path.is_file() and path.read_bytes() for path in desk.rglob("*")} == before


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """The wheel, installed into a folder of its own; what it needs is there already."""
    folder = tmp_path_factory.mktemp("installed")
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index",
         "--disable-pip-version-check", "--target", folder, wheel],
        check=True,
        capture_output=True,
    )  # fmt: skip
    return folder


def test_from_an_installed_wheel_far_from_the_checkout(installed, tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(installed)}
    program = [sys.executable, str(installed / "bin" / "goosewing")]
    done = subprocess.run(
        [*program, "demo", "--out", "out"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Brisvik: ")
    check_folder(tmp_path / "out")
    where = subprocess.run(
        [sys.executable, "-c",
         "import goosewing; from goosewing_cli.samples import sample_folder;"
         "print(goosewing.__file__, sample_folder(), sep='\\n')"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    for line in where.stdout.splitlines():
        assert Path(line).is_relative_to(installed)


def test_an_installation_without_its_sample_is_told_so(installed, tmp_path):
    lost = tmp_path / "lost"
    (lost / "goosewing_cli").mkdir(parents=True)
    for file in (installed / "goosewing_cli").glob("*.py"):
        (lost / "goosewing_cli" / file.name).write_bytes(file.read_bytes())
    (lost / "goosewing").symlink_to(installed / "goosewing")
    done = subprocess.run(
        [sys.executable, "-c", "from goosewing_cli.main import run; run(['demo'])"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(lost)},
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert "install goosewing anew" in done.stderr
    assert done.stderr.count("\n") == 1
