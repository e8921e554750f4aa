"""Exports keep what they were given: names and words of routes, dangers noted, the cautions."""

from __future__ import annotations

import json
from itertools import pairwise

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.records import CAUTIONS

MARKS = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">
  <wpt lat="56.4800" lon="12.2970"><name>Skarv</name><sym>Rock awash</sym></wpt>
  <wpt lat="56.9000" lon="12.4000"><name>Fuel</name></wpt>
  <rte>
    <name>Round for the weekend</name>
    <cmt>Call the harbour on 16; and {long}</cmt>
    <desc>Bring the long warps</desc>
    <rtept lat="56.5700" lon="12.2900"><name>South mark</name></rtept>
    <rtept lat="56.3800" lon="12.3000"><name>Finish</name></rtept>
    <rtept lat="56.5700" lon="12.2900"><name>South mark</name></rtept>
  </rte>
</gpx>
"""
LONG = "the long rest of the comment stays whole, " * 5

PLAN = ("plan", "own.gpx", "--boat", "brisvik/boat.toml", "--depart", "2027-06-12T05:00Z")


@pytest.fixture
def own(desk):
    (desk / "own.gpx").write_text(MARKS.format(long=LONG), encoding="utf-8")
    return desk


def nearest_nm(document, lat, lon):
    """How near the boards come to a place, by geodesics to many places along them."""
    near = []
    for leg in document["legs"]:
        for board in leg["boards"]:
            ends = board["points"]
            for one, two in pairwise(ends):
                for share in range(0, 1001):
                    at = [one[k] + (two[k] - one[k]) * share / 1000 for k in ("lat", "lon")]
                    near.append(Geodesic.WGS84.Inverse(lat, lon, *at)["s12"] / 1852.0)
    return min(near)


@pytest.mark.usefixtures("own")
@pytest.mark.parametrize(("more", "clear"), [((), True), (("--dangers", "none"), False)])
def test_a_rock_among_the_waypoints_is_kept_clear_of(run, more, clear):
    ran = run(*PLAN, "--wind", "315/10", "--json", *more)
    assert ran.code == 0
    document = json.loads(ran.out)
    assert (nearest_nm(document, 56.48, 12.297) >= 0.1) is clear
    said = " ".join(document["notices"])
    assert ("Skarv never nearer than 0.1 nm (its symbol says rock)" in said) is clear
    assert ("Fuel" in said) is clear
    # A rock is not the land.
    assert "Land and shoals were not looked at" in said
    assert [each["name"] for each in document["dangers"]] == (["Skarv"] if clear else [])
    assert ("1 waypoint of own.gpx marked as a danger" in document["cautions"][0]) is clear
    # How near she comes, told and by another library's geodesics.
    passed = [each for each in document["passed"] if each["name"] == "Skarv"]
    assert bool(passed) is clear
    for each in passed:
        assert each["distance_nm"] == pytest.approx(nearest_nm(document, 56.48, 12.297), abs=0.002)


@pytest.mark.usefixtures("own")
def test_how_to_ask_otherwise_is_told_on_the_terminal_and_nowhere_else(run):
    ran = run(*PLAN, "--wind", "315/10")
    assert "Hint: --dangers says which waypoints of the marks' file are kept clear of." in ran.out
    assert "Hint: --hazards FILE and --coast name land and shoals" in " ".join(ran.out.split())
    document = json.loads(run(*PLAN, "--wind", "315/10", "--json").out)
    assert "--" not in " ".join(document["notices"])


@pytest.mark.usefixtures("own")
def test_how_far_off_is_an_option_and_nonsense_is_refused(run):
    wide = json.loads(run(*PLAN, "--wind", "315/10", "--json", "--danger-distance", "0.5").out)
    assert nearest_nm(wide, 56.48, 12.297) >= 0.5
    bad = run(*PLAN, "--wind", "315/10", "--danger-distance", "0")
    assert (bad.code, bad.out) == (2, "")
    assert "--danger-distance must be above 0" in bad.err


def test_the_other_commands_keep_clear_of_it_too(own, run):
    rest = PLAN[1:4]
    found = run("laylines", *rest, "--wind", "180/10", "--json")
    assert "Skarv" in " ".join(json.loads(found.out)["notices"])
    found = run("depart", *rest, "--wind", "315/10", "--from", "2027-06-12T05:00Z", "--until",
                "2027-06-12T06:00Z", "--out", "best.gpx")  # fmt: skip
    assert "Skarv" in found.out
    assert [each.name for each in gpxpy.parse((own / "best.gpx").read_text()).waypoints] == [
        "Skarv"
    ]


@pytest.mark.usefixtures("own")
def test_a_waypoint_that_is_a_danger_is_no_mark(run):
    ran = run(*PLAN, "--wind", "315/10", "--json", "--marks-from", "waypoints", "--at", "56.7,12.3")
    document = json.loads(ran.out)
    assert [each["name"] for each in document["marks"]] == ["Here", "Fuel"]


def test_the_route_keeps_its_name_and_words_also_of_a_plan_of_a_plan(own, run):
    run(*PLAN, "--wind", "315/10", "--out", "one.gpx")
    again = ("plan", "one.gpx", *PLAN[2:], "--wind", "315/10", "--out", "two.gpx")
    assert run(*again).code == 0
    texts = []
    for name in ("one.gpx", "two.gpx"):
        read = gpxpy.parse((own / name).read_text(encoding="utf-8"))
        (route,) = read.routes
        assert route.name == read.name == "Round for the weekend"
        assert route.description == "Bring the long warps"
        assert route.comment.endswith(f"; Call the harbour on 16; and {LONG}")
        assert route.comment.startswith("Brisvik: ")
        assert route.comment.count("Brisvik") == 1
        assert all(each in read.description for each in CAUTIONS[1:])
        texts.append(route.comment)
        (rock,) = read.waypoints
        assert (rock.name, rock.symbol) == ("Skarv", "Rock awash")
    assert texts[0] == texts[1]


def test_a_route_without_a_name_is_called_by_its_ends_again_and_again(own, run):
    text = MARKS.replace("<name>Round for the weekend</name>", "").format(long="x")
    (own / "own.gpx").write_text(text, encoding="utf-8")
    run(*PLAN, "--wind", "315/10", "--out", "one.gpx")
    run("plan", "one.gpx", *PLAN[2:], "--wind", "315/10", "--next", "Finish", "--at", "56.5,12.2",
        "--out", "two.gpx")  # fmt: skip
    names = [
        gpxpy.parse((own / each).read_text()).routes[0].name for each in ("one.gpx", "two.gpx")
    ]
    assert names == ["South mark to South mark", "Here to South mark"]


@pytest.mark.parametrize("way", ["--handheld", "--out"])
def test_a_receiver_that_keeps_waypoints_by_name_loses_no_orders(own, run, way):
    """The mark is passed twice, first to go on and last to arrive."""
    run(*PLAN, "--wind", "315/10", way, "one.gpx")
    if way == "--out":
        run("handheld", "one.gpx", "--out", "small.gpx")
    read = gpxpy.parse((own / ("one.gpx" if way == "--handheld" else "small.gpx")).read_text())
    (route,) = read.routes
    said = {}
    for point in [*route.points, *read.waypoints]:
        told = (point.latitude, point.longitude, point.comment)
        assert said.setdefault(point.name.casefold(), told) == told
    first, *_, last = route.points
    assert (first.latitude, first.longitude) == (last.latitude, last.longitude)
    assert first.name != last.name
    assert last.comment.startswith("ARRIVE")
    # What the whole route says isn't cut to a point's length.
    assert (route.description, route.name) == ("Bring the long warps", "ROFOWE")
    assert LONG.strip() in route.comment
    assert all(each in read.description for each in CAUTIONS[1:])
    assert run("handheld", "--check", "one.gpx" if way == "--handheld" else "small.gpx").code == 0


def test_two_routes_of_one_file_share_no_name_for_two_things(own, run):
    """The same buoy, with other words in each."""
    points = '<rtept lat="57" lon="11"><name>Buoy</name><cmt>{}</cmt></rtept>'
    routes = "".join(
        f"<rte><name>{n}</name>{points.format(n)}<rtept lat='57.1' lon='11'/></rte>"
        for n in ("out", "home")
    )
    (own / "two.gpx").write_text(
        f'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">{routes}</gpx>'
    )
    assert run("handheld", "--check", "two.gpx").code == 2
    run("handheld", "two.gpx", "--out", "small.gpx")
    read = gpxpy.parse((own / "small.gpx").read_text())
    one, two = (route.points[0] for route in read.routes)
    assert {(one.name, one.comment), (two.name, two.comment)} == {
        ("BUOY", "OUT"), ("BUOY2", "HOME"),
    }  # fmt: skip
    # The far ends are one place that says one thing.
    assert read.routes[0].points[1].name == read.routes[1].points[1].name
    assert all(each in read.description for each in CAUTIONS)
    assert run("handheld", "--check", "small.gpx").code == 0


def test_a_start_under_the_pole_says_that_it_is_up(own, run):
    """Its first sails cost no manoeuvre, so that no order to set it is given."""
    (own / "own.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte>'
        '<rtept lat="57" lon="11"><name>A</name></rtept>'
        '<rtept lat="56.7" lon="11"><name>B</name></rtept></rte></gpx>'
    )
    run(*PLAN, "--wind", "002/12", "--out", "one.gpx", "--handheld", "direct.gpx")
    run("handheld", "one.gpx", "--out", "small.gpx")
    run("handheld", "one.gpx", "--preset", "larger", "--out", "larger.gpx")
    start = gpxpy.parse((own / "one.gpx").read_text()).routes[0].points[0]
    assert ", wing-and-wing, the pole already up, steer " in start.description
    for name in ("direct.gpx", "small.gpx", "larger.gpx"):
        comment = gpxpy.parse((own / name).read_text()).routes[0].points[0].comment
        assert "POLE UP" in comment.upper()
    ran = run(*PLAN, "--wind", "002/12", "--start-with", "main and jib", "--start-tack", "port",
              "--out", "set.gpx")  # fmt: skip
    assert ran.code == 0
    start = gpxpy.parse((own / "set.gpx").read_text()).routes[0].points[0]
    assert "set the pole" in start.description
    assert "already" not in start.description


def test_a_broken_waypoint_is_told_and_the_route_planned(own, run):
    text = MARKS.format(long="x").replace('lat="56.9000" lon="12.4000"', 'lat="north" lon="12.4"')
    (own / "own.gpx").write_text(text, encoding="utf-8")
    ran = run(*PLAN, "--wind", "315/10", "--json")
    assert ran.code == 0
    assert any(
        "not looked at" in each and "north" in each for each in json.loads(ran.out)["notices"]
    )
