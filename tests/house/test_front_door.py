"""What `import goosewing` offers: small, late, and enough for a passage."""

from __future__ import annotations

import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import goosewing
from goosewing import earth
from goosewing.exchange.document import write_json

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_routes"
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)


def test_every_public_name_is_there_and_no_other_is_promised():
    assert set(goosewing.__all__) == set(goosewing._HOMES)
    assert all(getattr(goosewing, name) is not None for name in goosewing.__all__)
    assert set(goosewing.__all__) <= set(dir(goosewing))


def test_the_type_checker_and_the_interpreter_are_told_the_same():
    text = (ROOT / "plugin" / "goosewing" / "__init__.py").read_text(encoding="utf-8")
    typed = dict(re.findall(r"from goosewing\.([\w.]+) import (?:\w+) as (\w+)", text))
    pairs = re.findall(r"from goosewing\.([\w.]+) import (\w+) as (\w+)", text)
    assert typed
    for module, name, public in pairs:
        wanted = module if name == public else f"{module}:{name}"
        assert goosewing._HOMES[public] == wanted
    assert {public for *_, public in pairs} == set(goosewing.__all__)


def test_an_unknown_name_is_refused_by_name():
    with pytest.raises(AttributeError, match="no attribute 'plan_everything'"):
        _ = goosewing.plan_everything


def test_no_public_name_is_hidden_by_a_room_of_the_same_name():
    rooms = {path.stem for path in (ROOT / "plugin" / "goosewing").iterdir()}
    assert earth.__name__ == "goosewing.earth"
    assert not rooms & set(goosewing.__all__)


def test_from_file_to_route(tmp_path):
    marks = goosewing.read_marks(SAMPLES / "kattegat.gpx").marks
    boat = goosewing.read_boat(SAMPLES / "brisvik" / "boat.toml")
    wind = goosewing.SteadyWeather(315, 10)
    plan = goosewing.make_plan(marks, boat, wind, DEPARTURE)
    goosewing.write_gpx(tmp_path / "plan.gpx", plan)
    assert [leg.destination for leg in plan.legs] == ["Anholt E", "South mark", "Finish"]
    assert (tmp_path / "plan.gpx").stat().st_size > 1000
    write_json(tmp_path / "plan.json", plan)
    back = goosewing.read_plan(tmp_path / "plan.json")
    assert [leg.boards[0].tack for leg in back.legs] == [leg.boards[0].tack for leg in plan.legs]
    lines = goosewing.draw_laylines(marks, boat, wind, DEPARTURE).laylines
    assert {line.mark for line in lines} == {"Anholt E", "South mark", "Finish"}
    found = goosewing.find_targets(boat, [10.0])
    assert found.wind_speeds[0].upwind
    times = [DEPARTURE, DEPARTURE + timedelta(hours=1)]
    best = goosewing.compare_departures(marks, boat, wind, times)
    assert {each.departure for each in best} == set(times)


def test_hazards_are_read_and_kept_clear_of():
    marks = goosewing.read_marks(SAMPLES / "kattegat.gpx").marks
    boat = goosewing.read_boat(SAMPLES / "brisvik" / "boat.toml")
    coast = goosewing.read_hazards(coast=True, clearance_nm=0.3)
    plan = goosewing.make_plan(
        marks, boat, goosewing.SteadyWeather(315, 10), DEPARTURE, hazards=coast
    )
    assert any("Natural Earth" in notice for notice in plan.notices)
    with pytest.raises(goosewing.InputError, match="nothing to keep clear of"):
        goosewing.read_hazards()


def test_the_manual_is_help():
    code = "import pydoc, goosewing; print(pydoc.plain(pydoc.render_doc(goosewing)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    manual = done.stdout
    assert manual.index("make_plan") < manual.index("CLASSES")
    assert "not for sole navigation" in " ".join(manual.split())
