"""The words of the panel page: its own tests in node, and row by row against the engine's table."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.words.figures import hours_and_minutes, three_figures
from signalk_host import SAMPLES, HostUnavailableError, node

HERE = Path(__file__).parent
BRISVIK = str(SAMPLES / "brisvik" / "boat.toml")
RUN = "from goosewing_cli.main import run; run()"
DEPART = ("--depart", "2027-06-12T05:00Z")

PASSAGES = {
    "steady": ("--wind", "315/10", *DEPART),
    "magnetic": ("--wind", "315/10", "--variation", "4.5", *DEPART),
    "with a stream": ("--wind", "290/14", "--current", "045/1.3", *DEPART),
    "over midnight": ("--wind", "300/12", "--depart", "2027-06-12T21:30Z"),
    "a mark left": ("--wind", "240/12", "--leave", "Anholt E=port:0.2", *DEPART),
    # The wind veers, so that the heading swings: the helm keeps an angle.
    "changing": (
        *("--wind", "veering.csv", "--at", "56°40'N 12°10'E", "--next", "Finish"),
        *DEPART,
    ),
}

VEERING = """time,wind_from_deg,wind_kn
2027-06-12T04:00Z,185,12
2027-06-12T10:00Z,200,13
2027-06-12T20:00Z,215,12
"""


@pytest.fixture(scope="module")
def runner() -> str:
    try:
        return node()
    except HostUnavailableError as why:
        pytest.skip(str(why))


def plan(folder: Path, *options: str) -> str:
    command = [sys.executable, "-c", RUN, "plan", str(SAMPLES / "kattegat.gpx")]
    done = subprocess.run(
        [*command, "--boat", BRISVIK, *options],
        cwd=folder,
        # So wide that no row is broken into two.
        env={**os.environ, "COLUMNS": "400"},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


@cache
def rows(runner: str, given: str) -> dict[str, Any]:
    done = subprocess.run(
        [runner, str(HERE / "panel_rows.mjs")],
        input=given,
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(json.loads(done.stdout))


def squeezed(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines() if line.strip()]


def found(row: dict[str, Any], lines: list[str]) -> bool:
    """Whether the engine's printed table, which tells more, has all of a row of the page."""
    name = f"{row['name']}: " if row.get("name") else ""
    begins = f"{row['time']} {name}{row['words']}"
    numbers: set[str] = set()
    if row["kind"] == "board":
        true, *_ = row["steer"].split()
        numbers = {true, row["awa"], row["kn"], row["nm"], *row["lasts"].split()}
    said = [line for line in lines if line.startswith(begins)]
    told = all(any(words in line for line in lines) for words in row.get("more", []))
    dials = row.get("steer", "").split()[1:]
    return (
        any(numbers <= set(line.split()) for line in said)
        and told
        and all(any(dial in line.split() for line in lines) for dial in dials)
        and (not row.get("at") or row["at"] in lines)
        and (not row["date"] or f"{row['date']} UTC" in lines)
    )


@pytest.mark.parametrize("options", PASSAGES.values(), ids=PASSAGES.keys())
def test_the_page_s_table_is_the_engine_s(runner, tmp_path, options):
    (tmp_path / "veering.csv").write_text(VEERING)
    text, document = plan(tmp_path, *options), json.loads(plan(tmp_path, *options, "--json"))
    made = rows(runner, json.dumps({"plan": document}))
    lines = squeezed(text)
    shown = [row for leg in made["legs"] for row in leg["rows"]]
    assert len(shown) >= 4
    assert [row for row in shown if not found(row, lines)] == []
    titles = [" ".join(leg["title"].split()) for leg in made["legs"]]
    assert [title for title in titles if title not in lines] == []
    begun = [line for line in lines if re.match(r"\d{4}Z ", line)]
    assert len(begun) == len(shown)
    assert " ".join(made["summary"].split()) in lines


@settings(deadline=None, max_examples=5)
@given(
    st.lists(
        st.floats(-1000.0, 1000.0)
        | st.integers(-8000, 8000).map(lambda n: n / 16)
        | st.integers(-4000, 4000).map(lambda n: n / 200),
        min_size=200,
        max_size=300,
    )
)
def test_numbers_are_rounded_as_the_engine_rounds(runner, numbers):
    written = rows(runner, json.dumps({"numbers": numbers}))["written"]
    unsigned = re.compile(r"^-(0(\.0+)?)$")
    for number, shown in zip(numbers, written, strict=True):
        plain = [unsigned.sub(r"\1", f"{number:.{decimals}f}") for decimals in range(3)]
        assert shown == [*plain, three_figures(number), hours_and_minutes(number)]


def test_formatters_in_node(runner):
    done = subprocess.run(
        [runner, "--test", "--test-reporter=tap", str(HERE / "panel_words.test.mjs")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-4000:]
    passed = re.search(r"^# pass (\d+)$", done.stdout, re.M)
    assert passed
    assert int(passed[1]) >= 10
