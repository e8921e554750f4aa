"""A page's table and chart words, row by row against the table that the command line prints."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from conftest import SAMPLES
from goosewing.exchange.document import parse_plan
from goosewing.live.panel.table import shown_plan
from goosewing_cli.main import run

DEPART = ("--depart", "2027-06-12T05:00Z")

PASSAGES = {
    "steady": ("--wind", "315/10", *DEPART),
    "magnetic": ("--wind", "315/10", "--variation", "4.5", *DEPART),
    "with a stream": ("--wind", "290/14", "--current", "045/1.3", *DEPART),
    "over midnight": ("--wind", "300/12", "--depart", "2027-06-12T21:30Z"),
    "a mark left": ("--wind", "240/12", "--leave", "Anholt E=port:0.2", *DEPART),
    "under engine": ("--wind", "315/4", "--engine", *DEPART),
    # The wind veers, so that the heading swings: the helm keeps an angle, or alters course.
    "changing": (
        *("--wind", "veering.csv", "--at", "56°40'N 12°10'E", "--next", "Finish"),
        *("--no-alternatives", "--watch", "1", *DEPART),
    ),
}

VEERING = """time,wind_from_deg,wind_kn
2027-06-12T04:00Z,185,12
2027-06-12T10:00Z,215,13
2027-06-12T20:00Z,235,12
"""


@pytest.fixture
def planned(tmp_path: Path, monkeypatch, capsys):
    """Run the command, and return what it prints."""
    (tmp_path / "veering.csv").write_text(VEERING)
    monkeypatch.chdir(tmp_path)
    # So wide that no row is broken into two.
    monkeypatch.setenv("COLUMNS", "400")

    def run_it(*options: str) -> str:
        words = ["plan", str(SAMPLES / "kattegat.gpx"), "--boat",
                 str(SAMPLES / "brisvik" / "boat.toml"), *options]  # fmt: skip
        monkeypatch.setattr("sys.argv", ["goosewing", *words])
        with pytest.raises(SystemExit) as ended:
            run()
        assert not ended.value.code
        return capsys.readouterr().out

    return run_it


def squeezed(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines() if line.strip()]


def found(row: dict[str, Any], lines: list[str]) -> bool:
    """Whether the printed table, which tells more, has all of a row of the page."""
    if row["kind"] == "board":
        words = f"{row['on']}, {row['sails']}" if row["on"] else row["sails"]
    else:
        words = f"{row['name']}: {row['words']}" if row.get("name") else row["words"]
    said = [line for line in lines if line.startswith(f"{row['time']} {words}")]
    figures = {word for each in row.get("figures", []) for word in each.split()}
    first, *dials = row.get("steer") or [""]
    return (
        any({first, *figures} - {""} <= set(line.split()) for line in said)
        and all(any(more in line for line in lines) for more in row.get("more", []))
        and all(any(dial in line.split() for line in lines) for dial in dials)
        # What is steered by the other dial may stand beside the place.
        and (not row.get("at") or any(f"{line} ".startswith(f"{row['at']} ") for line in lines))
        and (not row["date"] or f"{row['date']} UTC" in lines)
    )


@pytest.mark.long
@pytest.mark.parametrize("options", PASSAGES.values(), ids=PASSAGES.keys())
def test_the_page_s_table_is_the_printed_one(planned, options):
    lines, document = squeezed(planned(*options)), planned(*options, "--json")
    plan = parse_plan(document.encode())
    made = shown_plan(plan)
    json.dumps(made)
    shown = [row for leg in made["legs"] for row in leg["rows"]]
    assert len(shown) >= 4
    assert [row for row in shown if not found(row, lines)] == []
    titles = [" ".join(leg["title"].split()) for leg in made["legs"]]
    assert [title for title in titles if title not in lines] == []
    begun = [line for line in lines if re.match(r"\d{4}Z ", line)]
    assert len(begun) == len(shown)
    assert " ".join(made["summary"].split()) in lines
    reasons = [reason for leg in made["legs"] for reason in leg["reasons"]]
    text = " ".join(lines)
    assert [reason for reason in reasons if " ".join(reason.split()) not in text] == []


@pytest.mark.long
def test_what_stands_on_the_chart(planned):
    plan = parse_plan(planned(*PASSAGES["magnetic"], "--json").encode())
    made = shown_plan(plan)
    boards = [board for leg in plan.legs for board in leg.boards]
    assert [words for leg in made["boards"] for words in leg] == [
        f"{board.tack}{f', {board.sail_set}' if board.poled else ''} "
        f"{round(board.heading_magnetic_deg or 0.0) % 360:03d}° M"
        for board in boards
    ]
    assert [turn["name"] for turn in made["turns"]] == [
        board.point for leg in plan.legs for board in leg.boards if board.point
    ]
