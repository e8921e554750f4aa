"""`goosewing plan` as its users meet it: what it prints and writes, refuses and leaves alone."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import gpxpy
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.records import CAUTIONS

BOAT = ("--boat", "brisvik/boat.toml")
SAIL = (*BOAT, "--wind", "315/10", "--depart", "2027-06-12T05:00Z")
PLAN = ("plan", "marks.gpx", *SAIL)
GOOSE = "{urn:goosewing:gpx:1}"
METRE = 1.0
MILLISECOND_H = 1e-3 / 3600


def snapshot(folder):
    """Every file below a folder with its bytes, and every folder."""
    return {
        path.relative_to(folder): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }


def refused(ran, code=2):
    """The one line of a refusal, after checking that it is one and nothing else was printed."""
    assert ran.code == code, ran.err
    assert ran.out == ""
    lines = ran.err.splitlines()
    assert len(lines) == 1, ran.err
    assert lines[0].startswith("goosewing: ")
    assert "Traceback" not in ran.err
    assert len(lines[0]) > len("goosewing: ") + 10
    return lines[0]


def instant(text):
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", text)
    return datetime.fromisoformat(text)


# ---- JSON --------------------------------------------------------------------------------------

NUMBER, TEXT, TIME = "number", "text", "time"
PLACE = {"lat": NUMBER, "lon": NUMBER}
FIX = {**PLACE, "time": TIME}
POINT = {
    **FIX, "heading_deg": NUMBER, "course_over_ground_deg": NUMBER, "twa_deg": NUMBER,
    "tws_kn": NUMBER,
}  # fmt: skip
BOARD = {
    "tack": TEXT, "sail_set": TEXT, "steer": TEXT, "start": FIX, "end": FIX,
    "heading_deg": NUMBER, "heading_magnetic_deg": None, "course_over_ground_deg": NUMBER,
    "twa_deg": NUMBER, "tws_kn": NUMBER, "awa_deg": NUMBER, "aws_kn": NUMBER,
    "boat_speed_kn": NUMBER, "speed_over_ground_kn": NUMBER, "leeway_deg": NUMBER,
    "heel_deg": (NUMBER, None), "distance_nm": NUMBER, "log_nm": NUMBER, "elapsed_h": NUMBER,
    "points": [POINT],
}  # fmt: skip
LEG = {
    "from": TEXT, "to": TEXT, "elapsed_h": NUMBER, "straight_h": (NUMBER, None),
    "saved_min": (NUMBER, None), "bound_h": NUMBER, "boards": [BOARD],
    "manoeuvres": [{"kind": TEXT, **FIX, "cost_s": NUMBER}],
    "laylines": [{
        "mark": TEXT, "tack": TEXT, "sail_set": TEXT, "course_over_ground_deg": NUMBER,
        "points": [{**PLACE, "time": None}],
    }],
}  # fmt: skip
DOCUMENT = {
    "format": TEXT, "boat": TEXT, "departure": TIME, "arrival": TIME, "conditions": TEXT,
    "elapsed_h": NUMBER, "distance_nm": NUMBER, "log_nm": NUMBER, "straight_h": (NUMBER, None),
    "saved_min": (NUMBER, None), "bound_h": NUMBER, "relaxed_h": None, "legs": [LEG],
    "notices": [TEXT], "cautions": [TEXT],
}  # fmt: skip


def faults(value, kind, at="plan"):
    """Where a JSON value is not of the kind it should be."""
    if isinstance(kind, tuple):
        return [] if any(not faults(value, each, at) for each in kind) else [f"{at}: {value!r}"]
    if isinstance(kind, list):
        if not isinstance(value, list):
            return [f"{at}: no list"]
        return [f for i, each in enumerate(value) for f in faults(each, kind[0], f"{at}[{i}]")]
    if isinstance(kind, dict):
        if not isinstance(value, dict):
            return [f"{at}: no object"]
        missing = [f"{at}.{key} is missing" for key in kind.keys() - value.keys()]
        common = kind.keys() & value.keys()
        return missing + [f for key in common for f in faults(value[key], kind[key], f"{at}.{key}")]
    fits = {
        NUMBER: isinstance(value, int | float) and not isinstance(value, bool),
        TEXT: isinstance(value, str),
        TIME: isinstance(value, str) and bool(re.fullmatch(r"[\d-]{10}T[\d:]{8}Z", value)),
        None: value is None,
    }[kind]
    return [] if fits else [f"{at}: {value!r} is not {kind}"]


@pytest.fixture
def document(run):
    ran = run(*PLAN, "--json")
    assert (ran.code, ran.err) == (0, "")
    return json.loads(ran.out)  # fails on anything before or after the one document


def boards_of(document):
    return [board for leg in document["legs"] for board in leg["boards"]]


def test_json_has_the_promised_members_of_the_promised_kinds(document):
    assert faults(document, DOCUMENT) == []
    assert document["format"] == "goosewing.plan/1"
    assert document["cautions"] == list(CAUTIONS)
    assert {board["tack"] for board in boards_of(document)} == {"port", "starboard"}
    assert {board["steer"] for board in boards_of(document)} == {"angle"}
    kinds = {m["kind"] for leg in document["legs"] for m in leg["manoeuvres"]}
    assert kinds <= {"tack", "gybe", "set_pole", "strike_pole", "change_sails"}
    assert {"tack", "gybe", "set_pole"} <= kinds


def test_the_check_of_kinds_can_fail(document):
    del document["legs"][0]["boards"][0]["leeway_deg"]
    document["legs"][0]["boards"][1]["tack"] = None
    assert len(faults(document, DOCUMENT)) == 2


def test_json_with_a_variation_has_magnetic_headings(run):
    ran = run(*PLAN, "--json", "--variation", "4.5")
    for board in boards_of(json.loads(ran.out)):
        assert board["heading_magnetic_deg"] == pytest.approx((board["heading_deg"] - 4.5) % 360)


def metres(a, b):
    return Geodesic.WGS84.Inverse(a["lat"], a["lon"], b["lat"], b["lon"])["s12"]


def test_boards_join_and_times_and_distances_add_up(document):
    place, clock = document["legs"][0]["boards"][0]["start"], instant(document["departure"])
    second = timedelta(seconds=1)  # times are written to the second
    for leg in document["legs"]:
        waiting = list(leg["manoeuvres"])
        for board in leg["boards"]:
            start = instant(board["start"]["time"])
            while waiting and instant(waiting[0]["time"]) < start:
                turn = waiting.pop(0)
                assert abs(instant(turn["time"]) - clock) <= second
                assert metres(turn, place) < METRE
                clock += timedelta(seconds=turn["cost_s"])
            assert abs(start - clock) <= second
            assert metres(board["start"], place) < METRE
            assert board["points"][0]["lat"] == board["start"]["lat"]
            assert board["points"][-1]["lon"] == board["end"]["lon"]
            clock = start + timedelta(hours=board["elapsed_h"])
            assert abs(instant(board["end"]["time"]) - clock) <= second
            place = board["end"]
        assert not waiting
        hours = sum(b["elapsed_h"] for b in leg["boards"])
        hours += sum(m["cost_s"] for m in leg["manoeuvres"]) / 3600
        assert leg["elapsed_h"] == pytest.approx(hours, abs=MILLISECOND_H)
        if leg["straight_h"] is not None:
            saved = (leg["straight_h"] - leg["elapsed_h"]) * 60
            assert leg["saved_min"] == pytest.approx(saved, abs=1e-6)
    for member in ("elapsed_h", "bound_h"):
        total = sum(leg[member] for leg in document["legs"])
        assert document[member] == pytest.approx(total, abs=MILLISECOND_H)
    for member in ("distance_nm", "log_nm"):
        total = sum(board[member] for board in boards_of(document))
        assert document[member] == pytest.approx(total, abs=1e-9)
    straight = sum(leg["straight_h"] for leg in document["legs"])
    assert document["straight_h"] == pytest.approx(straight, abs=MILLISECOND_H)
    assert document["saved_min"] == pytest.approx((straight - document["elapsed_h"]) * 60, abs=1e-3)
    duration = instant(document["arrival"]) - instant(document["departure"])
    assert abs(duration - timedelta(hours=document["elapsed_h"])) <= second


def test_legs_run_from_mark_to_mark_of_the_file(document, desk):
    marks = gpxpy.parse((desk / "marks.gpx").read_text()).routes[0].points
    assert len(document["legs"]) == len(marks) - 1
    for leg, (a, b) in zip(document["legs"], pairwise(marks), strict=True):
        assert (leg["from"], leg["to"]) == (a.name, b.name)
        ends = ((leg["boards"][0]["start"], a), (leg["boards"][-1]["end"], b))
        for fix, mark in ends:
            assert metres(fix, {"lat": mark.latitude, "lon": mark.longitude}) < 5.0


# WGS 84: semi-major axis and flattening (NGA.STND.0036, from memory).
A_NM = 6378137.0 / 1852.0
E2 = (2 - 1 / 298.257223563) / 298.257223563


def loxodrome(a, b):
    """Length [nm] and course [rad] of a loxodrome, by quadrature of the ellipsoid's radii alone."""
    lat1, lat2 = np.radians([a["lat"], b["lat"]])
    dlon = np.radians((b["lon"] - a["lon"] + 180) % 360 - 180)
    nodes, weights = np.polynomial.legendre.leggauss(40)
    phi = (lat1 + lat2) / 2 + (lat2 - lat1) / 2 * nodes
    w = 1 - E2 * np.sin(phi) ** 2
    meridian, transverse = A_NM * (1 - E2) / w**1.5, A_NM / np.sqrt(w)
    half = (lat2 - lat1) / 2
    isometric = half * np.sum(weights * meridian / (transverse * np.cos(phi)))
    course = np.arctan2(dlon, isometric)
    return half * np.sum(weights * meridian) / np.cos(course), course


@pytest.mark.parametrize("extra", [(), ("--current", "70/1.5")], ids=["no-stream", "stream"])
def test_distances_and_courses_are_those_of_the_loxodromes_between_the_ends(run, extra):
    for board in boards_of(json.loads(run(*PLAN, *extra, "--json").out)):
        length, course = loxodrome(board["start"], board["end"])
        assert board["distance_nm"] == pytest.approx(length, abs=METRE / 1852)
        assert board["course_over_ground_deg"] == pytest.approx(np.degrees(course) % 360, abs=1e-5)
        hours = board["elapsed_h"]
        assert board["speed_over_ground_kn"] == pytest.approx(length / hours, rel=1e-5)
        assert board["log_nm"] == pytest.approx(board["boat_speed_kn"] * hours, abs=1e-9)


def turned(speed, angle_deg):
    """A velocity [kn] as a complex number, east + i·north, from its direction towards."""
    return speed * np.exp(1j * np.radians(90.0 - angle_deg))


def bearing(velocity):
    return (90.0 - np.degrees(np.angle(velocity))) % 360


@pytest.mark.parametrize("stream", [None, (70.0, 1.5)], ids=["no-stream", "stream"])
def test_the_wind_triangle_of_every_board_closes(run, stream):
    extra = () if stream is None else ("--current", "70/1.5")
    ran = run(*PLAN, *extra, "--json")
    over_ground = turned(10.0, 315.0 + 180.0)
    flow = 0j if stream is None else turned(stream[1], stream[0])
    true = over_ground - flow
    for board in boards_of(json.loads(ran.out)):
        side = 1 if board["tack"] == "port" else -1
        from_deg = bearing(-true)
        assert board["tws_kn"] == pytest.approx(abs(true), abs=1e-9)
        # On port tack the wind comes over the port bow: the heading lies to its right.
        assert board["heading_deg"] == pytest.approx(
            (from_deg + side * board["twa_deg"]) % 360, abs=1e-6
        )
        track = turned(board["boat_speed_kn"], board["heading_deg"] + side * board["leeway_deg"])
        assert abs(track + flow) == pytest.approx(board["speed_over_ground_kn"], abs=1e-6)
        assert bearing(track + flow) == pytest.approx(board["course_over_ground_deg"], abs=1e-4)
        apparent = true - track
        assert board["aws_kn"] == pytest.approx(abs(apparent), abs=1e-6)
        off_bow = abs((bearing(-apparent) - board["heading_deg"] + 180) % 360 - 180)
        assert board["awa_deg"] == pytest.approx(off_bow, abs=1e-6)


def test_leeway_is_the_boat_files_formula_and_vmg_is_taken_along_the_track(document):
    assert any(board["leeway_deg"] > 1 for board in boards_of(document))
    for board in boards_of(document):
        heel = board["heel_deg"]
        expected = 0.0 if heel is None else min(10.0 * heel / board["boat_speed_kn"] ** 2, 20.0)
        assert board["leeway_deg"] == pytest.approx(expected, abs=1e-9)
    # VMG = STW·cos(TWA + leeway); on a beat in no stream it is what the boards make good into
    # the wind: the component of the straight line, from 315°.
    beat = document["legs"][0]
    _, course = loxodrome(beat["boards"][0]["start"], beat["boards"][-1]["end"])
    length, _ = loxodrome(beat["boards"][0]["start"], beat["boards"][-1]["end"])
    upwind = sum(
        b["boat_speed_kn"] * np.cos(np.radians(b["twa_deg"] + b["leeway_deg"])) * b["elapsed_h"]
        for b in beat["boards"]
    )
    # The sums of the sphere's sailings close to tan φ·h/R, here within 0.5 %.
    assert upwind == pytest.approx(length * np.cos(course - np.radians(315.0)), rel=5e-3)


# ---- table, GPX and JSON say the same --------------------------------------------------------

ROW = re.compile(
    r"^(\d{4})Z\s+(port|starboard) tack, (.+?)\s{2,}(\d{3})°\s+(\d+)°\s+([\d.]+)\s+([\d.]+)\s+"
    r"((?:\d+ h )?\d+ min)$",
    re.M,
)


def minutes(text):
    hours, _, rest = text.rpartition(" h ")
    return 60 * int(hours or 0) + int(rest.removesuffix(" min"))


def test_the_table_shows_the_figures_of_the_json(run, document):
    table = run(*PLAN).out
    rows = ROW.findall(table)
    assert len(rows) == len(boards_of(document))
    for row, board in zip(rows, boards_of(document), strict=True):
        clock, tack, sails, steer, awa, speed, nm, lasts = row
        start = instant(board["start"]["time"])
        shown = int(clock[:2]) * 60 + int(clock[2:])
        assert abs(shown * 60 - (start - start.replace(hour=0, minute=0, second=0)).seconds) <= 31
        assert (tack, sails) == (board["tack"], board["sail_set"])
        assert int(steer) == round(board["heading_deg"]) % 360
        assert int(awa) == pytest.approx(board["awa_deg"], abs=0.5)
        assert float(speed) == pytest.approx(board["boat_speed_kn"], abs=0.0501)
        assert float(nm) == pytest.approx(board["distance_nm"], abs=0.0501)
        assert minutes(lasts) == pytest.approx(board["elapsed_h"] * 60, abs=0.5)
    total = re.search(
        r"Arrival (\S+) (\d{4})Z: (.+?), ([\d.]+) nm over the ground, ([\d.]+) nm by", table
    )
    assert total
    assert total[1] == document["arrival"][:10]
    assert minutes(total[3]) == pytest.approx(document["elapsed_h"] * 60, abs=0.5)
    assert float(total[4]) == pytest.approx(document["distance_nm"], abs=0.0501)
    assert float(total[5]) == pytest.approx(document["log_nm"], abs=0.0501)
    saved = re.search(r"Saves (\d+) min against the straight course", table)
    assert saved
    assert int(saved[1]) == pytest.approx(document["saved_min"], abs=0.5)
    by_leg = re.search(r"Saved: (\d+) min on the way to Anholt E", table)
    assert by_leg
    assert int(by_leg[1]) == pytest.approx(document["legs"][0]["saved_min"], abs=0.5)
    assert all(" ".join(c.split()) in " ".join(table.split()) for c in CAUTIONS)
    assert "onto starboard tack" in table
    assert not re.search(r"\b(tack|gybe) to (port|starboard)", table)


def test_the_gpx_carries_the_figures_of_the_json(run, document, desk):
    assert run(*PLAN, "--out", "plan.gpx").code == 0
    root = ElementTree.parse(desk / "plan.gpx").getroot()
    (plan,) = root.iter(f"{GOOSE}plan")
    written = root.findall(f".//{GOOSE}board")
    assert len(written) == len(boards_of(document))
    pairs = [(plan, document), *zip(written, boards_of(document), strict=True)]
    compared = 0
    for element, record in pairs:
        for name, value in record.items():
            if isinstance(value, float):
                assert float(element.get(name)) == pytest.approx(value, abs=1e-6)
                compared += 1
            elif isinstance(value, str):
                assert element.get(name) == value
    assert compared > 50
    # Seven decimals of a degree, the turning points of the boards in sailing order.
    points = gpxpy.parse((desk / "plan.gpx").read_text()).routes[0].points
    ends = [board["start"] for board in boards_of(document)] + [boards_of(document)[-1]["end"]]
    assert len(points) == len(ends)
    for point, end in zip(points, ends, strict=True):
        assert (point.latitude, point.longitude) == pytest.approx(
            (end["lat"], end["lon"]), abs=6e-8
        )


def test_what_is_printed_stays_the_same_when_files_are_written(run, desk):
    plain, ran = run(*PLAN, "--json"), run(*PLAN, "--json", "--out", "plan.gpx")
    assert ran == plain
    assert (desk / "plan.gpx").is_file()
    assert run(*PLAN, "--out", "plan.gpx").out == run(*PLAN).out + "\nWritten: plan.gpx\n"


def test_a_file_whose_name_holds_brackets_is_named_as_it_is(run, desk):
    name = "[red]" + "long-" * 20 + "[bold].gpx"
    assert run(*PLAN, "--out", name).out.endswith(f"Written: {name}\n")
    assert (desk / name).is_file()


def test_a_picture_is_drawn(run, desk):
    pytest.importorskip("matplotlib")
    assert run(*PLAN, "--picture", "plan.png").code == 0
    assert (desk / "plan.png").read_bytes().startswith(b"\x89PNG\r\n")


# ---- refusals --------------------------------------------------------------------------------


def gpx(*points, head=""):
    body = "".join(f'<rtept lat="{lat}" lon="{lon}"><name>P</name></rtept>' for lat, lon in points)
    return (
        f'<?xml version="1.0"?>{head}<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" '
        f'creator="t"><rte>{body}</rte></gpx>'
    ).encode()


BOMB = (
    '<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in pairwise("abcdefghij"))
    + "]>"
)
EXTERNAL = '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
MARKS_FAULTS = {
    "empty": (b"", "is empty"),
    "truncated": (gpx((57, 11), (58, 11))[:-20], "not well-formed"),
    "no-xml": (b"57.0 11.0\n58.0 11.0\n", "not well-formed"),
    "binary": (bytes(range(256)) * 20, "XML"),
    "zip": (b"PK\x03\x04" + bytes(100), "XML"),
    "other-xml": (b"<kml/>", "not GPX"),
    "no-marks": (gpx(), "no marks"),
    "one-mark": (gpx((57, 11)), "only one mark"),
    "one-place": (gpx((57, 11), (57.000001, 11)), "only one mark"),
    "nan": (gpx(("NaN", 11), (58, 11)), 'not a decimal number: "NaN"'),
    "infinite": (gpx((57, "inf"), (58, 11)), "not a decimal number"),
    "words": (gpx((57, "east"), (58, 11)), "not a decimal number"),
    "latitude-91": (gpx((91, 11), (58, 11)), "from -90 to 90, got 91"),
    "longitude-200": (gpx((57, 200), (58, 11)), "from -180 to 180, got 200"),
    "pole": (gpx((90, 0), (58, 11)), "planning ends at 89"),
    "entity-bomb": (gpx((57, 11), (58, 11), head=BOMB), "refused"),
    "external-entity": (gpx(("&x;", 11), (58, 11), head=EXTERNAL), "refused"),
}


@pytest.mark.parametrize("fault", MARKS_FAULTS)
def test_marks_that_are_none_are_refused(run, desk, fault):
    data, words = MARKS_FAULTS[fault]
    (desk / "bad.gpx").write_bytes(data)
    before = snapshot(desk)
    line = refused(run("plan", "bad.gpx", *SAIL, "--out", "plan.gpx", "--picture", "plan.png"))
    assert words in line
    assert snapshot(desk) == before


TOML, TABLE, HEEL = "brisvik/boat.toml", "brisvik/main-and-jib.csv", "brisvik/main-alone-heel.csv"


def edited(file, old, new):
    """A change that puts one text in the place of another, everywhere in a file."""

    def change(desk):
        text = (desk / file).read_text()
        assert old in text
        (desk / file).write_text(text.replace(old, new))

    return change


def line_edited(file, number, line):
    def change(desk):
        lines = (desk / file).read_text().splitlines()
        lines[number] = line(lines[number])
        (desk / file).write_text("\n".join(lines) + "\n")

    return change


def last_cell(value):
    return lambda line: ",".join([*line.split(",")[:-1], value])


BOAT_FAULTS = {
    "no-toml": (edited(TOML, "[leeway]", "[leeway"), "boat.toml"),
    "unknown-key": (edited(TOML, "gybe_s", "jibe_s"), 'unknown key "manoeuvres.jibe_s"'),
    "unknown-key-of-a-set": (edited(TOML, "poled", "pole"), "sail set 2"),
    "missing-name": (edited(TOML, 'name = "Brisvik"', ""), "name"),
    "negative-seconds": (edited(TOML, "tack_s = 25", "tack_s = -25"), "tack_s"),
    "text-for-a-number": (edited(TOML, "tack_s = 25", 'tack_s = "25"'), "tack_s"),
    "nan": (edited(TOML, "coefficient = 10.0", "coefficient = nan"), "coefficient"),
    "sector-backwards": (edited(TOML, "[60, 180]", "[180, 60]"), "main alone"),
    "sector-beyond": (edited(TOML, "[60, 180]", "[60, 190]"), "main alone"),
    "two-sets-of-one-name": (edited(TOML, '"main alone"', '"main and jib"'), "main and jib"),
    "duplicate-key": (edited(TOML, "gybe_s = 45", "gybe_s = 45\ngybe_s = 46"), "boat.toml"),
    "polar-angle": (edited(TOML, 'polar_angle = "heading"', 'polar_angle = "bow"'), "polar_angle"),
    "missing-table": (lambda desk: (desk / TABLE).unlink(), "main-and-jib.csv"),
    "empty-table": (lambda desk: (desk / TABLE).write_text(""), "main-and-jib.csv"),
    "word-in-a-table": (line_edited(TABLE, 4, last_cell("fast")), "row 5"),
    "negative-speed": (line_edited(TABLE, 4, last_cell("-1")), "row 5"),
    "absurd-speed": (line_edited(TABLE, 4, last_cell("61")), "row 5"),
    "absurd-heel": (line_edited(HEEL, 4, last_cell("61")), "row 5"),
    "nan-in-a-table": (line_edited(TABLE, 4, last_cell("nan")), "row 5"),
    "ragged": (line_edited(TABLE, 4, lambda line: line + ",5"), "row 5"),
    "duplicate-angle": (
        lambda desk: line_edited(
            TABLE, 5, lambda _: (desk / TABLE).read_text().splitlines()[4]
        )(desk),
        "row 6",
    ),
}  # fmt: skip


@pytest.mark.parametrize("fault", BOAT_FAULTS)
def test_a_faulty_boat_is_refused_with_its_place(run, desk, fault):
    change, words = BOAT_FAULTS[fault]
    change(desk)
    before = snapshot(desk)
    line = refused(run(*PLAN, "--out", "plan.gpx"))
    assert words in line
    assert "brisvik/" in line
    assert snapshot(desk) == before


OPTION_FAULTS = {
    "missing-marks": (("plan", "nowhere.gpx", *SAIL), "nowhere.gpx: no such file"),
    "marks-a-folder": (("plan", "brisvik", *SAIL), "is a folder"),
    "no-marks-named": (("plan", *SAIL), "MARKS.gpx"),
    "no-boat": (("plan", "marks.gpx", "--wind", "315/10"), "--boat"),
    "missing-boat": (("plan", "marks.gpx", "--boat", "no.toml", "--wind", "1/1"), "no.toml"),
    "no-wind": (("plan", "marks.gpx", *BOAT), "--wind"),
    "wind-abc": ((*PLAN, "--wind", "abc"), "wind must be written FROM/KNOTS"),
    "wind-400": ((*PLAN, "--wind", "400/10"), "400 is not 0 to 360"),
    "wind-negative": ((*PLAN, "--wind", "315/-1"), "-1 is not 0 to"),
    "wind-nan": ((*PLAN, "--wind", "315/nan"), "nan"),
    "wind-from-nan": ((*PLAN, "--wind", "nan/10"), "nan"),
    "wind-infinite": ((*PLAN, "--wind", "315/inf"), "inf"),
    "wind-one-number": ((*PLAN, "--wind", "315"), "FROM/KNOTS"),
    "current-abc": ((*PLAN, "--current", "abc"), "current must be written SET/KNOTS"),
    "current-nan": ((*PLAN, "--current", "90/nan"), "nan"),
    "depart-words": ((*PLAN, "--depart", "tomorrow"), "ISO 8601"),
    "depart-no-zone": ((*PLAN, "--depart", "2027-06-01T06:00"), "needs a zone"),
    "depart-no-day": ((*PLAN, "--depart", "2027-02-30T06:00Z"), "ISO 8601"),
    "depart-year-1": ((*PLAN, "--depart", "0001-01-01T00:00+14:00"), "1900"),
    "depart-year-9999": ((*PLAN, "--depart", "9999-12-31T23:00Z"), "2200"),
    "unknown-option": ((*PLAN, "--windward"), "--windward"),
    "unknown-command": (("sail",), "sail"),
    "unknown-first": ((*PLAN, "--first", "leeward"), "--first"),
    "unknown-source": ((*PLAN, "--from", "buoys"), "--from"),
    "unknown-route": ((*PLAN, "--route", "Skagerrak"), 'no route named "Skagerrak"; it has'),
    "route-of-a-track": ((*PLAN, "--route", "x", "--from", "track"), "source route"),
    "no-such-track": ((*PLAN, "--from", "track"), "no track"),
    "margin-nan": ((*PLAN, "--margin", "nan"), "margin"),
    "margin-negative": ((*PLAN, "--margin", "-3"), "margin"),
    "corridor-zero": ((*PLAN, "--corridor", "0"), "corridor"),
    "corridor-words": ((*PLAN, "--corridor", "wide"), "--corridor"),
    "corridor-hairline": ((*PLAN, "--corridor", "0.001"), "under a minute"),
    "performance-nan": ((*PLAN, "--performance", "nan"), "performance"),
    "performance-zero": ((*PLAN, "--performance", "0"), "performance"),
    "unknown-sails": ((*PLAN, "--start-with", "spinnaker"), 'no sail set "spinnaker"'),
    "unknown-tack": ((*PLAN, "--start-tack", "lee"), "--start-tack"),
    "out-nowhere": ((*PLAN, "--out", "no/such/plan.gpx"), "no such folder"),
    "out-a-folder": ((*PLAN, "--out", "brisvik"), "is a folder"),
    "out-refused-by-the-system": ((*PLAN, "--out", "/proc/plan.gpx"), "/proc/plan.gpx"),
    "out-the-marks": ((*PLAN, "--out", "marks.gpx"), "is an input"),
    "out-the-marks-otherwise": ((*PLAN, "--out", "brisvik/../marks.gpx"), "is an input"),
    "out-the-boat": ((*PLAN, "--out", "brisvik/boat.toml"), "is an input"),
    "out-a-table": ((*PLAN, "--out", "brisvik/main-alone.csv"), "is an input"),
    "picture-the-boat": ((*PLAN, "--picture", "brisvik/boat.toml"), "is an input"),
    "picture-bmp": ((*PLAN, "--picture", "plan.bmp"), ".png, .svg, .pdf"),
    "picture-no-ending": ((*PLAN, "--picture", "plan"), ".png, .svg, .pdf"),
    "picture-nowhere": ((*PLAN, "--picture", "no/plan.png"), "no such folder"),
    "picture-over-out": ((*PLAN, "--picture", "./other.gpx", "--out", "other.gpx"), "same name"),
}  # fmt: skip


@pytest.mark.parametrize("fault", OPTION_FAULTS)
def test_options_that_make_no_sense_are_refused(run, desk, fault):
    arguments, words = OPTION_FAULTS[fault]
    extra = () if "--out" in arguments or fault == "unknown-command" else ("--out", "plan.gpx")
    before = snapshot(desk)
    assert words in refused(run(*arguments, *extra))
    assert snapshot(desk) == before


def test_a_link_to_the_marks_is_no_way_round(run, desk):
    (desk / "link.gpx").symlink_to("marks.gpx")
    os.link(desk / "marks.gpx", desk / "hard.gpx")
    before = snapshot(desk)
    for name in ("link.gpx", "hard.gpx"):
        assert "is an input" in refused(run(*PLAN, "--out", name))
    assert snapshot(desk) == before


def test_what_stood_in_the_place_of_the_output_stays_until_the_plan_is_whole(run, desk):
    (desk / "plan.gpx").write_text("an older plan")
    before = snapshot(desk)
    refused(run(*PLAN, "--wind", "315/60", "--out", "plan.gpx"), code=3)
    assert snapshot(desk) == before
    assert run(*PLAN, "--out", "plan.gpx").code == 0
    assert (desk / "plan.gpx").read_text().startswith("<?xml")
    assert snapshot(desk).keys() == before.keys()


# ---- no plan ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "words"),
    [
        pytest.param(("--wind", "315/60"), "no sail set may be carried in 60", id="gale"),
        pytest.param(("--wind", "0/0"), "makes no way", id="calm"),
        pytest.param(("--wind", "315/0.0000001"), "makes no way", id="next-to-calm"),
        pytest.param(("--current", "134/12"), "carries her off", id="stream"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(run, desk, options, words):
    before = snapshot(desk)
    assert words in refused(run(*PLAN, *options, "--out", "plan.gpx"), code=3)
    assert snapshot(desk) == before


def test_equal_marks_in_a_row_are_dropped_and_said(run, desk):
    (desk / "twice.gpx").write_bytes(gpx((57, 11), (57.000004, 11), (57.2, 11)))
    ran = run("plan", "twice.gpx", *SAIL, "--json")
    assert (ran.code, ran.err) == (0, "")
    made = json.loads(ran.out)
    assert len(made["legs"]) == 1
    assert any("dropped" in notice for notice in made["notices"])
    shown = " ".join(run("plan", "twice.gpx", *SAIL).out.split())
    assert "Note: P dropped: it is in the same place as P." in shown


# ---- as a process ----------------------------------------------------------------------------

PROGRAM = (sys.executable, "-c", "from goosewing_cli.main import run; run()")


def process(*arguments, **options):
    return subprocess.run(
        [*PROGRAM, *arguments], capture_output=True, text=True, check=False, timeout=60, **options
    )


def test_as_a_process_it_leaves_with_the_code_and_speaks_on_the_right_channel(desk):
    done = process(*PLAN, "--json", cwd=desk)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["boat"] == "Brisvik"
    bad = process(*PLAN, "--wind", "abc", cwd=desk)
    assert (bad.returncode, bad.stdout, bad.stderr.count("\n")) == (2, "", 1)
    none = process(*PLAN, "--wind", "315/60", cwd=desk)
    assert (none.returncode, none.stdout, none.stderr.count("\n")) == (3, "", 1)


def test_help_names_the_commands_and_what_it_is_not_for():
    done = process("--help")
    assert (done.returncode, done.stderr) == (0, "")
    assert {"plan", "demo"} <= set(done.stdout.split())
    assert "Not for sole navigation" in " ".join(done.stdout.split())
    assert process().stdout == done.stdout


SLOW_READER = """
import time
from pathlib import Path
from goosewing.exchange.gpx import marks
from goosewing_cli.main import run

def slow(*_, **__):
    Path("reading").touch()
    time.sleep(60)

marks.read_marks = slow
run()
"""


def interrupted_while_reading(desk):
    """Start a plan whose marks take a minute to read, and interrupt it there."""
    started = subprocess.Popen(
        [sys.executable, "-c", SLOW_READER, *PLAN, "--out", "plan.gpx"],
        cwd=desk, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        for _ in range(600):
            if (desk / "reading").exists():
                break
            time.sleep(0.1)
        started.send_signal(signal.SIGINT)
        out, err = started.communicate(timeout=30)
    finally:
        started.kill()
    return started.returncode, out, err


def test_interrupted_it_says_so_and_leaves_nothing(desk):
    before = snapshot(desk)
    (desk / "plan.gpx").write_text("an older plan")
    code, out, err = interrupted_while_reading(desk)
    assert (code, out, err) == (130, "", "goosewing: interrupted\n")
    (desk / "reading").unlink()
    assert (desk / "plan.gpx").read_text() == "an older plan"
    (desk / "plan.gpx").unlink()
    assert snapshot(desk) == before


@pytest.mark.parametrize("extra", [(), ("--json",)], ids=["table", "json"])
def test_whoever_has_seen_enough_of_the_output_may_leave(desk, extra):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*PROGRAM, *PLAN, *extra], cwd=desk, stdout=writing, stderr=subprocess.PIPE, text=True,
        check=False, timeout=60,
    )  # fmt: skip
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_the_first_line_alone_can_be_had(desk):
    line = " ".join([*(f"'{word}'" for word in (*PROGRAM, *PLAN)), "| head -n 1"])
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", line], cwd=desk, capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith(
        "Brisvik: Start – Anholt E – South mark – Finish, 2027-06-12 0500Z"
    )
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


FULL = Path("/dev/full")


@pytest.mark.skipif(not FULL.exists(), reason="no full device here")
@pytest.mark.parametrize("extra", [(), ("--json",)], ids=["table", "json"])
def test_a_full_disk_is_one_line(desk, extra):
    with FULL.open("w") as full:
        done = subprocess.run(
            [*PROGRAM, *PLAN, *extra], cwd=desk, stdout=full, stderr=subprocess.PIPE, text=True,
            check=False, timeout=60,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "goosewing: the output can't be printed: No space left on device\n"


def test_without_a_departure_it_leaves_now(run):
    before = datetime.now(UTC).replace(microsecond=0)
    made = json.loads(run("plan", "marks.gpx", *BOAT, "--wind", "315/10", "--json").out)
    assert before <= instant(made["departure"]) <= datetime.now(UTC)


# ---- What a plan was made for ------------------------------------------------------------------


def test_every_output_says_for_which_wind_and_stream_it_was_made(run, desk):
    words = "Wind from 315° 10 kn, stream sets 045° 1.0 kn, held steady."
    ran = run(*PLAN, "--current", "045/1", "--out", "plan.gpx")
    assert ran.out.splitlines()[1] == words
    assert json.loads(run(*PLAN, "--current", "045/1", "--json").out)["conditions"] == words
    root = ElementTree.parse(desk / "plan.gpx").getroot()
    (element,) = root.iter(f"{GOOSE}plan")
    assert element.get("conditions") == words
    assert gpxpy.parse((desk / "plan.gpx").read_text()).description.startswith(words)


# ---- The printed table -------------------------------------------------------------------------


def test_the_table_tells_where_the_date_changes(run):
    late = ("plan", "marks.gpx", *BOAT, "--wind", "315/10", "--depart", "2027-06-12T22:30Z")
    lines = run(*late).out.splitlines()
    (at,) = (number for number, line in enumerate(lines) if line.strip() == "2027-06-13 UTC")
    rows = [line for line in lines[:at] if not line.startswith(" ")]
    assert rows[-1].startswith("2230Z")
    assert lines[at + 1].startswith("01")
    local = [line.strip() for line in run(*late, "--zone", "Europe/Stockholm").out.splitlines()]
    # Stockholm keeps UTC+2 in June: her own date is ahead from the first row on.
    assert local.index("2027-06-13 local") < local.index("2027-06-13 UTC")
    assert local[local.index("2027-06-13 local") + 1].startswith("2230Z  00:30")


def test_no_line_of_the_table_ends_in_blanks_or_parts_a_number_from_its_unit(run):
    table = run(*PLAN, "--leave", "Anholt E=port:0.2", "--zone", "Europe/Stockholm").out
    assert [line for line in table.splitlines() if line != line.rstrip()] == []
    assert "\ue000" not in table
    assert re.search(r"\(\d+ (s|min)\)", table)
    assert "0.2 nm off" in table
    assert not re.search(r"\d\n +(kn|nm|h|min|s)\b", table)
    assert not re.search(r"\(\d+$", table, re.MULTILINE)


def test_minutes_saved_by_leg_add_up_to_the_total(run):
    from goosewing_cli.show import whole_minutes

    assert whole_minutes([51.6, 21.6], 73.2) == [52, 21]
    assert whole_minutes([-0.6, -0.6, 1.2], 0.0) == [0, -1, 1]
    for wind in ("315/10", "330/12", "300/8"):
        words = run("plan", "marks.gpx", *BOAT, "--wind", wind, "--depart", "2027-06-12T05:00Z").out
        total = re.search(r"Saves (\d+) min", words)
        said = " ".join(words.split())
        saved = re.search(r"Saved: (.*?)\.", said)
        lost = re.search(r"Lost: (.*?)\.", said)
        if total and saved:
            sums = [sum(map(int, re.findall(r"(\d+) min", m[1]))) for m in (saved, lost) if m]
            assert sums[0] - sum(sums[1:]) == int(total[1])


def test_slower_than_straight_is_said_with_its_reason(run):
    from goosewing.exchange.document import parse_plan
    from goosewing_cli.show import summary

    made = parse_plan(run(*PLAN, "--json").out.encode())
    costs_min = sum(m.cost_s for leg in made.legs for m in leg.manoeuvres) / 60
    assert costs_min > 4
    lines = summary(replace(made, saved_min=-1.2))
    assert lines[1] == "1 min slower than the straight course: the cost of its manoeuvres."
    lines = summary(replace(made, saved_min=-costs_min - 5.0))
    assert lines[1].endswith("the cost of its manoeuvres and of what else was asked for.")


def test_drawings_say_nothing_on_stderr(run):
    pytest.importorskip("jinja2")
    done = run(*PLAN, "--coast", "--picture", "p.png", "--sheet", "s.html")
    assert (done.code, done.err) == (0, "")
