from __future__ import annotations

import time
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import gpxpy
import pytest

from goosewing.errors import InputError
from goosewing.exchange.gpx import marks as marks_in
from goosewing.exchange.gpx import plans
from goosewing.exchange.gpx.marks import parse_marks

HEAD = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
HEAD_1_0 = '<gpx version="1.0" creator="t" xmlns="http://www.topografix.com/GPX/1/0">'


def wpt(lat: object = 57, lon: object = 11, inside: str = "", tag: str = "wpt") -> str:
    return f'<{tag} lat="{lat}" lon="{lon}">{inside}</{tag}>'


def rte(name: str, *points: str) -> str:
    title = f"<name>{name}</name>" if name else ""
    return f"<rte>{title}{''.join(wpt(57, 11, f'<name>{p}</name>', 'rtept') for p in points)}</rte>"


def trk(name: str, *segments: list[float]) -> str:
    parts = (
        "<trkseg>" + "".join(wpt(lat, 11, tag="trkpt") for lat in lats) + "</trkseg>"
        for lats in segments
    )
    return f"<trk><name>{name}</name>{''.join(parts)}</trk>"


def read(*inside: str, head: str = HEAD, **options: object) -> plans.MarksRead:
    text = f"{head}\n" + "\n".join(inside) + "\n</gpx>"
    return parse_marks(text.encode(), where="marks.gpx", **options)  # type: ignore[arg-type]


def names(found: plans.MarksRead) -> list[str]:
    return [mark.name for mark in found.marks]


# What is taken


def test_a_route_comes_before_waypoints_and_these_before_a_track() -> None:
    way = wpt(1, 2, "<name>W</name>")
    track, route = trk("T", [1.0, 2.0]), rte("R", "A", "B")
    found = read(way, route, track)
    assert (names(found), found.source, found.name) == (["A", "B"], "route", "R")
    assert found.notices == ()
    found = read(way, track)
    assert (names(found), found.source, found.name) == (["W"], "waypoints", None)
    found = read(way, "<rte><name>empty</name></rte>")
    assert found.source == "waypoints"


@pytest.mark.parametrize("source", ["route", "waypoints", "track"])
def test_what_is_asked_for_is_taken(source: str) -> None:
    content = (wpt(inside="<name>W</name>"), rte("R", "A"), trk("T", [1.0, 2.0]))
    assert read(*content, source=source).source == source


def test_the_first_of_several_routes_is_taken_and_the_others_named() -> None:
    found = read(rte("First", "A"), rte("", "B"), rte("Third", "C"))
    assert names(found) == ["A"]
    assert found.notices == (
        'marks.gpx: took route "First", not route 2 (nameless), route "Third".',
    )


def test_a_route_is_picked_by_name() -> None:
    found = read(
        rte("First", "A"), rte("Väst & öst".replace("&", "&amp;"), "B"), route="Väst & öst"
    )
    assert names(found) == ["B"]
    assert found.name == "Väst & öst"


def test_a_track_gives_its_two_ends() -> None:
    found = read(trk("Log", [], [1.0, 2.0], [3.0, 4.0]))
    assert [mark.lat for mark in found.marks] == [1.0, 4.0]
    assert names(found) == ["MK1", "MK2"]
    assert found.source == "track"
    assert 'two ends of track "Log"' in found.notices[0]
    assert len(read(trk("Log", [1.0])).marks) == 1


def test_nameless_marks_get_names_that_nobody_has() -> None:
    found = read(wpt(), wpt(inside="<name>mk1</name>"), wpt(inside="<name> </name>"), wpt())
    assert names(found) == ["MK2", "mk1", "MK3", "MK4"]


def test_names_stand_as_written_but_on_one_line() -> None:
    found = read(
        wpt(inside='<name> Ö &amp; <![CDATA[<b>"x"</b>]]></name>'),
        wpt(inside="<name>\n    Over\n    two lines\n  </name>"),
    )
    assert names(found) == ['Ö & <b>"x"</b>', "Over two lines"]


# Forms of the file


def test_gpx_1_0_with_its_link_and_extensions() -> None:
    foreign = '<o:x xmlns:o="urn:o">1</o:x>'
    inside = f"<name>A</name><url>http://e.x/?a=1&amp;b=2</url><urlname>E</urlname>{foreign}"
    (mark,) = read(wpt(57, 11, inside), head=HEAD_1_0).marks
    (kept,) = mark.extras
    assert kept.links == (("http://e.x/?a=1&b=2", "E", None),)
    assert [each.tag for each in kept.extensions] == ["{urn:o}x"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1", "cp1252"])
def test_encodings(encoding: str) -> None:
    declared = encoding.removesuffix("-sig")
    text = (
        f'<?xml version="1.0" encoding="{declared}"?>{HEAD}{wpt(inside="<name>Väst</name>")}</gpx>'
    )
    assert names(parse_marks(text.encode(encoding))) == ["Väst"]


@pytest.mark.parametrize(
    "head", ['<gpx version="1.1">', "<gpx>", HEAD.replace('"', "'").replace(" creator='t'", "")]
)
def test_sloppy_heads(head: str) -> None:
    assert names(read(rte("R", "A", "B"), head=head)) == ["A", "B"]


def test_a_prefix_for_gpx_itself() -> None:
    text = (
        '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1" version="1.1">'
        '<g:wpt lat="57" lon="11"><g:name>A</g:name></g:wpt></g:gpx>'
    )
    assert names(parse_marks(text.encode())) == ["A"]


def test_another_reader_finds_the_same_marks() -> None:
    text = (
        f"{HEAD}<rte><name>R</name>"
        + wpt(57.1234567, -11.5, "<name>A</name><cmt>c</cmt><desc>d</desc><sym>s</sym>", "rtept")
        + wpt(-0.000001, 179.9999999, "<name>B</name><type>t</type>", "rtept")
        + "</rte></gpx>"
    )
    ours = parse_marks(text.encode()).marks
    theirs = gpxpy.parse(text).routes[0].points
    assert [(m.name, m.lat, m.lon, m.comment, m.description, m.symbol, m.kind) for m in ours] == [
        (p.name, p.latitude, p.longitude, p.comment, p.description, p.symbol, p.type)
        for p in theirs
    ]


# Positions and our own element


@pytest.mark.parametrize(
    ("lat", "lon", "expected"),
    [
        (90, 180, (90.0, -180.0)),
        (-90, -180, (-90.0, -180.0)),
        ("1e-6", " +11.5 ", (1e-6, 11.5)),
        (".5", "-.5", (0.5, -0.5)),
    ],
)
def test_positions(lat: object, lon: object, expected: tuple[float, float]) -> None:
    (mark,) = read(wpt(lat, lon)).marks
    assert (mark.lat, mark.lon) == expected


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ('<wpt lon="11"/>', "lat is missing"),
        ('<wpt lat="57"/>', "lon is missing"),
        (wpt("nan"), 'lat is not a decimal number: "nan"'),
        (wpt(lon="inf"), "lon is not a decimal number"),
        (wpt(""), "lat is not a decimal number"),
        (wpt("57,5"), 'lat is not a decimal number: "57,5"'),
        (wpt("57°30'"), "lat is not a decimal number"),
        (wpt("5_7"), "lat is not a decimal number"),
        (wpt("\N{ARABIC-INDIC DIGIT FIVE}"), "lat is not a decimal number"),
        (wpt(90.0001), "lat must be from -90 to 90, got 90.0001"),
        (wpt(lon=-180.1), "lon must be from -180 to 180, got -180.1"),
        (wpt(lon="1e999"), "lon must be from -180 to 180, got inf"),
    ],
)
def test_a_bad_position_is_named_with_its_line(point: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(wpt(inside="<name>good</name>"), point)
    assert str(caught.value).startswith("marks.gpx: line 3, waypoint 2: ")
    assert words in str(caught.value)


def test_a_bad_position_on_a_route_is_named_with_the_route_and_its_own_name() -> None:
    bad = wpt(99, 11, "<name>Far\noff</name>", "rtept")
    with pytest.raises(InputError) as caught:
        read(f"<rte><name>R</name>{wpt(tag='rtept')}{bad}</rte>")
    assert str(caught.value).startswith('marks.gpx: line 2, route "R", point 2 ("Far off"): lat ')


GOOSE = '<extensions><goose:leave xmlns:goose="urn:goosewing:gpx:1" {}/></extensions>'


def test_the_hand_on_which_a_mark_is_left() -> None:
    port = GOOSE.format('side="port" distance_nm="0.2"')
    found = read(wpt(inside=port), wpt(inside=GOOSE.format('side="starboard"')), wpt())
    assert [(m.leave, m.leave_distance_nm) for m in found.marks] == [
        ("port", 0.2), ("starboard", 0.0), (None, 0.0),
    ]  # fmt: skip
    assert all(mark.extras == () for mark in found.marks)


@pytest.mark.parametrize(
    "attributes",
    ["", 'side="left"', 'side="port" distance_nm="-1"', 'side="port" distance_nm="nan"'],
)
def test_a_hand_that_is_none(attributes: str) -> None:
    with pytest.raises(InputError, match=r"line 2, waypoint 1: goose:leave: "):
        read(wpt(inside=GOOSE.format(attributes)))


# What is no file of marks


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {c} "{f"&{b};" * 10}">' for b, c in pairwise("abcdefghi"))
    + f"]>{HEAD}<wpt lat='1' lon='1'><name>&i;</name></wpt></gpx>"
)
EXTERNAL = (
    '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
    f"{HEAD}<wpt lat='1' lon='1'><name>&x;</name></wpt></gpx>"
)


@pytest.mark.parametrize(
    "text",
    [
        BOMB,
        EXTERNAL,
        EXTERNAL.replace("<!ENTITY x", "<!ENTITY % x"),
        f'<!DOCTYPE gpx SYSTEM "http://e.x/gpx.dtd">{HEAD}</gpx>',
    ],
)
def test_document_types_and_entities_are_refused_at_once(text: str) -> None:
    start = time.perf_counter()
    with pytest.raises(InputError, match="declares a document type or entities") as caught:
        parse_marks(text.encode())
    assert time.perf_counter() - start < 1.0
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        pytest.param(b"hello", "line 1: not well-formed XML", id="text"),
        pytest.param(b"\x00\x01\x02\xff", "not well-formed XML", id="binary"),
        pytest.param(b"\x1f\x8b\x08\x00abc", "not well-formed XML", id="gzip"),
        pytest.param(b"\n\n", "line 3: not well-formed XML (no element found)", id="blank"),
        pytest.param(f"{HEAD}\n<wpt".encode(), "line 2: not well-formed XML", id="truncated"),
        pytest.param(f"{HEAD}\n\n</gp>".encode(), "line 3: not well-formed", id="mismatched"),
        pytest.param(f"{HEAD}&nbsp;</gpx>".encode(), "undefined entity", id="entity"),
        pytest.param(f"{HEAD}<a:b/></gpx>".encode(), "unbound prefix", id="prefix"),
        pytest.param(b'<?xml version="1.0" encoding="rot-13"?><gpx/>', "expected", id="rot13"),
        pytest.param(b'<?xml version="1.0" encoding="shift_jis"?><gpx/>', "expected", id="sjis"),
        pytest.param(b'<?xml version="1.0" encoding="no"?><gpx/>', "expected", id="encoding"),
        pytest.param(HEAD.encode() + b"\xe9</gpx>", "not well-formed XML", id="latin-1"),
        pytest.param(b"<html/>", "is XML but not GPX: its root is <html>", id="html"),
        pytest.param(b'<gpx xmlns="urn:x"/>', "of urn:x namespace", id="other-gpx"),
        pytest.param(f"{HEAD}{'<a>' * 500}".encode(), "nested over 100 deep", id="deep"),
        pytest.param(f"{HEAD}</gpx>".encode(), "no marks: neither route nor", id="no-points"),
        pytest.param(f"{HEAD}<rte/><trk/></gpx>".encode(), "no marks", id="empty-route"),
    ],
)
def test_bad_files_are_refused_in_one_line(data: bytes, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_marks(data, where="marks.gpx")
    assert words in str(caught.value)
    assert str(caught.value).startswith("marks.gpx: ")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"source": "waypoints"}, "no marks: the list of waypoints has no points"),
        ({"source": "track"}, "no marks: it has no track with points"),
        ({"route": "Z"}, 'no route named "Z"; it has route "R", route 2 (nameless)'),
        ({"route": "R", "source": "track"}, "a route's name goes with source route"),
    ],
)
def test_what_is_asked_for_but_not_there(options: dict, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(rte("R", "A"), rte("", "B"), **options)
    assert words in str(caught.value)


def test_no_route_to_take() -> None:
    with pytest.raises(InputError, match="no marks: it has no route"):
        read(wpt(), source="route")


def test_children_that_no_valid_file_could_hold_are_told() -> None:
    inside = (
        "<ele>high</ele><magvar>-3</magvar><fix>4d</fix><colour>red</colour><speed>1</speed>"
        "<extensions><speed>5</speed></extensions><sat>7</sat>"
    )
    found = read(wpt(inside=inside))
    assert found.marks[0].extras[0].fields == (("sat", "7"),)
    assert found.notices == (
        "marks.gpx: line 2, waypoint 1: not kept: ele, magvar, fix, colour, speed, speed.",
    )


def test_from_disk(tmp_path: Path) -> None:
    path = tmp_path / "marks.gpx"
    path.write_text(f"{HEAD}{wpt(inside='<name>A</name>')}</gpx>")
    assert names(marks_in.read_marks(path)) == ["A"]
    with pytest.raises(InputError, match="no such file"):
        marks_in.read_marks(tmp_path / "none.gpx")


def test_a_plan_read_again_gives_its_marks_and_nothing_of_the_plan(build: SimpleNamespace) -> None:
    plan = build.full()
    found = parse_marks(plans.format_plan(plan).encode(), where="plan.gpx")
    assert found.marks == plan.marks
    assert found.notices == ("plan.gpx: the turning points of an earlier plan are left out.",)
    assert all(mark.extras == () for mark in found.marks)


def test_blanks_around_a_marks_name_are_no_part_of_it(tmp_path):
    file = tmp_path / "m.gpx"
    file.write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte>'
        '<rtept lat="57" lon="11"><name>  Anholt  E </name></rtept>'
        '<rtept lat="57" lon="12"><name>B</name></rtept></rte></gpx>'
    )
    assert [mark.name for mark in marks_in.read_marks(file).marks] == ["Anholt  E", "B"]
