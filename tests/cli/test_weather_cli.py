"""Files of wind and stream on the command line: planned in, refused, held on, looked into."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.weather._eccodes import load
from marks_by_hand import marks_gpx

START = (56.60, 12.00)
SAMPLES = Path(__file__).parents[2] / "sample_routes"
BOAT = ("--boat", "brisvik/boat.toml")
DEPART = ("--depart", "2027-06-12T05:00Z")
PLAN = ("plan", "marks.gpx", *BOAT, *DEPART)
GOOSE = "{urn:goosewing:gpx:1}"
KNOTS_PER_MS = 3600.0 / 1852.0
ONE_PART_IN_A_THOUSAND = 1e-3


def mark_towards(bearing_deg, nm):
    there = Geodesic.WGS84.Direct(*START, bearing_deg, nm * 1852.0)
    return there["lat2"], there["lon2"]


@pytest.fixture(autouse=True)
def own_marks(desk):
    """A short leg to the south-east, unless a test wants another."""
    (desk / "marks.gpx").write_text(marks_gpx(START, mark_towards(135.0, 6.0)), encoding="utf-8")


def refused(ran, code):
    assert ran.code == code, ran.err
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    assert line.startswith("goosewing: ")
    assert "Traceback" not in line
    return line


def planned(ran):
    assert ran.code == 0, ran.err
    assert ran.err == ""
    return json.loads(ran.out)


def boards_of(document):
    return [board for leg in document["legs"] for board in leg["boards"]]


def csv(*rows, header="time,wind_from_deg,wind_kn"):
    return "\n".join((header, *rows)) + "\n"


def steady_rows(rest, first="2027-06-12T03:00Z", last="2027-06-12T20:00Z"):
    return (f"{first},{rest}", f"{last},{rest}")


WIND_10M = {
    "typeOfFirstFixedSurface": 103, "scaleFactorOfFirstFixedSurface": 0,
    "scaledValueOfFirstFixedSurface": 10,
}  # fmt: skip
NORTH, SOUTH, WEST, EAST = 57.5, 55.5, 10.0, 14.0
GRID = {
    "Ni": 9, "Nj": 5,
    "latitudeOfFirstGridPointInDegrees": NORTH, "latitudeOfLastGridPointInDegrees": SOUTH,
    "longitudeOfFirstGridPointInDegrees": WEST, "longitudeOfLastGridPointInDegrees": EAST,
    "iDirectionIncrementInDegrees": 0.5, "jDirectionIncrementInDegrees": 0.5,
}  # fmt: skip
EASTWARD, NORTHWARD, TEMPERATURE = (2, 2), (2, 3), (0, 0)
"""Categories and numbers of discipline 0 (WMO code table 4.2)."""


def message(what, value, hour=0, keys=None):
    """One GRIB 2 message from a run at 0300Z with the same value everywhere, in m/s."""
    eccodes = load()
    handle = eccodes.codes_grib_new_from_samples("GRIB2")
    category, number = what
    wanted = {"dataDate": 20270612, "dataTime": 300, **GRID, **WIND_10M}
    wanted |= {"parameterCategory": category, "parameterNumber": number}
    for key, each in (wanted | {"bitsPerValue": 24, "endStep": hour} | (keys or {})).items():
        eccodes.codes_set(handle, key, each)
    eccodes.codes_set_values(handle, np.full(GRID["Ni"] * GRID["Nj"], value))
    made = eccodes.codes_get_message(handle)
    eccodes.codes_release(handle)
    return made


def steady_grib(from_deg, kn, hours=range(0, 37, 6)):
    east, north = (-kn / KNOTS_PER_MS * part(np.radians(from_deg)) for part in (np.sin, np.cos))
    return b"".join(
        message(what, value, hour)
        for hour in hours
        for what, value in ((EASTWARD, east), (NORTHWARD, north))
    )


# ---- a steady field is a steady wind -----------------------------------------------------------


@pytest.mark.parametrize(
    "bearing",
    [pytest.param(40.0, id="reach"), pytest.param(310.0, id="beat"),
     pytest.param(150.0, id="close-to-dead-downwind"), pytest.param(137.0, id="run")],
)  # fmt: skip
def test_a_steady_field_in_a_grib_equals_the_wind_as_text(run, desk, bearing):
    (desk / "marks.gpx").write_text(marks_gpx(START, mark_towards(bearing, 12.0)))
    (desk / "wind.grib2").write_bytes(steady_grib(315.0, 10.0))
    text = planned(run(*PLAN, "--wind", "315/10", "--json"))
    field = planned(run(*PLAN, "--wind", "wind.grib2", "--json"))
    assert field["elapsed_h"] == pytest.approx(text["elapsed_h"], rel=ONE_PART_IN_A_THOUSAND)
    assert field["log_nm"] == pytest.approx(text["log_nm"], rel=5e-3)
    assert len(boards_of(field)) == len(boards_of(text))


STREAM_TOML = """
springs_range_m = 2.0
neaps_range_m = 1.0
[[high_water]]
time = 2027-06-12T00:00:00Z
range_m = 2.0
[[high_water]]
time = 2027-06-12T12:00:00Z
range_m = 2.0
[[stream]]
hours = [{rows}]
""".format(rows=", ".join(f"[{hour}, 45, 1.5, 0.7]" for hour in range(-6, 7)))


@pytest.mark.long
@pytest.mark.parametrize(
    ("wind", "current"),
    [
        pytest.param("315/10", "stream.toml", id="steady-and-file"),
        pytest.param("wind.csv", "045/1.5", id="file-and-steady"),
        pytest.param("wind.csv", "stream.toml", id="two-files"),
        pytest.param("both.csv", None, id="one-file-with-both"),
        pytest.param("other.csv", "045/1.5", id="the-option-takes-the-place-of-the-file's"),
    ],
)
def test_wind_and_stream_come_from_wherever_they_are_known(run, desk, wind, current):
    (desk / "wind.csv").write_text(csv(*steady_rows("315,10")))
    header = "time,wind_from_deg,wind_kn,set_deg,drift_kn"
    (desk / "both.csv").write_text(csv(*steady_rows("315,10,45,1.5"), header=header))
    (desk / "other.csv").write_text(csv(*steady_rows("315,10,200,0.9"), header=header))
    (desk / "stream.toml").write_text(STREAM_TOML)
    text = planned(run(*PLAN, "--wind", "315/10", "--current", "045/1.5", "--json"))
    more = () if current is None else ("--current", current)
    # Steady plans know no shortest board.
    words = ("--wind", wind, *more, "--shortest-board", "0", "--no-alternatives", "--json")
    mixed = planned(run(*PLAN, *words))
    assert mixed["elapsed_h"] == pytest.approx(text["elapsed_h"], rel=ONE_PART_IN_A_THOUSAND)


# ---- bad input ---------------------------------------------------------------------------------


def netcdf(path, units="m s-1", value=5.0, hours=(0, 6)):
    xarray = pytest.importorskip("xarray")
    lat, lon = np.linspace(SOUTH, NORTH, 5), np.linspace(WEST, EAST, 9)
    shape = (len(hours), lat.size, lon.size)
    coords = {
        "time": ("time", list(hours), {"units": "hours since 2027-06-12T03:00:00Z",
                                       "standard_name": "time"}),
        "lat": ("lat", lat, {"units": "degrees_north", "standard_name": "latitude"}),
        "lon": ("lon", lon, {"units": "degrees_east", "standard_name": "longitude"}),
    }  # fmt: skip
    data = {
        name: (("time", "lat", "lon"), np.full(shape, value),
               {"units": units, "standard_name": f"{name}_wind"})
        for name in ("eastward", "northward")
    }  # fmt: skip
    xarray.Dataset(data, coords).to_netcdf(path, engine="h5netcdf")


def write_bad(desk, kind):
    """One file with one thing wrong; returns its name."""
    whole = steady_grib(315.0, 10.0)
    made = {
        "cut.grib2": whole[: len(whole) // 2 + 7],
        "temperature.grib2": message(TEMPERATURE, 290.0),
        "one-component.grib2": message(EASTWARD, 5.0) + message(EASTWARD, 5.0, 6),
        "nan.grib2": b"".join(
            message(what, 9999.0, keys={"bitmapPresent": 1, "missingValue": 9999.0})
            for what in (EASTWARD, NORTHWARD)
        ),
        "no-zone.csv": csv("2027-06-12T03:00,315,10", "2027-06-12T15:00,315,10").encode(),
        "backwards.csv": csv(*reversed(steady_rows("315,10"))).encode(),
        "twice.csv": csv(*steady_rows("315,10", last="2027-06-12T03:00Z")).encode(),
        "hurricane.csv": csv(*steady_rows("315,1000")).encode(),
        "nan.csv": csv(*steady_rows("315,nan")).encode(),
        "ragged.csv": csv("2027-06-12T03:00Z,315").encode(),
        "empty.csv": b"",
        "noise.bin": bytes(range(256)) * 8,
        "stream.toml": STREAM_TOML.encode(),
        "bad.toml": b"[[high_water]\n",
    }
    if kind.endswith(".nc"):
        more = {"furlongs.nc": {"units": "furlong/fortnight"}, "nan.nc": {"value": np.nan},
                "backwards.nc": {"hours": (6, 0)}}[kind]  # fmt: skip
        netcdf(desk / kind, **more)
    else:
        (desk / kind).write_bytes(made[kind])
    return kind


BAD = {
    "cut.grib2": "damaged or cut short",
    "temperature.grib2": "neither wind",
    "one-component.grib2": "component",
    "nan.grib2": "missing",
    "no-zone.csv": "has no zone",
    "backwards.csv": "times must increase",
    "twice.csv": "times must increase",
    "hurricane.csv": "wind_kn",
    "nan.csv": "wind_kn",
    "ragged.csv": "expected 3 cells",
    "empty.csv": "is empty",
    "noise.bin": "not GRIB, NetCDF, CSV or TOML",
    "stream.toml": "holds no wind, only a stream",
    "bad.toml": "TOML",
    "furlongs.nc": "furlong",
    "nan.nc": "missing",
    "backwards.nc": "times must increase",
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_is_one_line_that_names_it_and_nothing_is_written(run, desk, kind):
    name = write_bad(desk, kind)
    before = {path: path.stat().st_mtime_ns for path in desk.rglob("*")}
    ran = run(*PLAN, "--wind", name, "--out", "out.gpx", "--picture", "out.png", "--json")
    line = refused(ran, 2)
    assert name in line
    assert BAD[kind] in line
    assert {path: path.stat().st_mtime_ns for path in desk.rglob("*")} == before


def test_wind_only_as_a_stream_is_refused(run, desk):
    (desk / "wind.csv").write_text(csv(*steady_rows("315,10")))
    line = refused(run(*PLAN, "--wind", "315/10", "--current", "wind.csv"), 2)
    assert "wind.csv: holds no stream, only wind" in line


@pytest.mark.parametrize("option", ["--wind", "--current"])
@pytest.mark.parametrize("text", ["nowhere.grib2", "315", "x" * 5000, "a\x00b", ""])
def test_neither_value_nor_file_says_both_forms(run, option, text):
    line = refused(run(*PLAN, "--wind", "315/10", option, text), 2)
    assert "/KNOTS" in line
    assert "no weather file of that name" in line


def test_a_folder_is_no_forecast(run):
    assert "brisvik: is a folder" in refused(run(*PLAN, "--wind", "brisvik"), 2)


def test_a_forecast_is_never_overwritten(run, desk):
    (desk / "wind.csv").write_text(csv(*steady_rows("315,10")))
    line = refused(run(*PLAN, "--wind", "wind.csv", "--out", "wind.csv"), 2)
    assert "wind.csv" in line
    assert (desk / "wind.csv").read_text() == csv(*steady_rows("315,10"))


@pytest.mark.parametrize("minutes", ["-1", "nan", "2000"])
def test_absurd_shortest_boards_are_refused(run, minutes):
    ran = run(*PLAN, "--wind", "315/10", "--shortest-board", minutes)
    assert "shortest board must be 0 to 1440" in refused(ran, 2)


# ---- outside the forecast ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "last", "words", "helps"),
    [
        pytest.param("05:30", "20:00", "covers 2027-06-12 0530Z", False, id="starts-after"),
        pytest.param("02:00", "04:00", "to 2027-06-12 0400Z", True, id="ended-before"),
        pytest.param("04:00", "05:40", "before the forecast ends", True, id="ends-on-the-way"),
    ],
)
@pytest.mark.parametrize("command", ["plan", "laylines"])
def test_a_forecast_too_short_is_no_plan(run, desk, command, first, last, words, helps):
    rows = steady_rows("315,10", f"2027-06-12T{first}Z", f"2027-06-12T{last}Z")
    (desk / "wind.csv").write_text(csv(*rows))
    ran = run(command, *PLAN[1:], "--wind", "wind.csv", "--out", "out.gpx")
    line = refused(ran, 3)
    assert words in line
    assert ("--hold-last" in line) == helps
    assert not (desk / "out.gpx").exists()


@pytest.mark.long
def test_a_single_time_covers_but_that_time(run, desk):
    (desk / "wind.csv").write_text(csv("2027-06-12T05:00Z,315,10"))
    assert "--hold-last" in refused(run(*PLAN, "--wind", "wind.csv"), 3)
    held = planned(run(*PLAN, "--wind", "wind.csv", "--hold-last", "--json"))
    text = planned(run(*PLAN, "--wind", "315/10", "--json"))
    assert held["elapsed_h"] == pytest.approx(text["elapsed_h"], rel=ONE_PART_IN_A_THOUSAND)


def test_a_mark_outside_the_area_is_named_and_no_option_is_offered(run, desk):
    (desk / "marks.gpx").write_text(marks_gpx(START, (58.0, 12.0)))
    (desk / "wind.grib2").write_bytes(steady_grib(315.0, 10.0))
    line = refused(run(*PLAN, "--wind", "wind.grib2"), 3)
    assert "knows no wind at M1" in line
    assert "--hold-last" not in line


def test_a_mark_without_a_stream_is_named(run, desk):
    placed = STREAM_TOML.replace("[[stream]]", "[[stream]]\nlat = 50.0\nlon = 0.0")
    (desk / "stream.toml").write_text(placed)
    line = refused(run(*PLAN, "--wind", "315/10", "--current", "stream.toml"), 3)
    assert "knows no stream at M0" in line


def test_wind_and_stream_of_different_days_are_refused(run, desk):
    (desk / "stream.toml").write_text(STREAM_TOML.replace("2027-06-12", "2027-07-12"))
    (desk / "wind.csv").write_text(csv(*steady_rows("315,10")))
    line = refused(run(*PLAN, "--wind", "wind.csv", "--current", "stream.toml"), 2)
    assert "no time in common" in line


@pytest.mark.long
def test_held_boards_are_marked_everywhere(run, desk):
    (desk / "marks.gpx").write_text(
        marks_gpx(START, mark_towards(135.0, 4.0), mark_towards(100.0, 9.0))
    )
    (desk / "wind.csv").write_text(csv(*steady_rows("315,10", last="2027-06-12T06:10Z")))
    ran = run(*PLAN, "--wind", "wind.csv", "--hold-last", "--json", "--out", "out.gpx")
    document = planned(ran)
    end = "2027-06-12T06:10:00Z"
    marked = [board["beyond_forecast"] for board in boards_of(document)]
    assert marked == [board["end"]["time"] > end for board in boards_of(document)]
    assert set(marked) == {True, False}
    assert any("forecast ends on the way" in notice for notice in document["notices"])
    root = ElementTree.parse(desk / "out.gpx").getroot()
    in_gpx = [board.get("beyond_forecast") for board in root.iter(f"{GOOSE}board")]
    assert in_gpx == ["true" if each else "false" for each in marked]
    shown = run(*PLAN, "--wind", "wind.csv", "--hold-last").out
    assert shown.count("beyond the forecast") == sum(marked)


# ---- gusts, short boards, and how boards are steered --------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize(("gust", "poled"), [("21", True), ("23", False)])
def test_a_gust_over_the_limit_keeps_the_pole_down(run, desk, gust, poled):
    # The boat file lets wing-and-wing stand to 22 kn.
    header = "time,wind_from_deg,wind_kn,gust_kn"
    (desk / "wind.csv").write_text(csv(*steady_rows(f"315,16,{gust}"), header=header))
    document = planned(run(*PLAN, "--wind", "wind.csv", "--json"))
    assert any(board["poled"] for board in boards_of(document)) == poled


@pytest.mark.long
def test_no_board_is_shorter_than_was_asked(run, desk):
    # Nearly laid: one long board and a short one.
    (desk / "marks.gpx").write_text(marks_gpx(START, mark_towards(278.0, 10.0)))
    rows = ("2027-06-12T03:00Z,312,10", "2027-06-12T12:00Z,318,10")
    (desk / "wind.csv").write_text(csv(*rows))
    options = (*PLAN, "--wind", "wind.csv", "--json", "--shortest-board")
    free, asked = (boards_of(planned(run(*options, minutes))) for minutes in ("0", "35"))
    assert min(board["elapsed_h"] * 60.0 for board in free) < 30.0
    assert all(board["elapsed_h"] * 60.0 > 35.0 - 1e-3 for board in asked)


@pytest.mark.long
def test_the_table_says_which_angle_is_kept(run, desk):
    (desk / "marks.gpx").write_text(marks_gpx(START, mark_towards(300.0, 10.0)))
    rows = ("2027-06-12T03:00Z,300,10", "2027-06-12T09:00Z,330,10")
    (desk / "wind.csv").write_text(csv(*rows))
    document = planned(run(*PLAN, "--wind", "wind.csv", "--json"))
    by_angle = [board for board in boards_of(document) if board["steer"] == "angle"]
    assert by_angle
    for board in by_angle:
        twa = [point["twa_deg"] for point in board["points"]]
        assert max(twa) - min(twa) < 1e-6
    shown = run(*PLAN, "--wind", "wind.csv").out
    assert shown.count("keep the true wind at") == len(by_angle)
    assert max(map(len, shown.splitlines())) <= 80


# ---- laylines ----------------------------------------------------------------------------------


def wind_from_deg(rows, time):
    """Direction of a wind whose components change linearly with time."""
    (first, from1, kn1), (last, from2, kn2) = rows
    share = (time - first) / (last - first)
    one, two = (kn * np.exp(1j * np.radians(each)) for each, kn in ((from1, kn1), (from2, kn2)))
    return np.degrees(np.angle((1.0 - share) * one + share * two)) % 360.0


def test_laylines_curve_back_from_the_mark_at_the_time_of_arrival(run, desk):
    (desk / "marks.gpx").write_text(marks_gpx(START, mark_towards(315.0, 10.0)))
    first, last = (datetime(2027, 6, 12, hour, tzinfo=UTC) for hour in (0, 12))
    (desk / "wind.csv").write_text(csv("2027-06-12T00:00Z,300,10", "2027-06-12T12:00Z,340,10"))
    plan = planned(run(*PLAN, "--wind", "wind.csv", "--json"))
    lines = planned(run("laylines", *PLAN[1:], "--wind", "wind.csv", "--json"))["laylines"]
    assert {line["tack"] for line in lines} == {"port", "starboard"}
    second = timedelta(seconds=1)  # times are written to the second
    for line in lines:
        points = line["points"]
        times = [datetime.fromisoformat(point["time"]) for point in points]
        assert abs(times[-1] - datetime.fromisoformat(plan["arrival"])) <= second
        assert times == sorted(times)
        lengths, angles = [], []
        for (a, b), (start, end) in zip(pairwise(points), pairwise(times), strict=True):
            leg = Geodesic.WGS84.Inverse(a["lat"], a["lon"], b["lat"], b["lon"])
            middle = start + (end - start) / 2
            course = leg["azi1"] + (leg["azi2"] - leg["azi1"]) / 2.0
            wind = wind_from_deg(((first, 300.0, 10.0), (last, 340.0, 10.0)), middle)
            lengths.append(leg["s12"] / 1852.0)
            angles.append(abs((course - wind + 180.0) % 360.0 - 180.0))
        # The angle between track and wind is kept to what a fall of the wind's speed between
        # the two rows changes in leeway.
        assert np.ptp(angles) < 0.1
        assert sum(lengths) == pytest.approx(10.0, abs=0.01)
        far, mark = points[0], points[-1]
        chord = Geodesic.WGS84.Inverse(far["lat"], far["lon"], mark["lat"], mark["lon"])["azi1"]
        assert abs((chord - line["course_over_ground_deg"] + 180.0) % 360.0 - 180.0) > 1.0


@pytest.mark.parametrize("margin", ["0", "5"])
def test_in_a_steady_field_the_curved_laylines_are_the_straight_ones(run, desk, margin):
    (desk / "wind.grib2").write_bytes(steady_grib(300.0, 10.0))
    options = ("laylines", *PLAN[1:], "--current", "045/1", "--margin", margin, "--json")
    curved = planned(run(*options, "--wind", "wind.grib2"))["laylines"]
    straight = planned(run(*options, "--wind", "300/10"))["laylines"]
    assert len(curved) == len(straight) > 2
    for one, other in zip(curved, straight, strict=True):
        assert (one["tack"], one["sail_set"]) == (other["tack"], other["sail_set"])
        assert one["course_over_ground_deg"] == pytest.approx(
            other["course_over_ground_deg"], abs=0.05
        )
        for a, b in ((one["points"][i], other["points"][i]) for i in (0, -1)):
            gap = Geodesic.WGS84.Inverse(a["lat"], a["lon"], b["lat"], b["lon"])["s12"]
            assert gap < 20.0  # metres over 6 nm


def test_laylines_in_changing_wind_are_printed_with_times_and_written(run, desk):
    (desk / "wind.csv").write_text(csv("2027-06-12T00:00Z,300,10", "2027-06-12T12:00Z,340,10"))
    ran = run("laylines", *PLAN[1:], "--wind", "wind.csv", "--out", "lines.gpx")
    assert ran.code == 0, ran.err
    assert "mark 06" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80
    root = ElementTree.parse(desk / "lines.gpx").getroot()
    tag = "{http://www.topografix.com/GPX/1/1}"
    assert root.findall(f"{tag}trk/{tag}trkseg/{tag}trkpt/{tag}time")


# ---- goosewing weather -------------------------------------------------------------------------


def test_weather_tells_what_a_table_holds_and_says(run, desk):
    header = "time,wind_from_deg,wind_kn,gust_kn,set_deg,drift_kn,lat,lon"
    rows = [
        f"2027-06-12T{hour:02d}:00Z,{from_deg},10,14,90,1.5,{lat},{lon}"
        for hour, from_deg in ((3, 300), (6, 320))
        for lat in (56.0, 57.0)
        for lon in (11.0, 13.0)
    ]
    (desk / "wind.csv").write_text(csv(*rows, header=header))
    at = ("--at", "56.5,12", "--time", "2027-06-12T08:00+02:00")
    document = planned(run("weather", "wind.csv", *at, "--json"))
    assert document["format"] == "goosewing.weather/1"
    assert (document["kind"], document["times"], document["members"]) == ("table", 2, 1)
    assert (document["wind"], document["gust"], document["stream"]) == (True, True, True)
    assert document["coverage"] == {
        "start": "2027-06-12T03:00:00Z", "end": "2027-06-12T06:00:00Z",
        "lat_south": 56.0, "lat_north": 57.0, "lon_west": 11.0, "lon_east": 13.0,
    }  # fmt: skip
    here = document["at"]
    assert here["wind_from_deg"] == pytest.approx(320.0)
    assert here["wind_kn"] == pytest.approx(10.0)
    assert here["gust_kn"] == pytest.approx(14.0)
    assert (here["set_deg"], here["drift_kn"]) == pytest.approx((90.0, 1.5))
    shown = run("weather", "wind.csv", *at).out
    assert "wind, gust and stream" in shown
    assert "from 320°, 10.0 kn, gusts 14.0 kn" in shown
    assert "sets 090°, 1.5 kn" in shown


def test_weather_without_a_place_or_a_field_is_null(run, desk):
    (desk / "wind.csv").write_text(csv(*steady_rows("315,0")))
    assert planned(run("weather", "wind.csv", "--json"))["at"] is None
    at = ("--at", "56.5,12", "--time", "2027-06-12T05:00Z", "--json")
    here = planned(run("weather", "wind.csv", *at))["at"]
    assert (here["set_deg"], here["drift_kn"], here["gust_kn"]) == (None, None, None)
    assert (here["wind_from_deg"], here["wind_kn"]) == (0.0, 0.0)
    (desk / "stream.toml").write_text(STREAM_TOML)
    here = planned(run("weather", "stream.toml", *at))["at"]
    assert (here["wind_from_deg"], here["wind_kn"]) == (None, None)
    assert (here["set_deg"], here["drift_kn"]) == pytest.approx((45.0, 1.5))


@pytest.mark.parametrize(
    ("more", "code", "words"),
    [
        (("--at", "56,12"), 2, "--time"),
        (("--time", "2027-06-12T05:00Z"), 2, "--at"),
        (("--at", "here", "--time", "2027-06-12T05:00Z"), 2, "expected a position"),
        (("--at", "56,12", "--time", "2027-06-12T05:00"), 2, "zone"),
        (("--at", "56,12", "--time", "2027-06-11T05:00Z"), 3, "time is outside"),
        (("--at", "66,12", "--time", "2027-06-12T05:00Z"), 3, "no values at this position"),
    ],
)
def test_weather_outside_or_unclear_is_refused(run, desk, more, code, words):
    (desk / "wind.grib2").write_bytes(steady_grib(300.0, 10.0))
    assert words in refused(run("weather", "wind.grib2", *more), code)


@pytest.mark.parametrize("kind", [kind for kind in BAD if kind != "stream.toml"])
def test_weather_refuses_the_same_files(run, desk, kind):
    assert BAD[kind] in refused(run("weather", write_bad(desk, kind)), 2)


# ---- progress ----------------------------------------------------------------------------------

SAMPLE = (
    "plan", str(SAMPLES / "kattegat.gpx"), "--boat", str(SAMPLES / "brisvik" / "boat.toml"),
    "--wind", str(SAMPLES / "forecast.grib2"), "--current", str(SAMPLES / "tidal_stream.toml"),
    *DEPART, "--json",
)  # fmt: skip


def on_a_terminal(then=None):
    """Run the sample with stderr on a terminal; send a signal once something shows there."""
    ours, theirs = pty.openpty()
    started = subprocess.Popen(
        [sys.executable, "-c", f"from goosewing_cli.main import run; run({list(SAMPLE)!r})"],
        stdout=subprocess.PIPE, stderr=theirs, env={**os.environ, "TERM": "xterm"},
    )  # fmt: skip
    os.close(theirs)
    said = os.read(ours, 4096)
    if then is not None:
        started.send_signal(then)
    out = started.communicate(timeout=120)[0]
    while True:
        try:
            more = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not more:
            break
        said += more
    os.close(ours)
    return started.returncode, out, said.decode()


@pytest.mark.long
def test_progress_is_on_stderr_and_the_document_alone_on_stdout():
    code, out, said = on_a_terminal()
    assert code == 0, said
    assert json.loads(out)["format"] == "goosewing.plan/1"
    assert "Anholt E" in said


def test_an_interrupted_search_leaves_one_line():
    code, out, said = on_a_terminal(signal.SIGINT)
    assert code == 130, said
    assert out == b""
    assert said.rstrip().endswith("goosewing: interrupted")
    assert "Traceback" not in said


# ---- the sample --------------------------------------------------------------------------------


def test_the_sample_forecast_is_what_its_script_makes():
    from goosewing.weather.base import hours_from_datetime
    from goosewing.weather.read import read_weather
    from make_sample_forecast import ground_wind

    source = read_weather(SAMPLES / "forecast.grib2", wanted="wind")
    start = hours_from_datetime(datetime(2027, 6, 12, 3, tzinfo=UTC))
    for hour, lat, lon in ((0, 55.75, 10.5), (9, 56.75, 12.0), (36, 57.75, 13.25)):
        from_deg, kn = ground_wind(hour, lat, lon)
        here = source.at(start + hour, lat, lon)
        expected = -kn * np.exp(1j * np.radians(from_deg))
        # Twelve bits over a few m/s.
        assert here.wind_north_kn + 1j * here.wind_east_kn == pytest.approx(expected, abs=5e-3)
        assert here.gust_kn == pytest.approx(1.35 * kn, abs=5e-3)


@pytest.mark.long
def test_a_plan_by_files_names_them(run, desk):
    (desk / "wind.csv").write_text(
        "time,wind_from_deg,wind_kn,set_deg,drift_kn\n"
        "2027-06-12T00:00Z,315,10,45,0.5\n2027-06-13T00:00Z,320,11,45,0.5\n",
        encoding="utf-8",
    )
    alone = json.loads(run(*PLAN, "--wind", "wind.csv", "--json").out)
    assert alone["conditions"] == "Wind and stream by wind.csv."
    over = run(*PLAN, "--wind", "wind.csv", "--current", "090/1.5", "--hold-last", "--json")
    assert json.loads(over.out)["conditions"] == (
        "Wind by wind.csv, stream sets 090° 1.5 kn; after its end the last values hold on."
    )
    other = json.loads(run(*PLAN, "--wind", "240/12", "--current", "wind.csv", "--json").out)
    assert other["conditions"] == "Wind from 240° 12 kn, stream by wind.csv."


# ---- what a file says ------------------------------------------------------------------------


def test_a_table_that_holds_everywhere_is_asked_for_a_time_alone(run, desk):
    table = "time,wind_from_deg,wind_kn\n2027-06-12T05:00Z,300,10\n2027-06-12T07:00Z,300,14\n"
    (desk / "table.csv").write_text(table, encoding="utf-8")
    ran = run("weather", "table.csv", "--time", "2027-06-12T06:00Z")
    assert ran.code == 0, ran.err
    assert "Everywhere, 2027-06-12 0600Z" in ran.out
    assert "from 300°, 12.0 kn" in ran.out
    asked = json.loads(run("weather", "table.csv", "--time", "2027-06-12T06:00Z", "--json").out)
    assert asked["at"]["lat"] is None
    assert asked["at"]["wind_kn"] == pytest.approx(12.0)
