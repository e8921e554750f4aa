"""Two invented passages walked by paper alone: what would have to be worked out by hand is there.

A strait in a tidal stream, and a weekend downwind under wing-and-wing. What a helm and a
navigator need at each stop (common practice, no source): when by the ship's clock and UTC,
where, how the next mark bears by the hand-bearing compass and how far it is, what to do and how
long it takes, what to steer by the compass aboard, where the wind stands on the vane, what
plotter and log will show, and how long the board lasts. They look only at the printed page.
"""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

pytest.importorskip("matplotlib")
pytest.importorskip("jinja2")

from goosewing_cli.main import outcome

TRIALS = Path(__file__).parents[1] / "data" / "trials"
BOAT = str(Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml")

PASSAGES = {
    "strait": ("strait.gpx", "--wind", "205/13", "--current", "strait_stream.toml",
               "--depart", "2027-07-04T06:30Z"),
    "weekend": ("weekend.gpx", "--wind", "weekend_wind.csv", "--depart", "2027-07-10T07:00Z"),
}  # fmt: skip

pytestmark = pytest.mark.long


class Cells(HTMLParser):
    """Rows of every table by its id, by the standard library's parser; breaks are blanks."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.words, self._cell = {}, [], False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.rows = self.tables.setdefault(dict(attrs).get("id", ""), [])
        elif tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self._cell = True
        elif tag == "br" and self._cell:
            self.rows[-1][-1] += " "

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._cell = False

    def handle_data(self, data):
        if self._cell:
            self.rows[-1][-1] += data
        else:
            self.words.append(data)


@pytest.fixture(scope="module", params=PASSAGES)
def printed(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp(request.param)
    words = [str(TRIALS / each) if (TRIALS / each).is_file() else each
             for each in PASSAGES[request.param]]  # fmt: skip
    code = outcome(["plan", *words, "--boat", BOAT, "--variation", "4", "--zone", "+02:00",
                    "--what-if", "--sheet", str(folder / "sheet.html")])  # fmt: skip
    assert code == 0
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    return request.param, page, Cells(page)


def rows(cells, table):
    head, *body = cells.tables[table]
    names = [" ".join(each.split()) for each in head]
    return [dict(zip(names, (" ".join(c.split()) for c in row), strict=True)) for row in body]


def minutes(clock):
    hours, rest = int(clock[-5:-3]), int(clock[-3:-1])
    return 60 * hours + rest


def lasting(words):
    found = re.fullmatch(r"(?:(\d+) h )?(\d+) min", words)
    return 60 * int(found[1] or 0) + int(found[2])


def test_nothing_at_a_stop_is_left_to_be_worked_out(printed):
    _, _, cells = printed
    every = rows(cells, "orders-table")
    assert len(every) >= 4
    for row in every[:-1]:
        what = row["Where, what"]
        assert re.fullmatch(r"\d{4}Z", row["UTC"])
        assert minutes(row["UTC"]) + 120 == 60 * int(row["UTC+02:00"][:2]) + int(
            row["UTC+02:00"][3:]
        )
        assert re.search(r"\d\d°\d\d\.\d\d'N \d{3}°\d\d\.\d\d'E", what)
        assert re.search(r"bears \d{3}°T \d{3}°M, \d+\.\d nm", what)
        assert re.fullmatch(r"\d{3}°", row["T"])
        assert (int(row["T"][:3]) - int(row["M"][:3])) % 360 == 4
        if ". " in what and " tack, " in what:
            assert re.fullmatch(r"\d+° \d+ kn", row["AWA AWS"])
            assert re.fullmatch(r"\d{3}°", row["COG"])
            for name in ("kn", "SOG", "log at"):
                assert re.fullmatch(r"\d+\.\d", row[name])
            assert lasting(row["lasts"]) > 0
        else:
            assert "alter course" in what
    assert every[-1]["Where, what"].split(":")[1].strip().startswith("arrive")


def test_every_stop_but_the_first_says_what_to_do(printed):
    """Also where the answer is that nothing changes."""
    _, _, cells = printed
    for row in rows(cells, "orders-table")[1:]:
        assert re.match(r"[^:]+: (onto|gybe|set|strike|change|alter|carry on|arrive)",
                        row["Where, what"])  # fmt: skip


def test_times_and_log_add_up_on_paper(printed):
    """To what rounding leaves: a minute, a tenth of a mile."""
    _, _, cells = printed
    boards = [row for row in rows(cells, "orders-table") if row["log at"]]
    miles = "nm log" if "nm log" in boards[0] else "nm"
    for here, there in pairwise(boards):
        done = re.search(r"\((?:(\d+) min|(\d+) s)\)", here["Where, what"])
        cost = 0.0 if done is None else float(done[1] or 0) + float(done[2] or 0) / 60.0
        gone = minutes(there["UTC"]) - minutes(here["UTC"])
        assert abs(lasting(here["lasts"]) + cost - gone) <= 1.6
        assert float(there["log at"]) - float(here["log at"]) == pytest.approx(
            float(here[miles]), abs=0.11
        )


def test_the_pole_s_side_is_told_and_that_it_is_up_already(printed):
    name, _, cells = printed
    poled = [row["Where, what"] for row in rows(cells, "orders-table")
             if "tack, wing-and-wing" in row["Where, what"]]  # fmt: skip
    assert bool(poled) is (name == "weekend")
    for what in poled:
        tack = re.search(r"(port|starboard) tack, wing-and-wing", what)[1]
        other = {"port": "starboard", "starboard": "port"}[tack]
        assert f"boom to {other}, pole to {tack}" in what
    if poled:
        assert "the pole already up" in poled[0]


def test_the_danger_is_named_and_the_stream_is_told_each_half_hour(printed):
    name, _, cells = printed
    hours = rows(cells, "hours-table")
    assert all(re.fullmatch(r"\d{4}Z \d\d:\d\d", hour["UTC UTC+02:00"]) for hour in hours)
    assert all(re.fullmatch(r"\d{3}°T \d{3}°M", hour["steer"]) for hour in hours)
    if name == "strait":
        assert "Midgrund by 0.1 nm" in " ".join(" ".join(cells.words).split())
        assert {hour["UTC UTC+02:00"][2:4] for hour in hours[1:-1]} == {"00", "30"}
        assert all(re.fullmatch(r"\d{3}° \d\.\d kn", hour["stream"]) for hour in hours)
        assert "Wind against stream" in " ".join(cells.words)
    else:
        assert all(hour["gust"] for hour in hours)


def test_what_if_tells_turns_and_boards_or_why_there_is_no_plan(printed):
    name, _, cells = printed
    ifs = rows(cells, "what-if")
    assert len(ifs) == 8
    for row in ifs:
        if not row["arrival"]:
            # Two hours earlier lies before the weekend's forecast.
            assert (name, row["if"]) == ("weekend", "leaving 2 h earlier")
            assert "the forecast covers" in row["boards"]
            continue
        assert row["boards"] == "same boards" or "tack, " in row["boards"]
        assert re.search(r"\d{4}Z", row["turns, UTC"])
