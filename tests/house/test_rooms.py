"""The shape of the house: who may import whom, who may touch the world, what stays unloaded."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ENGINE = ROOT / "plugin" / "goosewing"
CLI = ROOT / "cli" / "goosewing_cli"

FLOORS = (
    {"errors", "units"},
    {"files", "records"},
    {"options", "earth"},
    {"turns"},
    {"words", "weather"},
    {"compass", "boat"},
    {"totals", "velocities"},
    {"sail_handling"},
    {"hazards"},
    {"case"},
    {"steady"},
    {"changing"},
    {"marks", "laylines"},
    {"plan"},
    {"departures", "shifts"},
    {"foresight"},
    {"exchange"},
    {"logbook"},
    {"report", "front_door"},
    {"live"},
)
"""From the cellar up: a room imports from floors below its own, and within itself.

A new room gets its place here.
"""

FLOOR = {room: number for number, rooms in enumerate(FLOORS) for room in rooms}

READERS = {
    *(
        "files.disk",
        "files.own_process",
        "compass.card",
        "boat.read",
        "boat.tables",
        "boat.measurements",
    ),
    *("weather.read", "weather.grib", "weather._eccodes", "weather.netcdf", "weather.table"),
    *("weather.tides", "hazards.chart", "hazards.coast"),
    *(
        f"hazards.read.{kind}"
        for kind in ("files", "geojson", "layers", "shapes", "tracks", "tide")
    ),
    *("hazards.read.datum", "hazards.read.chart_cells", "hazards.read.tide"),
}
"""Below the exchange, these alone read files."""

LIVE_RIM = {"live.__main__", "live.planner", "live.host.service", "live.host.session"} | {
    *("live.panel.counter", "live.panel.doors", "live.panel.guard", "live.panel.server"),
    "live.panel.gate",
    "live.alone.watch",
}
"""The process, and what reads the boat file; the rest of the service takes time as it is given."""

WORLD = {
    *("os", "io", "pathlib", "shutil", "tempfile", "glob", "fileinput", "mmap", "fcntl"),
    *("time", "sched", "signal", "logging", "warnings", "sys", "subprocess", "threading"),
    *("socket", "ssl", "http", "urllib", "asyncio", "random", "secrets", "getpass", "platform"),
    *("click", "rich", "argparse", "serial", "requests", "httpx"),
}
"""Files, clocks, logs, terminals, networks."""

CLOCKS_AND_TERMINALS = {"now", "utcnow", "today", "open", "print", "input"}
"""Built-ins and methods that do the same without an import."""


def modules(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.py"))


def dotted(path: Path) -> str:
    """The module's name below the engine, such as "boat.model"."""
    return ".".join(path.relative_to(ENGINE).with_suffix("").parts)


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def run_time_nodes(path: Path) -> list[ast.AST]:
    """All nodes but those that only a type checker sees."""
    found: list[ast.AST] = []
    waiting: list[ast.AST] = [tree(path)]
    while waiting:
        node = waiting.pop()
        found.append(node)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            waiting += node.orelse
        else:
            waiting += ast.iter_child_nodes(node)
    return found


def imported(path: Path) -> set[str]:
    """Dotted names of everything a module imports when it runs, at its top or inside."""
    names: set[str] = set()
    for node in run_time_nodes(path):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            module = node.module or ""
            # `from goosewing import plan` names a room, `from goosewing.plan import x` a member.
            names |= {f"{module}.{a.name}" for a in node.names} if module == "goosewing" else set()
            names.add(module)
    return names - {"goosewing", "__future__"}


def rooms_imported(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imported(path) if name.startswith("goosewing.")}


ENGINE_MODULES = [pytest.param(path, id=dotted(path)) for path in modules(ENGINE)]
PURE_MODULES = [
    pytest.param(path, id=dotted(path))
    for path in modules(ENGINE)
    if (
        FLOOR.get(dotted(path).split(".")[0], 0) <= FLOOR["foresight"]
        and dotted(path) not in READERS
    )
    or (dotted(path).startswith("live.") and dotted(path) not in LIVE_RIM)
]


def test_the_walk_sees_what_is_there():
    names = {dotted(path) for path in modules(ENGINE)}
    assert {"earth.geodesy", "boat.model", "exchange.gpx.plans", "plan"} <= names
    assert {"earth", "velocities"} <= rooms_imported(ENGINE / "steady" / "boards.py")
    assert "numpy" in imported(ENGINE / "earth" / "geodesy.py")


@pytest.mark.parametrize("path", ENGINE_MODULES)
def test_imports_point_downwards_only(path):
    room = dotted(path).split(".")[0]
    if room == "__init__":
        assert imported(path) <= {"typing", "importlib"}
        return
    assert room in FLOOR, f"give {room} its floor in {Path(__file__).name}"
    wrong = {
        other for other in rooms_imported(path) - {room} if FLOOR.get(other, 99) >= FLOOR[room]
    }
    assert not wrong, f"{room} imports {wrong}, on its own floor or above it"


def all_imported(path: Path) -> set[str]:
    """Modules of the engine that a module names at all, for a type checker's eyes too."""
    known = {dotted(each).removesuffix(".__init__"): dotted(each) for each in modules(ENGINE)}
    found = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("goosewing"):
            base = (node.module or "").removeprefix("goosewing").lstrip(".")
            for name in node.names:
                below = f"{base}.{name.name}".lstrip(".")
                found.add(known.get(below) or known.get(base) or "")
    return found - {"", "__init__", dotted(path)}


@pytest.mark.parametrize("path", ENGINE_MODULES)
def test_types_come_from_below_too(path):
    room = dotted(path).split(".")[0]
    if room == "__init__":
        return
    others = {name.split(".")[0] for name in all_imported(path)} - {room}
    assert not {other for other in others if FLOOR[other] >= FLOOR[room]}


def test_no_modules_import_each_other_in_a_circle():
    graph = {dotted(path): all_imported(path) for path in modules(ENGINE)}
    while leaves := {name for name, others in graph.items() if not others & set(graph)}:
        graph = {name: others for name, others in graph.items() if name not in leaves}
    assert not graph, f"in a circle, or above one: {sorted(graph)}"


@pytest.mark.parametrize("path", PURE_MODULES)
def test_computation_knows_no_file_no_clock_no_log(path):
    world = {name.split(".")[0] for name in imported(path)} & WORLD
    assert not world
    called = {
        node.func.id if isinstance(node.func, ast.Name) else node.func.attr
        for node in run_time_nodes(path)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute)
    }
    assert not called & CLOCKS_AND_TERMINALS


LISTENERS = {"core": {"host", "alone", "panel"}, "alone": {"host"}, "panel": {"host", "alone"}}
"""Parts of the running service, with those that each knows nothing of."""


@pytest.mark.parametrize("part", sorted(LISTENERS))
def test_listeners_of_the_core_know_nothing_of_the_host(part):
    for path in modules(ENGINE / "live" / part):
        known = {
            name.split(".")[2] for name in imported(path) if name.startswith("goosewing.live.")
        }
        assert not known & LISTENERS[part], path.name


@pytest.mark.parametrize("path", ENGINE_MODULES)
def test_the_engine_knows_nothing_of_the_command_line(path):
    roots = {name.split(".")[0] for name in imported(path)}
    assert not roots & {"goosewing_cli", "click", "rich"}


@pytest.mark.parametrize("path", [pytest.param(p, id=p.stem) for p in modules(CLI)])
def test_the_command_line_holds_no_arithmetic_of_its_own(path):
    # It parses, calls, prints: whoever needs arrays belongs in the engine.
    assert not {name.split(".")[0] for name in imported(path)} & {"numpy", "scipy", "pyproj"}


# ---- what is loaded --------------------------------------------------------------------------


def loaded_by(code: str) -> set[str]:
    """Names of all modules in a fresh interpreter after it ran `code`."""
    probe = f"{code}\nimport sys\nprint(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(done.stderr.split())


def command(*arguments: str) -> str:
    return f"from goosewing_cli.main import outcome\nassert outcome({list(arguments)!r}) == 0"


def test_importing_the_package_is_light():
    loaded = loaded_by("import goosewing")
    assert "goosewing" in loaded
    assert not loaded & {"numpy", "scipy", "pyproj", "click", "rich"}


def test_help_loads_nothing_heavy():
    loaded = loaded_by(command("--help"))
    assert "click" in loaded
    heavy = {"numpy", "scipy", "pyproj", "shapely", "gpxpy", "matplotlib", "xarray", "rich.table"}
    assert not loaded & heavy


def test_a_plan_in_steady_wind_loads_only_what_it_needs():
    sample = "sample_routes"
    boat = f"{sample}/brisvik/boat.toml"
    loaded = loaded_by(
        command("plan", f"{sample}/kattegat.gpx", "--boat", boat, "--wind", "315/10")
    )
    assert {"numpy", "pyproj"} <= loaded
    heavy = {"scipy", "shapely", "matplotlib", "xarray", "eccodes", "geopy", "pygeomag", "serial"}
    heavy |= {"gpxpy", "numpy.ma", "multiprocessing", "pydantic"}
    assert not loaded & heavy


# ---- the plot --------------------------------------------------------------------------------


def kept_at_the_top() -> set[str]:
    """What the project holds at its top: in a checkout what git keeps, else all there is."""
    if not (ROOT / ".git").exists():
        return {path.name for path in ROOT.iterdir()}
    kept = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return {name.split("/")[0] for name in kept.stdout.split("\0") if name}


def test_nothing_else_stands_at_the_top_level():
    assert {name for name in kept_at_the_top() if not name.startswith(".")} == {
        *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"),
        *("plugin", "cli", "tests", "sample_routes"),
    }


# ---- what is read first ----------------------------------------------------------------------


def test_the_readme_is_short_and_leads_to_chapters_that_are_there():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 160
    links = re.findall(r"\]\(([^)#:]+)(?:#[\w-]+)?\)", text)
    assert {"cli/README.md", "sample_routes/README.md", "plugin/README.md"} <= set(links)
    assert all((ROOT / link).exists() for link in links)


def test_the_readmes_python_runs_as_it_stands(tmp_path, monkeypatch):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    code = text.split("```python\n")[1].split("```")[0]
    (tmp_path / "sample_routes").symlink_to(ROOT / "sample_routes")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "README.md", "exec"), {})
    assert (tmp_path / "plan.gpx").stat().st_size > 1000
