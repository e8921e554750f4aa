"""Two invented passages walked by paper alone: what would have to be worked out by hand is there.

A strait in a tidal stream, and a weekend downwind under wing-and-wing. What a helm and a
navigator need at each stop (common practice, no source): when by the ship's clock and UTC,
where, how the next mark bears by the hand-bearing compass and how far it is, what to do and how
long it takes, what to steer by the compass aboard, where the wind stands on the vane, what
plotter and log will show, and how long the board lasts. They look only at the printed page.
"""

from __future__ import annotations

import json
import re
from contextlib import redirect_stdout
from datetime import datetime, timedelta
from html.parser import HTMLParser
from io import StringIO
from itertools import pairwise
from pathlib import Path

import numpy as np
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


ALL = 8
"""Columns of the orders that a line's words run across."""


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
            self._wide = int(dict(attrs).get("colspan", 1))
            self._cell = True
        elif tag == "br" and self._cell:
            self.rows[-1][-1] += " "

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._cell = False
            # What stands below a line's figures, over all of them, is a row of its own.
            self.rows[-1] += [""] * (self._wide - 1 if self._wide < ALL else 0)

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
    with redirect_stdout(StringIO()) as told:
        code = outcome(["plan", *words, "--boat", BOAT, "--variation", "4", "--zone", "+02:00",
                        "--what-if", "--json", "--sheet", str(folder / "sheet.html")])  # fmt: skip
    assert code == 0
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    cells = Cells(page)
    cells.document = json.loads(told.getvalue())
    return request.param, page, cells


def rows(cells, table):
    head, *body = cells.tables[table]
    names = [" ".join(each.split()) for each in head]
    found = []
    for row in ([" ".join(cell.split()) for cell in row] for row in body):
        if len(row) == 1:
            # What a line has below its figures, over all columns.
            found[-1]["Where, what"] += f" {row[0]}"
        else:
            found.append(dict(zip(names, row, strict=True)))
    return found


def minutes(clock):
    hours, rest = int(clock[-5:-3]), int(clock[-3:-1])
    return 60 * hours + rest


def lasting(words):
    found = re.fullmatch(r"(?:(\d+) h )?(\d+) min(?: from \d{4}Z \d\d:\d\d)?", words)
    return 60 * int(found[1] or 0) + int(found[2])


def first_twa_deg(row):
    """The angle to the true wind that a line of orders begins with."""
    return int(re.match(r"\d+", row["TWA AWA AWS"])[0])


def steered(cells):
    """The lines that begin a board or another order, and the arrival."""
    every = rows(cells, "orders-table")
    return [row for row in every if not row["Where, what"].startswith("Before ")]


HEADINGS = re.compile(r"(\d{3})°(?:, later (\d{3})°)?T (\d{3})°(?:, later (\d{3})°)?M")
KEEP = re.compile(r"TWA (?:175–)?(\d+)° ")


def dials(row):
    """What a line's dials show as it begins and, where an angle is kept, as it ends."""
    return HEADINGS.fullmatch(KEEP.sub("", row["steer"]))


def keeps(row):
    """The angle to the true wind that is the order; None where a heading is."""
    found = KEEP.match(row["steer"])
    return None if found is None else int(found[1])


def test_nothing_at_a_stop_is_left_to_be_worked_out(printed):
    _, _, cells = printed
    every = steered(cells)
    assert len(every) >= 4
    for row in every:
        utc, local = row["UTC UTC+02:00"].split()
        assert re.fullmatch(r"\d{4}Z", utc)
        assert minutes(utc) + 120 == 60 * int(local[:2]) + int(local[3:])
        assert re.search(r"\d\d°\d\d\.\d\d'N \d{3}°\d\d\.\d\d'E", row["Where, what"])
        assert re.fullmatch(r"\d+\.\d", row["log at"])
    for row in every[:-1]:
        what = row["Where, what"]
        assert re.search(r"bears \d{3}°T \d{3}°M, \d+\.\d nm", what)
        first, last, magnetic, last_magnetic = dials(row).groups()
        assert (int(first) - int(magnetic)) % 360 == 4
        # A heading that swings says to where, and that not it is held but the wind's angle.
        assert (last is None) is (last_magnetic is None) is (keeps(row) is None)
        assert re.search(r"(port|starboard) tack, ", what)
        assert re.fullmatch(r"\d+(–\d+)?° \d+(–\d+)?° \d+(–\d+)? kn", row["TWA AWA AWS"])
        assert re.fullmatch(r"\d{3}°(–\d{3}°)? \d{3}°(–\d{3}°)?", row["water °T COG °T"])
        assert re.fullmatch(r"\d+\.\d \d+\.\d", row["nm log ground"])
        assert re.fullmatch(r"\d+\.\d(–\d+\.\d)? \d+\.\d(–\d+\.\d)?", row["log kn SOG kn"])
        assert lasting(row["lasts"]) > 0
        assert re.search(r"ground wind \d{3}° \d+ kn", what)
    assert every[-1]["Where, what"].split(":")[1].strip().startswith("arrive")


def test_speeds_are_those_of_the_hour_rows_where_a_line_begins_and_ends(printed):
    """Departure and arrival stand in both tables; and the mean is the miles by the hours."""
    _, _, cells = printed
    every = steered(cells)[:-1]
    hours = [row for row in rows(cells, "hours-table") if row["steer"]]
    for line, hour, at in ((every[0], hours[0], 0), (every[-1], hours[-1], -1)):
        assert [each.split("–")[at] for each in line["log kn SOG kn"].split()] == hour[
            "log kn SOG"
        ].split()
    for line in every:
        for told, nm in zip(
            line["log kn SOG kn"].split(), line["nm log ground"].split(), strict=True
        ):
            mean = float(nm) / (lasting(line["lasts"]) / 60)
            rounding = 0.05 / (lasting(line["lasts"]) / 60) + mean * 0.5 / lasting(line["lasts"])
            ends = [float(each) for each in told.split("–")]
            assert min(ends) - 0.5 - rounding <= mean <= max(ends) + 0.5 + rounding


def test_an_hour_s_heading_is_the_order_s_where_one_is_held(printed):
    _, _, cells = printed
    every = steered(cells)[:-1]
    told = 0
    for hour in (row for row in rows(cells, "hours-table") if row["steer"]):
        now = minutes(hour["UTC UTC+02:00"][:5])
        line = [each for each in every if minutes(each["UTC UTC+02:00"][:5]) <= now][-1]
        if keeps(line) is None:
            told += 1
            assert hour["steer"] == line["steer"]
    assert told


def test_leeway_leads_to_leeward(printed):
    """The course through the water lies on the other side of the bow than the wind."""
    _, _, cells = printed
    for row in steered(cells)[:-1]:
        heading = int(dials(row)[1])
        through = int(row["water °T COG °T"][:3])
        off = (through - heading + 180) % 360 - 180
        to_leeward = off if "port tack" in row["Where, what"] else -off
        assert 0 <= to_leeward < 12
        if "main and jib" in row["Where, what"] and first_twa_deg(row) < 60:
            assert to_leeward >= 3


def test_an_altered_course_is_told_from_what_was_steered_last(printed):
    """An angle was kept: she comes from another heading than that line began with."""
    name, _, cells = printed
    every = steered(cells)
    altered = 0
    for before, row in pairwise(every):
        found = re.search(
            r"alter course to (port|starboard), (\d{3})° to (\d{3})°M", row["Where, what"]
        )
        if found is None:
            continue
        altered += 1
        first, last = dials(before).groups()[2:]
        assert found[2] == (last or first)
        assert found[3] == dials(row)[3]
        by = (int(found[3]) - int(found[2]) + 180) % 360 - 180
        assert found[1] == ("starboard" if by > 0 else "port")
    assert altered or name == "strait"


def test_a_tack_or_gybe_says_which_way_the_bow_turns_and_how_far(printed):
    """Through the wind, whose side the headings before and after tell."""
    name, _, cells = printed
    turned = 0
    for before, row in pairwise(steered(cells)):
        if not re.match(r"[^:]+: (?:onto|gybe onto) (port|starboard) tack", row["Where, what"]):
            continue
        turned += 1
        found = re.search(r"turn to (port|starboard), (\d{3})° to (\d{3})°M", row["Where, what"])
        old, new = (dials(each) for each in (before, row))
        assert found.groups()[1:] == (old[4] or old[3], new[3])
        by = (int(found[3]) - int(found[2]) + 180) % 360 - 180
        assert found[1] == ("starboard" if by > 0 else "port")
        wind = int(re.search(r"ground wind (\d{3})°", row["Where, what"])[1])
        assert 0 < (wind - 4 - int(found[2])) * np.sign(by) < abs(by)
    assert turned == (2 if name == "strait" else 0)


OTHER = {"port": "starboard", "starboard": "port"}

EASED = "sheet in, easing the preventer off"

WORK = re.compile(
    r"(?:(?:work begins (\d{4}Z) \d\d:\d\d; )?on (\d{3})°T (\d{3})°M, all done, by "
    r"|not before the pole is down \()(\d{4}Z) \d\d:\d\d"
)


def test_every_turn_that_takes_minutes_tells_in_one_way_when_its_work_begins_and_ends(printed):
    """Its own line's minutes begin then; no turn tells it twice. A tack takes less than one."""
    name, _, cells = printed
    every = rows(cells, "orders-table")
    told = 0
    for at, row in enumerate(every):
        found = WORK.findall(row["Where, what"])
        takes = re.search(r": [^()]*\((\d+ min)\)", row["Where, what"])
        before = row["Where, what"].startswith("Before ")
        begun = at > 2 and every[at - 1]["Where, what"].startswith("Before ")
        assert len(found) == (not before and row["steer"] != "" and bool(takes or begun))
        for begins, true, magnetic, by in found:
            told += 1
            first = dials(row)
            assert (true, magnetic) in ((first[1], first[3]), ("", ""))
            assert begins in ("", (every[at - 1] if begun else row)["UTC UTC+02:00"][:5])
            assert minutes(by) >= minutes(row["UTC UTC+02:00"][:5])
            if " from " in row["lasts"]:
                assert f" from {by} " in row["lasts"]
    assert told == (2 if name == "weekend" else 0)


def test_pole_work_is_told_once_in_its_order_and_each_with_its_side(printed):
    """On one tack boom and headsail then lie to leeward; a reach needs no preventer: it comes off
    as the boom is sheeted in, and is on again before she bears away. Common practice, no
    source."""
    name, _, cells = printed
    every = rows(cells, "orders-table")
    work = [row["Where, what"] for row in every]
    if name == "strait":
        text = " ".join(" ".join(cells.words).split())
        assert "pole" not in text.replace("pole set", "").replace("poled sails thick", "")
        assert not any("preventer" in what or "pole" in what for what in work)
        return
    lee, windward = "port", "starboard"
    order = [
        (
            "Before Home Buoy: ",
            rf"rig the preventer, boom staying to {lee}, make the pole ready to {windward}",
        ),
        (
            "Before Home Buoy: ",
            rf"bear away to {lee} to 095°M, set the pole to {windward} ",
        ),
        ("Home Buoy: ", "the pole already up"),
        ("Before Halfway Bank: ", rf"strike the pole, headsail to {lee} \(3 min\)"),
        (
            "Halfway Bank: ",
            rf"come up to {windward}, .*, {EASED}",
        ),
        (
            "Before P1: ",
            rf"rig the preventer, boom staying to {lee}, make the pole ready to {windward}",
        ),
        ("P1: ", rf"bear away to {lee}, .*, then set the pole to {windward} \(4 min\)"),
        ("Before East Haven: ", rf"strike the pole, headsail to {lee} \(3 min\)"),
        (
            "East Haven: ",
            f"arrive, the pole down, come up, {EASED}",
        ),
    ]
    left = iter(work)
    for begins, done in order:
        what = next(each for each in left if each.startswith(begins))
        assert re.search(done, what)
    assert sum(what.count("strike the pole") for what in work) == 2
    assert sum(what.count(EASED) for what in work) == 2
    assert sum(what.count("rig the preventer") for what in work) == 2
    # Which way she turns for it too: her headings lie less than half a turn apart.
    for before, row in pairwise(steered(cells)):
        if row["Where, what"].startswith(("Halfway Bank: ", "P1: ")):
            old, now = (dials(each) for each in (before, row))
            last = old[4] or old[3]
            if "leave it to port; turn to starboard when" in row["Where, what"]:
                # She came up from dead aft for the hands' work.
                last = f"{int(last) + 10:03d}"
            up = (int(now[3]) - int(last)) % 360 < 180
            turned = f"come up to {windward}" if up else f"bear away to {lee}"
            turned += f", {last}° to {now[3]}°M"
            assert row["Where, what"].count(turned) == 1


def test_a_pole_that_comes_down_is_ordered_beforehand_also_before_the_last_mark(printed):
    """So long before as it takes, by the miles that are then still to run; then it is down."""
    name, _, cells = printed
    every = rows(cells, "orders-table")
    struck = [at for at, row in enumerate(every)
              if re.match("Before [^:]+: .*strike the", row["Where, what"])]  # fmt: skip
    assert len(struck) == (2 if name == "weekend" else 0)
    for at in struck:
        row, there = every[at], every[at + 1]
        before = [each for each in every[:at] if each["steer"]][-1]
        takes = check_beforehand(row, there, before)
        held = re.search(r"hold (\d{3})°M, never by the lee; ", row["Where, what"])
        # Not dead aft where hands are forward: by so much up, which is to starboard.
        up, comes = keeps(before) - 170, dials(before)[4]
        assert int(held[1]) - int(comes) == up
        turns = f": come up to {held[1]}°M, then strike the pole, "
        assert (turns in row["Where, what"]) is (up > 0)
        last = there is every[-1]
        assert ("; if she slows, up to 3 min later" in row["Where, what"]) is last
        off = float(re.search(r"M, (\d+\.\d) nm", row["Where, what"])[1])
        knots = float(before["log kn SOG kn"].split()[0].split("–")[-1])
        assert off == pytest.approx(knots * takes / 60, abs=0.11)


def check_beforehand(row, there, before):
    """By the minutes it takes before its place, and by the miles that she runs in them."""
    takes = int(re.search(r": [^()]*\((\d+) min\)", row["Where, what"])[1])
    clock = there["UTC UTC+02:00"]
    assert minutes(clock[:5]) - minutes(row["UTC UTC+02:00"][:5]) == pytest.approx(takes, abs=1)
    assert f"; done by {there['Where, what'].split(':')[0]} ({clock}" in row["Where, what"]
    knots = float(before["log kn SOG kn"].split()[0].split("–")[-1])
    left = float(there["log at"]) - float(row["log at"])
    assert left == pytest.approx(knots * takes / 60, abs=0.11)
    return takes


def test_preventer_and_pole_are_made_ready_beforehand(printed):
    """So long before as setting the pole takes, on the heading that she then still holds."""
    name, _, cells = printed
    every = rows(cells, "orders-table")
    ready = [at for at, row in enumerate(every)
             if re.match(r"Before [^:]+: rig the preventer.*, make the pole ready",
                         row["Where, what"])]  # fmt: skip
    sets = [row for row in steered(cells)
            if re.match(r"[^:]+: bear away to .*, then set the", row["Where, what"])]  # fmt: skip
    assert len(ready) == len(sets) + (name == "weekend")
    ready = ready[-len(sets) :] if sets else []
    for at, there in zip(ready, sets, strict=True):
        row, before = every[at], [each for each in every[:at] if each["steer"]][-1]
        point = there["Where, what"].split(":")[0]
        assert row["Where, what"].startswith(f"Before {point}: rig the preventer, ")
        takes = check_beforehand(row, there, before)
        assert takes == int(re.search(r"\((\d+) min\)", there["Where, what"])[1])
        held = dials(before)
        assert f"hold {held[3]}°M; done" in row["Where, what"]


def test_where_a_bearing_hardly_changes_the_place_is_told_by_position_or_log(printed):
    """By a plane triangle: so far she runs on the course before while the mark draws 1° aft."""
    name, page, cells = printed
    told = 0
    for before, row in pairwise(steered(cells)[:-1]):
        seen = re.search(r"bears (\d{3})°T \d{3}°M, (\d+\.\d) nm", row["Where, what"])
        slow = re.search(r"draws 1° in (\d+\.\d) nm; no fix: by log", row["Where, what"])
        if not re.match(r"[TGPCA]\d+:", row["Where, what"]):
            assert slow is None
            continue
        course = int(re.findall(r"\d{3}(?=°)", before["water °T COG °T"])[-1])
        off = abs(np.sin(np.radians(int(seen[1]) - course)))
        run = np.radians(1.0) * float(seen[2]) / max(off, 0.01)
        # Both printed to a degree, which is much of a small angle.
        low, high = (np.radians(1.0) * float(seen[2]) / np.clip(off + by, 0.01, 1.0)
                     for by in (0.018, -0.018))  # fmt: skip
        assert (slow is not None) is bool(run >= 0.25)
        assert (f"<b>{row['log at']}</b>" in page) is (slow is not None)
        if slow is not None:
            told += 1
            assert low - 0.06 <= float(slow[1]) <= high + 0.06
    assert told == (2 if name == "weekend" else 0)


def test_what_the_helm_steers_by_is_the_boldest(printed):
    """Magnetic, where no deviation card is given; true headings stand quieter beside it."""
    _, page, cells = printed
    # Where an angle is kept, that: the headings are but what to expect.
    bold = re.findall(r'<span class="line"><b>TWA (?:175–)?(\d+)°</b></span>', page)
    kept = [keeps(row) for row in steered(cells)[:-1]]
    assert [int(each) for each in bold] == [each for each in kept if each is not None]
    bold = re.findall(r'<span class="line"><b>(\d{3}°.)</b></span>', page)
    assert bold
    assert all(each.endswith("M") for each in bold)
    quiet = re.findall(r'<span class="line other">([^<]+)</span>', page)
    assert quiet
    assert all(each.endswith("T") for each in quiet)


def test_a_danger_s_distance_is_told_for_other_ways_too(printed):
    """The other board first leads past it: by the corner of a triangle, to what rounding leaves."""
    name, _, cells = printed
    others = [row["instead"] for row in rows(cells, "instead-table")]
    ifs = [row["turns: when, where"] for row in rows(cells, "what-if")
           if "can't be planned" not in row["turns: when, where"]
           and not re.match(r"(Narrows|T2), ", row["if: arrival, takes"])]  # fmt: skip
    for words in (*others, *ifs):
        told = re.search(r"passes Midgrund (\d\.\d) nm off to (port|starboard)$", words)
        # South of the Narrows it only lies astern: on that leg she doesn't pass it.
        assert bool(told) is (name == "strait" and not words.startswith("starboard board first"))
    if name == "strait":
        first = next(words for words in others if words.startswith("port board first"))
        assert float(re.search(r"(\d\.\d) nm", first)[1]) < 1.0


def test_every_stop_but_the_first_says_what_to_do(printed):
    """Also where the answer is that nothing changes."""
    _, _, cells = printed
    for row in steered(cells)[1:]:
        done = "onto|gybe|set|come up to|bear away to|change|alter|carry on|arrive"
        assert re.match(f"[^:]+: ({done})", row["Where, what"])


def test_times_and_log_add_up_on_paper(printed):
    """To what rounding leaves: a minute, a tenth of a mile."""
    _, _, cells = printed
    for here, there in pairwise(steered(cells)):
        work = WORK.search(here["Where, what"])
        begins = here["UTC UTC+02:00"][:5] if work is None else work[4]
        gone = minutes(there["UTC UTC+02:00"][:5]) - minutes(begins)
        assert lasting(here["lasts"]) == gone
        assert float(there["log at"]) - float(here["log at"]) == pytest.approx(
            float(here["nm log ground"].split()[0]), abs=0.11
        )


def test_the_pole_s_side_is_told_and_that_it_is_up_already(printed):
    name, _, cells = printed
    poled = [row for row in steered(cells) if "tack, wing-and-wing" in row["Where, what"]]
    assert bool(poled) is (name == "weekend")
    for row in poled:
        what, angle = row["Where, what"], keeps(row)
        tack = re.search(r"(port|starboard) tack, wing-and-wing", what)[1]
        other = {"port": "starboard", "starboard": "port"}[tack]
        # Along a board all stays where it is.
        assert (f"boom to {other}, pole to {tack}" in what) is (" still " not in what)
        assert ("preventer rigged" in what) or angle <= 170
        # By the lee is the boom's side: the wind is kept on the pole's. Common practice, no source.
        low, high = max(angle - 5, 170), min(angle + 5, 180)
        wind = "dead aft" if angle > 176 else f"on the {tack} quarter"
        assert f"wind {wind}: TWA {low} to {high}°, never by the lee" in what
    if poled:
        assert "the pole already up" in poled[0]["Where, what"]


def test_the_danger_is_told_by_place_and_how_it_is_passed(printed):
    """By the mean latitude's plane triangle from the hours before and after, to a tenth."""
    name, _, cells = printed
    words = " ".join(" ".join(cells.words).split())
    assert ("Midgrund" in words) is (name == "strait")
    if name == "strait":
        assert "asked to be kept clear of: Midgrund never nearer than 0.1 nm" in words
        found = re.search(
            r"Midgrund, 57°06\.30'N 011°00\.24'E: nearest at (\d{4}Z) \d\d:\d\d, log \d\.\d, "
            r"(\d\.\d) nm off to starboard, bearing (\d{3})°T (\d{3})°M, COG \d{3}°\.",
            words,
        )
        log, cog = re.search(r"nearest at .{11}, log (\d\.\d),.*COG (\d{3})°\.", words).groups()
        # Abeam of her track where she is nearest.
        assert (int(found[3]) - int(cog)) % 360 == pytest.approx(90, abs=2)
        hours = [row for row in rows(cells, "hours-table") if row["log"]]
        at = [minutes(row["UTC UTC+02:00"][:5]) for row in hours]
        run = np.interp(minutes(found[1]), at, [float(row["log"]) for row in hours])
        assert float(log) == pytest.approx(run, abs=0.15)
        assert int(found[3]) - int(found[4]) == 4
        met = [row["Where, what"] for row in steered(cells)
               if "passes Midgrund" in row["Where, what"]]  # fmt: skip
        assert len(met) == 1
        assert met[0].startswith("North Entrance")
        assert f"passes Midgrund {found[2]} nm off to starboard at {found[1]} 09:" in met[0]
        places = {
            minutes(hour["UTC UTC+02:00"][:5]): place_of(hour["Position"])
            for hour in rows(cells, "hours-table")
            if "°" in hour["Position"]
        }
        at = minutes(found[1])
        times = sorted(places)
        lat, lon = (np.interp(at, times, [places[each][i] for each in times]) for i in (0, 1))
        north, east = 60 * (57.105 - lat), 60 * (11.004 - lon) * np.cos(np.radians(57.1))
        assert float(found[2]) == pytest.approx(np.hypot(north, east), abs=0.1)
        assert int(found[3]) == pytest.approx(np.degrees(np.arctan2(east, north)) % 360, abs=5.0)


def place_of(words):
    lat, lat_min, lon, lon_min = re.fullmatch(
        r"(\d\d)°(\d\d\.\d\d)'N (\d{3})°(\d\d\.\d\d)'E", words).groups()  # fmt: skip
    return int(lat) + float(lat_min) / 60, int(lon) + float(lon_min) / 60


def test_every_hour_has_place_bearing_log_and_stream(printed):
    name, _, cells = printed
    hours = here = rows(cells, "hours-table")
    assert all(re.fullmatch(r"\d{4}Z \d\d:\d\d", hour["UTC UTC+02:00"]) for hour in hours)
    assert all(re.fullmatch(r"\d{3}°T \d{3}°M", hour["steer"]) for hour in here)
    assert all(re.fullmatch(r"\d+° \d+", hour["AWA AWS"]) for hour in here)
    for hour in here[:-1]:
        assert re.search(r" bears \d{3}°T \d{3}°M, \d+\.\d nm$", hour["mark ahead"])
    assert here[-1]["mark ahead"].endswith(" reached")
    logs = [float(hour["log"]) for hour in here]
    assert logs == sorted(logs)
    assert logs[-1] == float(steered(cells)[-1]["log at"])
    if name == "strait":
        assert {hour["UTC UTC+02:00"][2:4] for hour in here[1:-1]} == {"00", "30"}
        assert all(re.fullmatch(r"\d{3}° \d\.\d", hour["sets"]) for hour in hours)
        assert "gust" not in hours[0]
        assert "Wind against stream" in " ".join(cells.words)
    else:
        assert all(hour["gust"] for hour in hours)
        assert "sets" not in hours[0]


def test_every_hour_s_row_is_one_triangle(printed):
    """What she makes through the water and the row's own stream are its COG and SOG.

    Leeway is that of the line of orders in force, as printed; so are the angles to the wind.
    """
    name, _, cells = printed
    lines = [row for row in steered(cells) if row["steer"]]
    for hour in (row for row in rows(cells, "hours-table") if row["steer"]):
        now = minutes(hour["UTC UTC+02:00"][:5])
        line = [each for each in lines if minutes(each["UTC UTC+02:00"][:5]) <= now][-1]
        heading, first = int(hour["steer"][:3]), int(dials(line)[1])
        water = np.radians(heading + int(line["water °T COG °T"][:3]) - first)
        kn, sog = map(float, hour["log kn SOG"].split())
        made = kn * np.exp(1j * water)
        if name == "weekend":
            assert kn == sog
            twa = first_twa_deg(line)
            if keeps(line) is not None:
                off = int(hour["wind"][:3]) - heading
                assert abs(min(off % 360, -off % 360) - twa) <= 1.5
        else:
            setting, drift = hour["sets"].split("° ")
            made += float(drift) * np.exp(1j * np.radians(int(setting)))
        assert abs(made) == pytest.approx(sog, abs=0.12)
        course = np.degrees(np.angle(made)) % 360
        assert course == pytest.approx(int(hour["COG"][:3]), abs=1.6)


# Of tests/data/trials/strait_stream.toml, table C, springs and neaps of 1.9 m between 1 and 2 m:
# at -1 h 0.7 and 0.4 kn, 0.1 and 0.1 at high water, 0.7 and 0.4 an hour after it.
ROADS = {-1: (225, 0.67), 0: (225, 0.1), 1: (45, 0.67)}


def afterwards(cells):
    """What is met at the last mark after the arrival: time, wind and, where it flows, stream."""
    words = " ".join(" ".join(cells.words).split())
    said = re.search(r"At [^,]* afterwards , over the ground: (.*?\d kn)\.", words)[1]
    one = (r"(\d{4}Z) \d\d:\d\d wind (\d{3}° \d+) kn(?:, gusts (\d+) kn)?"
           r"(?:, stream sets (\d{3})° (\d\.\d) kn)?")  # fmt: skip
    return [re.fullmatch(one, each).groups() for each in said.split("; ")]


def test_what_comes_after_the_arrival_is_told_with_the_tide(printed):
    """At the last mark, whose table stands there: interpolated in hours, by hand."""
    name, _, cells = printed
    after = afterwards(cells)
    last = minutes(steered(cells)[-1]["UTC UTC+02:00"][:5])
    assert minutes(after[-1][0]) >= last + 180
    if name == "weekend":
        # Linear in components between 15Z (305° 15 kn) and 21Z (310° 12 kn).
        assert after[0][:2] == ("1500Z", "305° 15")
        assert all(each[2] for each in after)
        return
    words = " ".join(" ".join(cells.words).split())
    assert "High water Graahavn:" in words
    assert "2027-07-04 1135Z (13:35), range 1.9 m" in words
    assert "2027-07-03 2310Z (2027-07-04 01:10), range 1.9 m;" in words
    for clock, _, _, deg, told in after:
        from_high_h = (minutes(clock) - minutes("1135Z")) / 60
        if not -1.0 <= from_high_h <= 1.0:
            continue
        # South and west are negative along 225°.
        along = [kn if deg == 225 else -kn for deg, kn in ROADS.values()]
        kn = np.interp(from_high_h, list(ROADS), along)
        assert float(told) == pytest.approx(abs(kn), abs=0.08)
        assert abs(kn) < 0.1 or int(deg) == (225 if kn > 0 else 45)


LATE = {"20 min late": 20, "1 h late": 60, "2 h late": 120}

KEPT = re.compile(
    r"(\d{3})°(?:, later (\d{3})°)?M (?:sets \d{3}° \d\.\d kn|wind \d{3}° \d+ kn); "
    r"TWA (\d+)(?:–(\d+))?°, SOG (\d\.\d); ([A-Z][A-Za-z0-9 ]*) (\d{4}Z) \d\d:\d\d"
    r"(?:, she is (\d\.\d) nm to (port|starboard) of track)?(?:; |$)"
)


FAILS = "by the lee|too close to the wind"


def late_rows(cells):
    found = {}
    for row in rows(cells, "later-table"):
        place, clock = re.fullmatch(r"(.*) (\d{4}Z) \d\d:\d\d", row["at, planned"]).groups()
        found[place] = (clock, row)
    return found


def test_being_late_is_told_at_every_mark_and_turn_as_whole_orders(printed):
    """What is steered first and last, at which angle, how fast, when she is at the next place."""
    name, _, cells = printed
    late, every = late_rows(cells), steered(cells)
    stops = named([row["Where, what"].split(":")[0] for row in every])
    assert list(late) == stops[:-1]
    flows = r"sets \d{3}° \d\.\d kn" if name == "strait" else r"wind \d{3}° \d+ kn"
    for at, here in enumerate(every[:-1]):
        clock, row = late[stops[at]]
        assert clock == here["UTC UTC+02:00"][:5]
        for column, by in LATE.items():
            cell = row[column]
            if (at, column) == (0, "2 h late"):
                assert cell == 'not yet left: see "leaving 2 h later" below'
                continue
            assert re.search(flows, cell)
            kept = KEPT.match(cell)
            if kept is None:
                assert re.search(
                    rf'(?:{FAILS}): new orders, see "{stops[at]}, {column}" below',
                    cell,
                )
                continue
            # The same miles over the ground as on time, so much later.
            assert kept[6] == stops[at + 1]
            work = WORK.search(here["Where, what"])
            begins = minutes(clock if work is None else work[4]) + by
            takes = minutes(kept[7]) - begins
            miles = float(here["nm log ground"].split()[1])
            assert float(kept[5]) * takes / 60 == pytest.approx(miles, rel=0.02, abs=0.15)
            last = at == len(every) - 2
            assert ("arrives" in cell) is not (last or re.search(FAILS, cell) is not None)
            if anew := re.search(rf"(?:{FAILS}) after (\w+): there take (\w+)'s row", cell):
                assert anew[1] == anew[2]
                assert "new orders" in late[anew[1]][1][column]
            check_angles(kept, here, cell, name)
    planned = minutes(every[-1]["UTC UTC+02:00"][:5])
    for place, (_, row) in late.items():
        then = re.findall(r"\d{4}Z", row["20 min late"])[-1]
        assert 10 < minutes(then) - planned < 40, place
    if name == "weekend":
        check_by_the_lee(late)
    else:
        check_not_pinched(late, every)


def at_minute(clock, time):
    """Whether a clock tells a document's time, whose seconds are rounded themselves."""
    told = datetime.fromisoformat(time) + timedelta(seconds=30)
    return abs(minutes(clock) - (60 * told.hour + told.minute)) <= 1


def test_late_orders_are_the_document_s(printed):
    _, _, cells = printed
    late, columns = late_rows(cells), {by / 60: name for name, by in LATE.items()}
    whole = {row["if: arrival, takes"]: row["turns: when, where"] for row in rows(cells, "what-if")}
    assert len(cells.document["late"]) == len(LATE) * len(late)
    for each in cells.document["late"]:
        hours = min(columns, key=lambda known: abs(known - each["delay_h"]))
        cell = late[each["mark"]][1][columns[hours]]
        if cell.startswith("not yet left"):
            continue
        kept = KEPT.match(cell)
        if each["heading_deg"] is None:
            row = next(
                name for name in whole if name.startswith(f"{each['mark']}, {columns[hours]} ")
            )
            assert kept is None
            assert each["reason"] in cell
            assert at_minute(re.search(r"\d{4}Z", row)[0], each["anew"]["arrival"])
            told = whole[row]
            for turn in (each["anew"]["first"], *each["anew"]["turns"]):
                carries_on = turn["mark"] and not turn["kinds"] and turn["alters_to"] is None
                assert carries_on or f"{round(turn['heading_magnetic_deg']) % 360:03d}°M" in told
            continue
        first, last = (each[f"{name}heading_magnetic_deg"] for name in ("", "last_"))
        assert (kept[1], kept[2] or kept[1]) == (f"{first:03.0f}", f"{last:03.0f}")
        assert (kept[3], kept[4] or kept[3]) == (
            f"{each['twa_deg']:.0f}",
            f"{each['last_twa_deg']:.0f}",
        )
        assert kept[5] == f"{each['speed_over_ground_kn']:.1f}"
        assert kept[6] == each["until"]
        assert at_minute(kept[7], each["until_time"])
        assert float(kept[8] or 0.0) == pytest.approx(abs(each["beside_nm"]), abs=0.051)
        if found := re.search(r"arrives (\d{4}Z)", cell):
            assert at_minute(found[1], each["arrival"])
        elif each["arrival"] is None:
            assert f"{each['reason']} after {each['fails_at']}" in cell


STEPS = {
    "rig_preventer": "rig the preventer, boom staying to {}",
    "ready_pole": "make the pole ready to {}",
    "strike_pole": "strike the pole", "headsail_over": "headsail to {}",
    "ease_preventer": EASED, "set_pole": "set the pole to {}", "turn": " to {}, ",
    "tack": "tack, boom and headsail to {}", "gybe": "gybe, boom and headsail to {}",
}  # fmt: skip


def test_the_hands_work_is_the_document_s_in_its_order(printed):
    _, _, cells = printed
    boards = [board for leg in cells.document["legs"] for board in leg["boards"]]
    every = [(row["UTC UTC+02:00"][:5], row["Where, what"]) for row in rows(cells, "orders-table")]
    last, up = -1, cells.document["pole_up"]
    for crew in ([] if up is None else up["crew"], *(board["crew"] for board in boards)):
        for step in crew:
            words = STEPS[step["kind"]].format(step["side"])
            at, clock = next(
                (at, clock) for at, (clock, what) in enumerate(every)
                if at >= last and words in what and at_minute(clock, step["time"])
            )  # fmt: skip
            assert at >= last
            last = at
    asked = {row["if: arrival, takes"]: row["turns: when, where"] for row in rows(cells, "what-if")}
    for each in cells.document["what_if"]:
        if each["arriving"]:
            told = next(told for name, told in asked.items() if at_minute_of(name, each["arrival"]))
            clock = re.search(r"(\d{4}Z) \d\d:\d\d before ", told)[1]
            assert at_minute(clock, each["arriving"][0]["time"])


def at_minute_of(row, arrival):
    clock = re.search(r"(\d{4}Z) \d\d:\d\d", row)
    return clock is not None and at_minute(clock[1], arrival)


def check_angles(kept, here, cell, name):
    """Without stream or leeway the told wind and heading are the angle, dead before it at most."""
    assert 0 < int(kept[3]) <= 180
    if name == "weekend" and "wing-and-wing" in here["Where, what"]:
        wind = int(re.search(r"wind (\d{3})°", cell)[1])
        off = (wind - (int(kept[1]) + 4) + 180) % 360 - 180
        assert abs(off) == pytest.approx(int(kept[3]), abs=1.6)


def check_by_the_lee(late):
    """Of the track at A1 and the wind told: by the lee with it on the boom's side.

    Boom to port, pole to starboard: dead aft of 101° the wind comes from 281°, and what is
    beyond it blows over the port quarter.
    """
    row = late["A1"][1]
    for column in LATE:
        wind = int(re.search(r"wind (\d{3})°", row[column])[1])
        kept = KEPT.match(row[column])
        assert (kept is not None) is (wind - 281 <= 3)
        if kept is not None:
            # Dead before the wind, 4° of variation taken off: never by the lee; so she comes out
            # beside the track, to starboard of it.
            assert int(kept[1]) == pytest.approx(wind - 180 - 4, abs=1)
            assert kept[9] == "starboard"
            assert float(kept[8]) < 2.4 * np.sin(np.radians(3.0)) + 0.05
    assert "by the lee after A1" in late["Home Buoy"][1]["1 h late"]


def check_not_pinched(late, every):
    """A beat is planned at her best angle; so much closer, two boards are faster than the track."""
    planned = min(first_twa_deg(row) for row in every[:-1])
    kept = [KEPT.match(row[column]) for _, row in late.values() for column in LATE]
    angles = [int(deg) for each in kept if each for deg in each.groups()[2:4] if deg]
    assert min(angles) >= planned - 2
    told = late["T2"][1]["2 h late"]
    assert "too close to the wind: new orders" in told


def named(stops):
    """The names that rows begin with: of the first, nothing is done there."""
    return [re.split(r" \d\. | still ", stop)[0] for stop in stops]


MARK = r"(?:Narrows|Halfway Bank|South Roads|East Haven|T\d)"

IF = re.compile(r"(.*?)(?: (\d{4}Z) \d\d:\d\d (the same|(?:\d+ h )?\d+ min (?:longer|shorter)))?")


def test_what_if_tells_turns_and_boards_or_why_there_is_no_plan(printed):
    """With every side and all that hands do, and from when on it is done."""
    name, _, cells = printed
    ifs = rows(cells, "what-if")
    assert len(ifs) == (12 if name == "strait" else 10)
    there = minutes(steered(cells)[-1]["UTC UTC+02:00"][:5])
    for row in ifs:
        change, arrival, takes = IF.fullmatch(row["if: arrival, takes"]).groups()
        told = row["turns: when, where"]
        if arrival is None:
            # Two hours earlier lies before the weekend's forecast.
            assert (name, change) == ("weekend", "leaving 2 h earlier")
            assert "the forecast covers" in told
            continue
        told, begins = split_if(name, change, told)
        advice, *turns = told.split("; ")
        assert re.fullmatch(
            r"(same|other) boards( on other tracks( \(the plan's own can't be kept: .*\))?)?",
            advice,
        )
        # Late at a turn, that is how she goes on.
        first = None if re.match(r"\d{4}Z \d\d:\d\d T\d+:", turns[0]) else turns.pop(0)
        assert first is not None or change.endswith(" late")
        if first is not None:
            check_if(name, change, first, turns)
            check_begins(name, begins, first)
        more = re.fullmatch(r"the same|(?:(\d+) h )?(\d+) min (longer|shorter)", takes)
        by = int(more[1] or 0) * 60 + int(more[2] or 0)
        late = re.search(r", (\d) h late", change)
        later = {"leaving 2 h earlier": -120, "leaving 2 h later": 120}.get(change, 0)
        later += 60 * int(late[1]) if late else 0
        assert minutes(arrival) == there + later + (-by if more[3] == "shorter" else by)


PLANNED = {"strait": ("starboard", "main and jib"), "weekend": ("starboard", "wing-and-wing")}


def split_if(name, change, told):
    """Part what is other, in figures, and what is made ready first from how she is sailed."""
    found = re.fullmatch(
        r"(?:wind (\d{3})°T (\d+\.\d) kn at first; )?(?:leaving (\d{4})Z \d\d:\d\d; )?"
        r"(?:(unlike page 1, [^;]*); )?((?:same|other) boards.*)", told
    )  # fmt: skip
    blows, kn, leaves, begins, rest = found.groups()
    # As entered, by hand: the strait's wind is one; the weekend's table begins at 06Z and 12Z.
    if name == "strait" and blows:
        factor = int(change[:-14]) / 100 if "%" in change else 1.0
        turned = {"wind backed 10°": -10, "wind veered 10°": 10}.get(change, 0)
        assert (int(blows), float(kn)) == (205 + turned, pytest.approx(13 * factor, abs=0.051))
    assert bool(blows) is ("wind" in change)
    planned = 390 if name == "strait" else 420
    later = {"leaving 2 h earlier": -120, "leaving 2 h later": 120}.get(change)
    if later is not None:
        assert minutes(f"{leaves}Z") == planned + later
    return rest, begins


def check_begins(name, begins, first):
    """Whoever has made ready for page 1 is told at once where that is wrong."""
    if first[:4].isdigit() or first.startswith("tack and sails as on page 1, "):
        assert begins is None
        return
    tack, sails = re.search(r"first (port|starboard) tack, ([a-z -]+)", first).groups()
    assert (tack, sails) != PLANNED[name]
    if sails == "wing-and-wing":
        assert begins == f"unlike page 1, leave with the pole to {tack}"
    else:
        assert begins == "unlike page 1, leave with the pole down"


FREED = EASED.replace("the ", "")


def check_if(name, change, first, turns):
    then = r"(, (?:boom|pole) to (?:port|starboard)){0,2}, \d{3}°M(, keep \d{2,3}°)?"
    begins = r"\d{4}Z \d\d:\d\d stay on|first"
    planned = first.startswith("tack and sails as on page 1, ")
    assert planned or re.fullmatch(rf"(?:{begins}) (port|starboard) tack, [a-z -]+{then}", first)
    assert (", pole to " in first) is ("wing-and-wing" in first)
    assert first[:4].isdigit() is change.endswith(" late")
    # The mark between is told always, also where she but carries on.
    between = re.compile(r"Z \d\d:\d\d (Narrows|Halfway Bank)[ :]")
    behind = re.match(r"(Narrows|T2), ", change)
    assert any(between.search(turn) for turn in turns) is not bool(behind)
    poled = "wing-and-wing" in first or (planned and name == "weekend")
    for turn in (each for each in turns if not each.startswith("passes ")):
        if " before East Haven: " in turn:
            assert poled
            assert re.search(rf"strike pole, headsail to (port|starboard), come up, {FREED}$", turn)
            poled = False
            continue
        at = (rf"(?:{MARK}|\d\d°\d\d\.\d\d'N \d{{3}}°\d\d\.\d\d'E, {MARK} "
              rf"\d{{3}}°M \d+\.\d nm)( \(begin \d{{4}}Z \d\d:\d\d\))?")  # fmt: skip
        if re.search(": carry on$", turn):
            # By less than the helm can tell: no other heading is told.
            continue
        assert "carry on" not in turn
        done = rf"(\d{{4}}Z) \d\d:\d\d {at}: [a-z -]+[^:]*{then}"
        found = re.fullmatch(done, turn)
        assert found
        strikes, sets = "strike pole" in turn, "set pole to" in turn
        assert (found[2] is not None) is (strikes or "make pole ready" in turn)
        if found[2] is not None:
            assert 2 <= minutes(found[1]) - minutes(found[2][8:13]) <= 5
        assert strikes <= poled
        assert strikes <= ("preventer off" in turn or FREED in turn)
        poled = (poled and not strikes) or sets
        assert ("gybe" in turn) is ("boom and headsail to " in turn)
    # Nowhere is she at the last mark with the pole still up.
    assert name == "strait" or not poled


def test_each_line_of_why_names_its_leg(printed):
    _, page, _ = printed
    lines = re.findall(r"<li>(.*?)</li>", page, re.S)
    why = [line for line in lines if "No single sail set" in line]
    assert why
    assert all(re.match(r"<b>To [^<]+:</b>", line) for line in why)


def test_what_is_of_no_use_on_deck_is_not_on_it(printed):
    """Options are a terminal's; the deviation is the navigator's own where no card was given."""
    _, page, cells = printed
    text = " ".join(" ".join(cells.words).split())
    assert not re.search(r"\W(--[a-z-]+)", page[page.index("</style>") :])
    assert "Name hazards" not in text
    assert "a compass has its own deviation, which was not given" in text
    assert "Ground wind: over the ground, as forecast; over water: as her sails have it" in text


def test_it_is_two_pages_of_a4(printed):
    pytest.importorskip("weasyprint")
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    from goosewing.report.sheet import _as_pdf

    _, page, _ = printed
    assert len(pypdf.PdfReader(BytesIO(_as_pdf(page))).pages) == 2


def test_what_is_told_of_other_tracks_is_where_she_then_turns(printed):
    """Half a mile is one turn to the crew: by the printed places of page 1 and of the row."""
    name, _, cells = printed
    place = r"(\d\d°\d\d\.\d\d'N \d{3}°\d\d\.\d\d'E)"
    own = {
        row["Where, what"].split(":")[0]: place_of(re.search(place, row["Where, what"])[1])
        for row in steered(cells) if re.match(r"[TGPCA]\d+:", row["Where, what"])
    }  # fmt: skip
    told = 0
    for row in rows(cells, "what-if"):
        found = re.search(
            r"same boards( on other tracks)?( \(the plan's own)?", row["turns: when, where"]
        )
        if found is None or found[2] or ", " in row["if: arrival, takes"]:
            continue
        told += 1
        turns = [
            own.get(each[1]) or place_of(each[0])
            for each in re.findall(rf"{place}|([TGPCA]\d+):", row["turns: when, where"])
        ]
        off = [60 * np.hypot(a[0] - b[0], (a[1] - b[1]) * np.cos(np.radians(57.2)))
               for a, b in zip(own.values(), turns, strict=True)]  # fmt: skip
        assert bool(max(off) > 0.5) is bool(found[1])
    assert told == (4 if name == "strait" else 1)


def test_another_way_tells_its_first_tack_and_heading(printed):
    """So far off the wind at the mark where it begins as its angle says; without a stream."""
    name, _, cells = printed
    _, *others = cells.tables["instead-table"]
    known = {}
    for leg in cells.document["legs"]:
        blows = leg["boards"][0]["weather"]["wind_from_deg"]
        for each in leg["alternatives"]:
            known.setdefault(f"{leg['from']} to {leg['to']}", []).append((each["boards"][0], blows))
    for of, instead, *_ in others:
        found = re.search(r"first (port|starboard) tack, (\d{3})°M", " ".join(instead.split()))
        firsts = [
            (board, blows) for board, blows in known[" ".join(of.split())]
            if found[1] == board["tack"]
            and found[2] == f"{round(board['heading_magnetic_deg']) % 360:03d}"
        ]  # fmt: skip
        assert firsts
        if name == "weekend":
            for board, blows in firsts:
                off = (blows - board["heading_deg"] + 180) % 360 - 180
                assert abs(off) == pytest.approx(board["twa_deg"], abs=0.5)
                assert (off > 0) is (board["tack"] == "starboard")


def test_planned_anew_she_is_no_later_than_on_the_tracks_kept(printed):
    """What is left at the hour of arrival takes its time at the last speed told; kept tracks are
    sailed in pieces, so that they come out some seconds short of the plan."""
    _, _, cells = printed
    plan = cells.document
    last = plan["legs"][-1]["boards"][-1]["speed_over_ground_kn"]
    told = 0
    for each in plan["what_if"]:
        if each["behind_nm"] and each["wind_factor"] < 1.0 and each["elapsed_h"]:
            told += 1
            kept_min = 60 * each["behind_nm"] / (last * each["wind_factor"])
            assert 60 * (each["elapsed_h"] - plan["elapsed_h"]) <= kept_min + 0.1
    assert told
