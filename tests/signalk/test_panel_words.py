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


def as_printed(row: dict[str, Any]) -> list[str]:
    """A row of the page, cell by cell as the engine's table has them."""
    shown = [f"{row['date']} UTC"] if row["date"] else []
    shown += [f"{row['time']} {row['words']}"]
    if row["kind"] == "board":
        # The second dial stands on the line below, as do the other words on a board.
        true, *others = row["steer"].split()
        numbers = f"{true} {row['awa']} {row['kn']} {row['nm']} {row['lasts']}"
        return [*shown[:-1], f"{shown[-1]} {numbers}", *beside(row["more"], others)]
    return [*shown, row["at"]] if row.get("at") else shown


def beside(words: list[str], dials: list[str]) -> list[str]:
    length = max(len(words), len(dials))
    filled = [each + [""] * (length - len(each)) for each in (words, dials)]
    return [" ".join(filter(None, pair)) for pair in zip(*filled, strict=True)]


def squeezed(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines() if line.strip()]


def printed_tables(text: str) -> list[str]:
    """The lines of all legs, without column heads and reasons."""
    body = re.split(r"^Arrival ", text, maxsplit=1, flags=re.M)[0]
    legs = body[body.index("\nLeg 1 ") :]
    kept = [line for line in legs.splitlines() if not line.startswith(("UTC ", "  "))]
    # Lines below the first of a row begin with blanks, but further in than a reason's two.
    deeper = [line for line in legs.splitlines() if re.match(r" {6,}\S", line)]
    # The page has no room for what the printed table tells besides: course and speed over the
    # ground, wind and stream, where a turn lies from the mark, miles by log.
    deeper = [line for line in deeper if not re.match(r" +(COG|wind|stream|\d{3}° .* from) ", line)]
    if "ground" in legs:
        kept = [re.sub(r"(\d+° +\d+\.\d) +\d+\.\d( +\d+\.\d )", r"\1\2", k) for k in kept]
    return squeezed("\n".join(line for line in legs.splitlines() if line in kept + deeper))


@pytest.mark.parametrize("options", PASSAGES.values(), ids=PASSAGES.keys())
def test_the_page_s_table_is_the_engine_s(runner, tmp_path, options):
    (tmp_path / "veering.csv").write_text(VEERING)
    text, document = plan(tmp_path, *options), json.loads(plan(tmp_path, *options, "--json"))
    made = rows(runner, json.dumps({"plan": document}))
    expected = []
    for leg in made["legs"]:
        expected.append(" ".join(leg["title"].split()))
        expected += [line for row in leg["rows"] for line in as_printed(row)]
    assert len(expected) > 5
    assert expected == printed_tables(text)
    assert " ".join(made["summary"].split()) in squeezed(text)


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
