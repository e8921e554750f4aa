from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import gpxpy
import pyogrio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from goosewing.errors import InputError
from goosewing.exchange.gpx.marks import parse_marks, read_marks
from goosewing.exchange.gpx.plans import format_plan, write_plan
from goosewing.records import Mark, Plan
from goosewing.turns import numbered

GPX = "{http://www.topografix.com/GPX/1/1}"
GOOSE = "{urn:goosewing:gpx:1}"
HALF_OF_SEVEN_DECIMALS = 0.5000001e-7

Valid = Callable[[str], None]


def tree(plan: Plan) -> etree._Element:
    return etree.fromstring(format_plan(plan).encode())


def route_points(plan: Plan) -> list[etree._Element]:
    return tree(plan).findall(f"{GPX}rte/{GPX}rtept")


def texts(points: list[etree._Element], tag: str) -> list[str | None]:
    return [point.findtext(f"{GPX}{tag}") for point in points]


# The whole


def test_valid_and_in_sailing_order(build: SimpleNamespace, assert_valid: Valid) -> None:
    text = format_plan(build.full())
    assert_valid(text)
    (route,) = gpxpy.parse(text).routes
    assert [point.name for point in route.points] == ["A", "T1", "B", "P1", "C1", "C"]
    assert route.name == "A to C"


def test_equal_plans_give_equal_bytes(build: SimpleNamespace) -> None:
    assert format_plan(build.full()) == format_plan(build.full())


def test_metadata_carries_departure_and_cautions(build: SimpleNamespace) -> None:
    plan = build.full()
    back = gpxpy.parse(format_plan(plan))
    assert back.name == "A to C"
    assert back.time.isoformat() == "2027-06-01T06:00:00+00:00"
    assert all(caution in back.description for caution in plan.cautions)


def test_each_point_says_what_happens_and_what_to_steer(build: SimpleNamespace) -> None:
    points = route_points(build.full())
    gybe = (
        "leave to port, 0.1 nm off, gybe onto starboard tack, set the pole for wing-and-wing, "
        "steer 178°T 174°M, 0800Z"
    )
    assert texts(points, "desc") == [
        "on starboard tack, main and jib, steer 048°, 0600Z",
        "onto port tack, main and jib, steer 000°, 0700Z",
        "the lit buoy",
        "strike the pole, on starboard tack, main and jib, steer 170°, 0905Z",
        "change to main alone, on starboard tack, steer 048°, 1008Z",
        "arrive 1113Z",
    ]
    assert texts(points, "cmt")[2] == gybe
    assert points[2].findtext(f".//{GOOSE}text") == gybe
    assert texts(points, "type") == [None, "tack", None, "pole", "sail change", None]
    assert texts(points, "sym") == [None] * 6


@pytest.mark.parametrize(
    ("own", "written"),
    [
        ((None, None), ("{}", None)),
        (("d", None), ("d", "{}")),
        ((None, "c"), ("{}", "c")),
        (("d", "c"), ("d", "{}; c")),
    ],
)
def test_a_marks_own_words_and_the_orders_are_both_there(
    build: SimpleNamespace, own: tuple[str | None, ...], written: tuple[str | None, ...]
) -> None:
    orders = "on starboard tack, main and jib, steer 048°, 0600Z"
    plan = build.straight(
        build.mark("A", 57.0, 11.0, description=own[0], comment=own[1]),
        build.mark("B", 57.1, 11.0),
    )
    first = route_points(plan)[0]
    found = (first.findtext(f"{GPX}desc"), first.findtext(f"{GPX}cmt"))
    assert found == tuple(each and each.format(orders) for each in written)
    assert first.findtext(f".//{GOOSE}text") == orders
    back = parse_marks(format_plan(plan).encode()).marks[0]
    assert (back.description, back.comment) == own


def test_times_are_those_of_being_there(build: SimpleNamespace) -> None:
    plan = build.full()
    boards = [board for leg in plan.legs for board in leg.boards]
    expected = [plan.departure, *(board.end.time for board in boards)]
    found = [datetime.fromisoformat(time) for time in texts(route_points(plan), "time")]
    assert all(abs(a - b) <= timedelta(seconds=0.5) for a, b in zip(expected, found, strict=True))
    assert all(time.microsecond == 0 for time in found)


def test_figures_stand_in_our_namespace(build: SimpleNamespace) -> None:
    root = tree(build.full())
    plan = root.find(f"{GPX}rte/{GPX}extensions/{GOOSE}plan")
    assert {key: plan.get(key) for key in ("format", "boat", "elapsed_h", "saved_min")} == {
        "format": "goosewing.plan/1", "boat": "Brisvik", "elapsed_h": "3.2", "saved_min": "18",
    }  # fmt: skip
    assert plan.get("relaxed_h") is None
    assert (plan.get("departure"), plan.get("arrival")) == (
        "2027-06-01T06:00:00Z", "2027-06-01T11:13:10Z",
    )  # fmt: skip
    assert len(plan.findall(f"{GOOSE}caution")) == 3
    assert plan.findtext(f"{GOOSE}notice") == "No heel table."
    at_b = root.findall(f"{GPX}rte/{GPX}rtept")[2]
    assert [(m.get("kind"), m.get("cost_s")) for m in at_b.iter(f"{GOOSE}manoeuvre")] == [
        ("gybe", "45"),
        ("set_pole", "240"),
    ]
    board = at_b.find(f".//{GOOSE}board")
    assert board.get("sail_set") == "wing-and-wing"
    assert board.get("heading_magnetic_deg") == "173.6"
    assert board.get("awa_deg") == "30.123457"
    assert board.get("heel_deg") is None


def test_small_figures_are_written_without_exponent(build: SimpleNamespace) -> None:
    plan = replace(build.full(), saved_min=-1e-5, bound_h=1e-9, straight_h=1e22)
    element = tree(plan).find(f".//{GOOSE}plan")
    assert element.get("saved_min") == "-0.00001"
    assert element.get("bound_h") == "0"
    assert element.get("straight_h") == "10000000000000000000000"


def test_laylines_are_tracks_with_names_of_their_own(
    build: SimpleNamespace, assert_valid: Valid
) -> None:
    places = ((57.0, 11.0), (57.1, 11.05), (57.2, 11.1))
    lines = [
        build.layline("B", "port", *places),
        build.layline("B", "port", *places),
        build.layline("B", "port", *places, sail_set="main alone"),
        build.layline("B", "starboard", *places),
        build.layline("b", "port", *places),
    ]
    plan = build.full()
    plan = replace(plan, legs=(replace(plan.legs[0], laylines=tuple(lines)), plan.legs[1]))
    text = format_plan(plan)
    assert_valid(text)
    tracks = gpxpy.parse(text).tracks
    assert tracks[0].name == "Layline B port"
    assert tracks[3].name == "Layline B starboard"
    assert len({track.name.casefold() for track in tracks}) == 5
    assert [len(track.segments) for track in tracks] == [1] * 5
    assert [(p.latitude, p.longitude) for p in tracks[0].segments[0].points] == list(places)


# Points of ours


def test_our_names_are_different_from_the_users_in_either_case(build: SimpleNamespace) -> None:
    plan = build.full()
    marks = (replace(plan.marks[0], name="t1"), replace(plan.marks[1], name="P1"), plan.marks[2])
    names = texts(route_points(numbered(replace(plan, marks=marks))), "name")
    assert names == ["t1", "T2", "P1", "P2", "C1", "C"]


def test_two_angles_of_one_tack_meet_in_a_course_change(build: SimpleNamespace) -> None:
    a, b = build.mark("A", 57.0, 11.0), build.mark("B", 57.2, 11.2)
    first = build.board((57.0, 11.0), (57.1, 11.0), build.departure)
    second = build.board((57.1, 11.0), (57.2, 11.2), first.end.time, heading_deg=90.0)
    points = route_points(build.plan((a, b), [build.leg("A", "B", [first, second])]))
    assert texts(points, "name") == ["A", "A1", "B"]
    assert texts(points, "desc")[1] == (
        "alter course, on starboard tack, main and jib, steer 090°, 0700Z"
    )


def test_a_heading_that_follows_the_wind_is_called_so(build: SimpleNamespace) -> None:
    a, b = build.mark("A", 57.0, 11.0), build.mark("B", 57.2, 11.2)
    board = build.board((57.0, 11.0), (57.2, 11.2), build.departure, heading_deg=359.5)
    swung = (board.points[0], replace(board.points[1], heading_deg=8.0))
    steady = (board.points[0], replace(board.points[1], heading_deg=0.2))
    for points, steer, words in [
        (swung, "angle", "steer 000° at first, keep the true wind at 43°, 0600Z"),
        (swung, "heading", "steer 000°, 0600Z"),
        (steady, "angle", "steer 000°, 0600Z"),
    ]:
        leg = build.leg("A", "B", [replace(board, points=points, steer=steer)])
        assert texts(route_points(build.plan((a, b), [leg])), "desc")[0] == (
            f"on starboard tack, main and jib, {words}"
        )


def test_free_manoeuvres_and_rounded_times_stay_at_their_place(build: SimpleNamespace) -> None:
    a, b = build.mark("A", 57.0, 11.0), build.mark("B", 57.2, 11.2)
    turn = (57.1, 11.0)
    first = build.board((57.0, 11.0), turn, build.departure)
    end = first.end.time
    for late in (timedelta(0), timedelta(microseconds=3), timedelta(microseconds=-3)):
        second = build.board(turn, (57.2, 11.2), end, tack="port")
        turned = build.turn("tack", turn, end + late, 0.0)
        points = route_points(build.plan((a, b), [build.leg("A", "B", [first, second], [turned])]))
        assert texts(points, "name") == ["A", "T1", "B"]


def test_after_midnight_the_date_is_told(build: SimpleNamespace) -> None:
    a, b = build.mark("A", 57.0, 11.0), build.mark("B", 57.2, 11.2)
    board = build.board((57.0, 11.0), (57.2, 11.2), build.departure, hours=20.5)
    points = route_points(build.plan((a, b), [build.leg("A", "B", [board])]))
    assert texts(points, "desc")[1] == "arrive 2027-06-02 0230Z"


def test_two_marks_in_one_place(build: SimpleNamespace, assert_valid: Valid) -> None:
    a, b, c = (build.mark(name, 57.0 + (name == "C"), 11.0) for name in "ABC")
    board = build.board((57.0, 11.0), (58.0, 11.0), build.departure)
    plan = build.plan((a, b, c), [build.leg("A", "B", []), build.leg("B", "C", [board])])
    assert_valid(format_plan(plan))
    assert texts(route_points(plan), "desc")[0] == "carry on 0600Z"


def test_a_plan_without_its_marks_is_refused(build: SimpleNamespace) -> None:
    with pytest.raises(InputError, match="a plan of 2 legs needs 3 marks, got 0"):
        format_plan(replace(build.full(), marks=()))
    with pytest.raises(InputError, match="zone"):
        format_plan(replace(build.full(), departure=datetime(2027, 6, 1)))


# Read back by others


@pytest.mark.parametrize(
    "places",
    [
        pytest.param(((57.12345678, 11.98765432), (57.0, 12.0)), id="rounded"),
        pytest.param(((0.000001, -0.000001), (-0.000001, 0.00000004)), id="tiny"),
        pytest.param(((-17.0, 179.9), (-17.1, -179.9)), id="antimeridian"),
        pytest.param(((0.0, -180.0), (0.0, 180.0), (0.0, 179.99999999)), id="180"),
        pytest.param(((10.0, 190.0), (10.0, -190.0), (10.0, 540.0)), id="other-windings"),
        pytest.param(((90.0, 0.0), (-90.0, 0.0)), id="poles"),
        pytest.param(((-0.0, -0.0), (-0.00000001, -0.00000001)), id="minus-zero"),
    ],
)
def test_gpxpy_and_gdal_read_the_places(
    tmp_path: Path, build: SimpleNamespace, assert_valid: Valid, places: tuple
) -> None:
    marks = [build.mark(f"M{at}", lat, lon) for at, (lat, lon) in enumerate(places)]
    plan = build.straight(*marks)
    text = format_plan(plan)
    assert_valid(text)
    assert '="-0.0000000"' not in text
    wound = [(lat, (lon + 180.0) % 360.0 - 180.0) for lat, lon in places]
    read = [(point.latitude, point.longitude) for point in gpxpy.parse(text).routes[0].points]
    path = tmp_path / "plan.gpx"
    write_plan(path, plan)
    gdal = gdal_places(path, "route_points")
    for ours, theirs in ((wound, read), (read, gdal)):
        for (lat, lon), (other_lat, other_lon) in zip(ours, theirs, strict=True):
            assert abs(lat - other_lat) <= HALF_OF_SEVEN_DECIMALS
            apart = (lon - other_lon + 180.0) % 360.0 - 180.0
            assert abs(apart) <= HALF_OF_SEVEN_DECIMALS


def gdal_read(path: Path, layer: str) -> tuple[list, dict]:
    import shapely

    meta, _, geometry, columns = pyogrio.raw.read(path, layer=layer)
    return list(shapely.from_wkb(geometry)), dict(zip(meta["fields"], columns, strict=True))


def gdal_places(path: Path, layer: str) -> list[tuple[float, float]]:
    return [(point.y, point.x) for point in gdal_read(path, layer)[0]]


def test_gdal_reads_names_route_and_laylines(
    tmp_path: Path, build: SimpleNamespace, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "plan.gpx"
    with caplog.at_level(logging.WARNING):
        write_plan(path, build.full())
        places, columns = gdal_read(path, "route_points")
        (route,), route_columns = gdal_read(path, "routes")
        (layline,), track_columns = gdal_read(path, "tracks")
    assert caplog.records == []
    assert list(columns["name"]) == ["A", "T1", "B", "P1", "C1", "C"]
    assert columns["desc"][1].startswith("onto port tack")
    assert list(columns["route_fid"]) == [0] * 6
    assert [(x, y) for x, y in route.coords] == [(point.x, point.y) for point in places]
    assert route_columns["name"][0] == "A to C"
    assert list(layline.geoms[0].coords) == [(11.2, 57.15), (11.3, 57.2)]
    assert track_columns["name"][0] == "Layline B port"


# What the user's file held


RICH = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"
 xmlns:a="urn:a" xmlns:goose="urn:not-ours" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<rte><rtept lat="57.1" lon="11.2">
 <ele>12.50</ele><magvar>3.5</magvar><geoidheight>-1</geoidheight>
 <name>"Ö" &amp; &lt;Väst&gt; ½° 北 😀</name><cmt>two
lines</cmt><desc><![CDATA[<b>&amp;</b> "d"]]></desc><src>chart</src>
 <link href="http://e.x/?a=1&amp;b=&quot;2&quot;"><text>A &amp; B</text>
  <type>text/html</type></link>
 <link href="http://e.y/"/>
 <sym>Buoy, White</sym><type>mark &amp; more</type><fix>dgps</fix><sat>7</sat><hdop>1.5</hdop>
 <dgpsid>12</dgpsid>
 <extensions>
  <a:one a:x="1 &lt; 2" y="&quot;q&quot;&#10;next" xml:lang="sv"> mixed <a:in>t &amp; u</a:in>
  tail</a:one><a:blanks>  kept	</a:blanks>
  <goose:two/>
  <three xmlns="urn:c"><four>4</four><b:five xmlns:b="urn:b" b:y="z"/></three>
  <a:six><name>of gpx</name><seven xmlns=""><eight/></seven></a:six>
  <ns1:nine xmlns:ns1="urn:nine"/><ns1:ten xmlns:ns1="urn:ten?a=1&amp;b=2"/>
  <a:eleven xsi:nil="true"><![CDATA[<raw> & more]]>&#13;</a:eleven>
 </extensions>
</rtept><rtept lat="57.2" lon="11.3"><name>B</name></rtept></rte></gpx>
"""


def canonical(element: etree._Element) -> bytes:
    """Names in Clark notation: what is left when layout and prefixes don't count."""

    def walk(node: etree._Element) -> tuple:
        blank = len(node) > 0
        inside = [(walk(child), (child.tail or "").strip()) for child in node]
        text = node.text or ""
        return (node.tag, sorted(node.attrib.items()), text.strip() if blank else text, inside)

    return repr(walk(element)).encode()


def split_tag(element: etree._Element) -> str:
    return etree.QName(element).localname


def in_extensions(root: etree._Element) -> list[etree._Element]:
    found = root.find(f"{GPX}rte/{GPX}rtept/{GPX}extensions")
    return [each for each in found if not each.tag.startswith(GOOSE)]


@pytest.fixture
def rich(build: SimpleNamespace) -> Plan:
    return build.straight(*parse_marks(RICH.encode()).marks)


def test_everything_of_the_users_survives(rich: Plan, assert_valid: Valid) -> None:
    assert_valid(RICH)
    text = format_plan(rich)
    assert_valid(text)
    before, after = etree.fromstring(RICH.encode()), etree.fromstring(text.encode())
    old, new = (root.find(f"{GPX}rte/{GPX}rtept") for root in (before, after))
    tags = {split_tag(child) for child in old} - {"link", "extensions"}
    assert len(tags) == 13
    # Its comment stands behind the orders, for its description has their place.
    assert {
        tag: new.findtext(f"{GPX}{tag}").removeprefix(f"{new.findtext(f'.//{GOOSE}text')}; ")
        for tag in tags
    } == {tag: old.findtext(f"{GPX}{tag}") for tag in tags}
    links = [[canonical(link) for link in point.findall(f"{GPX}link")] for point in (old, new)]
    assert len(links[0]) == 2
    assert links[0] == links[1]
    kept = [[canonical(each) for each in in_extensions(root)] for root in (before, after)]
    assert len(kept[0]) == 8
    assert kept[0] == kept[1]


def test_and_survives_again(rich: Plan, build: SimpleNamespace) -> None:
    once = format_plan(rich)
    twice = format_plan(build.straight(*parse_marks(once.encode()).marks))
    assert once == twice


def test_the_files_own_prefixes_are_used_again(rich: Plan) -> None:
    declared = tree(rich).nsmap
    assert declared["a"] == "urn:a"
    assert declared["goose"] == "urn:goosewing:gpx:1"
    assert "urn:not-ours" in declared.values()
    assert declared["ns1"] == "urn:nine"


def test_gdal_reads_a_file_with_all_of_it(tmp_path: Path, rich: Plan) -> None:
    path = tmp_path / "plan.gpx"
    write_plan(path, rich)
    _, columns = gdal_read(path, "route_points")
    assert columns["name"][0] == '"Ö" & <Väst> ½° 北 😀'
    assert columns["sym"][0] == "Buoy, White"
    assert columns["link1_href"][0] == 'http://e.x/?a=1&b="2"'


def test_characters_that_xml_has_not_are_replaced(
    build: SimpleNamespace, assert_valid: Valid
) -> None:
    plan = build.straight(
        build.mark("A\x00\x1b\ud800\ufffe", 57.0, 11.0), build.mark("B", 57.1, 11.0), boat="x\x0b"
    )
    text = format_plan(plan)
    assert_valid(text)
    assert texts(route_points(plan), "name")[0] == "A" + "\N{REPLACEMENT CHARACTER}" * 4


XML_TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"), min_size=1
).filter(lambda text: text.strip())
LINES = st.none() | st.text(
    st.characters(
        exclude_categories=["Cs", "Cc"],
        include_characters="\t\n\r",
        exclude_characters="\ufffe\uffff",
    ),
    min_size=1,
).filter(lambda text: text.strip())
DECIMALS = 10_000_000
MARKS = st.builds(
    Mark,
    name=XML_TEXT.map(str.strip),  # blanks around a name are no part of it
    lat=st.integers(-90 * DECIMALS, 90 * DECIMALS).map(lambda n: n / DECIMALS),
    lon=st.integers(-180 * DECIMALS, 180 * DECIMALS - 1).map(lambda n: n / DECIMALS),
    description=LINES,
    comment=LINES,
    symbol=LINES,
    kind=LINES,
    leave=st.sampled_from([None, "port", "starboard"]),
).map(lambda mark: replace(mark, leave_distance_nm=0.25 if mark.leave else 0.0))


@settings(deadline=None, max_examples=150)
@given(marks=st.lists(MARKS, min_size=2, max_size=4))
def test_any_marks_come_back_from_any_plan(
    build: SimpleNamespace, assert_valid: Valid, marks: list[Mark]
) -> None:
    text = format_plan(build.straight(*marks))
    assert_valid(text)
    assert parse_marks(text.encode()).marks == tuple(marks)


def test_to_disk_but_never_over_the_marks(tmp_path: Path, build: SimpleNamespace) -> None:
    path = tmp_path / "marks.gpx"
    write_plan(path, build.full())
    assert path.read_bytes() == format_plan(build.full()).encode()
    assert [mark.name for mark in read_marks(path).marks] == ["A", "B", "C"]
    with pytest.raises(InputError, match="is an input"):
        write_plan(path, build.full(), inputs=[path])
