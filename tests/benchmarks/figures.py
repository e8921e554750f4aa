"""Every ratio that the benchmarks take, in one table, with the machine and the versions.

    python tests/benchmarks/figures.py [WORDS THAT PYTEST TAKES, such as -k hazards]

Ratios of one run; what a machine does besides moves them by a tenth or more.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from goosewing import __version__

HERE = Path(__file__).parent
LIBRARIES = ("numpy", "scipy", "shapely", "pyproj", "eccodes")


def measured(words: list[str]) -> tuple[int, dict[str, Any]]:
    """Run the benchmarks; pytest's exit code, and what they noted."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "figures.json"
        command = [
            *(sys.executable, "-m", "pytest", str(HERE), "-q", "-m", "", "-p", "no:cacheprovider"),
            *("--benchmark-enable", "--benchmark-only", f"--benchmark-json={file}", *words),
        ]
        code = subprocess.run(command, stdout=sys.stderr, check=False).returncode
        return code, json.loads(file.read_text()) if file.exists() else {"benchmarks": []}


def processor() -> str:
    """Name the processor as closely as the system does."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text().splitlines() if told.exists() else []
    named = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"{platform.machine()}, {named[0]}" if named else platform.machine()


def shown(value: object) -> str:
    """Write a figure as it is read: three digits that mean something."""
    if isinstance(value, float):
        return f"{value:.3g}"
    if isinstance(value, dict):
        return ", ".join(f"{key}: {shown(each)}" for key, each in value.items())
    return str(value)


def main() -> int:
    """Measure and print."""
    code, found = measured(sys.argv[1:])
    console = Console()
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    console.print(f"{processor()}, {cores} cores, Python {platform.python_version()}")
    versions = [f"goosewing {__version__}", *(f"{name} {version(name)}" for name in LIBRARIES)]
    console.print(", ".join(versions))
    table = Table("what", "figure", "value")
    for bench in found["benchmarks"]:
        what = bench["name"].removeprefix("test_").replace("_", " ")
        for name, value in bench["extra_info"].items():
            table.add_row(what, name.replace("_", " "), shown(value))
            what = ""
    console.print(table)
    return code


if __name__ == "__main__":
    sys.exit(main())
