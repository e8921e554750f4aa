"""Forecasts that lack something, and marks that look wrong: planned round, or one line why not."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from marks_by_hand import marks_gpx

SAMPLES = Path(__file__).parents[2] / "sample_routes"
BOAT = ("--boat", "brisvik/boat.toml")
DEPART = ("--depart", "2027-06-12T05:00Z")
PLAN = ("plan", "marks.gpx", *BOAT, *DEPART, "--no-alternatives")

TIMES = np.datetime64("2027-06-12T00:00") + 3 * np.arange(13).astype("timedelta64[h]")
LATS, LONS = np.arange(56.0, 57.3, 0.25), np.arange(11.0, 13.1, 0.25)
WIND = ("eastward_wind", "northward_wind")
STREAM = ("eastward_sea_water_velocity", "northward_sea_water_velocity")


def refused(ran, code):
    assert ran.code == code, ran.err
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    assert line.startswith("goosewing: ")
    return line


def planned(run, *more):
    ran = run(*PLAN, *more, "--json")
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


def field(factor=1.0):
    """A north-westerly of 10 kn, the same everywhere."""
    shape = (len(TIMES), len(LATS), len(LONS))
    return np.full(shape, 3.6 * factor), np.full(shape, -3.6 * factor)


def write(path, east, north, *, times=TIMES, lons=LONS, names=WIND):
    axes = ("time", "lat", "lon")
    xr.Dataset(
        {
            letter: (axes, values, {"standard_name": name, "units": "m s-1"})
            for letter, name, values in zip("uv", names, (east, north), strict=True)
        },
        coords={
            # To the nanosecond, as old versions of xarray would have it.
            "time": times.astype("datetime64[ns]"),
            "lat": ("lat", LATS, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", lons, {"standard_name": "longitude", "units": "degrees_east"}),
        },
    ).to_netcdf(path)


def test_missing_hours_are_named(run, desk):
    east, north = field()
    east[4], north[4] = np.nan, np.nan
    write(desk / "gap.nc", east, north)
    line = refused(run(*PLAN, "--wind", "gap.nc"), 3)
    found = re.search(
        r"has no values between about 2027-06-12 (\d{4})Z and 2027-06-12 (\d{4})Z", line
    )
    assert found
    # The values of 1200Z are missing: from 0900Z to 1500Z nothing can be interpolated.
    assert 900 <= int(found[1]) <= 1000
    assert 1400 <= int(found[2]) <= 1500


def test_a_passage_before_the_missing_hours_is_planned(run, desk):
    east, north = field()
    east[8:], north[8:] = np.nan, np.nan
    write(desk / "gap.nc", east, north)
    assert planned(run, "--wind", "gap.nc")["elapsed_h"] > 5.0


def test_missing_places_are_sailed_round(run, desk):
    whole, north = field()
    write(desk / "whole.nc", whole, north)
    east = whole.copy()
    # A hole of half a degree across the first leg; no mark lies in it.
    east[:, 3, 4] = np.nan
    write(desk / "hole.nc", east, north)
    marks = (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand"><rte>'
        '<rtept lat="56.75" lon="11.50"><name>W</name></rtept>'
        '<rtept lat="56.75" lon="12.50"><name>E</name></rtept></rte></gpx>'
    )
    (desk / "marks.gpx").write_text(marks, encoding="utf-8")
    free, round_it = (planned(run, "--wind", name) for name in ("whole.nc", "hole.nc"))
    assert round_it["elapsed_h"] > free["elapsed_h"]
    for board in round_it["legs"][0]["boards"]:
        for point in board["points"]:
            assert not (abs(point["lat"] - 56.75) < 0.24 and abs(point["lon"] - 12.0) < 0.24)


def test_a_mark_without_wind_is_named(run, desk):
    east, north = field()
    east[:, 2:4, 3:5] = np.nan
    write(desk / "hole.nc", east, north)
    assert "knows no wind at Anholt E" in refused(run(*PLAN, "--wind", "hole.nc"), 3)


def test_nothing_but_missing_values_is_bad_input(run, desk):
    write(desk / "none.nc", *(np.full_like(each, np.nan) for each in field()))
    assert "is missing" in refused(run(*PLAN, "--wind", "none.nc"), 2)


def test_one_time_is_said_and_can_be_held_on(run, desk):
    write(desk / "one.nc", *(each[:1] for each in field()), times=TIMES[:1])
    line = refused(run(*PLAN, "--wind", "one.nc"), 3)
    assert "holds one time only, 2027-06-12 0000Z" in line
    assert "--hold-last" in line
    held = planned(run, "--wind", "one.nc", "--hold-last")
    assert any("hold its last values on" in note for note in held["notices"])
    steady = planned(run, "--wind", "315/9.897")
    assert held["elapsed_h"] == pytest.approx(steady["elapsed_h"], rel=3e-3)


def test_a_forecast_in_grib_that_ends_on_the_way_is_said_and_can_be_held_on(run, desk):
    shutil.copy(SAMPLES / "forecast.grib2", desk)
    late = ("--wind", "forecast.grib2", "--depart", "2027-06-13T12:00Z")
    line = refused(run("plan", "marks.gpx", *BOAT, *late), 3)
    assert "before the forecast ends on 2027-06-13 at 1500Z" in line
    assert "--hold-last" in line
    ran = run("plan", "marks.gpx", *BOAT, *late, "--hold-last", "--no-alternatives", "--json")
    boards = [board for leg in json.loads(ran.out)["legs"] for board in leg["boards"]]
    assert boards[-1]["beyond_forecast"]


def test_a_calm_is_called_one(run, desk):
    write(desk / "calm.nc", *field(0.0))
    line = refused(run(*PLAN, "--wind", "calm.nc"), 3)
    assert "on the way there is a calm, 0.0 kn" in line


def test_a_stream_that_knows_nothing_there_is_refused(run, desk):
    write(desk / "wind.nc", *field())
    write(desk / "stream.nc", *field(0.1), lons=LONS + 20.0, names=STREAM)
    line = refused(run(*PLAN, "--wind", "wind.nc", "--current", "stream.nc"), 3)
    assert "knows no stream at Start" in line


TIDES = """port = "Skarvhamn"
springs_range_m = 0.4
neaps_range_m = 0.2
reach_nm = {reach}
beyond = "no stream"
[[high_water]]
time = 2027-06-12T05:45:00Z
range_m = 0.34
[[high_water]]
time = 2027-06-12T18:10:00Z
range_m = 0.32
[[stream]]
name = "A"
lat = 56.70
lon = {lon}
hours = [
{hours}
]
[[stream]]
name = "B"
lat = 56.60
lon = {lon}
hours = [
{hours}
]
"""


@pytest.mark.parametrize(
    ("lon", "reach", "said"),
    [
        (2.35, 10, "reach no place of this passage: no stream was reckoned with"),
        (12.35, 6, "don't reach all of the way: on"),
        (12.0, 90, None),
    ],
)
def test_where_the_stream_tables_do_not_reach_it_is_said(run, desk, lon, reach, said):
    hours = ",\n".join(f"[{hour}, 345, 0.8, 0.6]" for hour in range(-6, 7))
    text = TIDES.format(lon=lon, reach=reach, hours=hours)
    (desk / "tides.toml").write_text(text, encoding="utf-8")
    notices = planned(run, "--wind", "315/10", "--current", "tides.toml")["notices"]
    told = [note for note in notices if note.startswith("The stream's tables")]
    assert (said is None) == (not told)
    assert said is None or said in told[0]


# ---- marks that look wrong -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("places", "odd"),
    [
        (((5.7, 12.0), (56.7, 12.1), (56.8, 12.3)), "M0 lies 305"),
        (((56.7, 12.1), (56.8, 12.3), (5.7, 12.0)), "M2 lies 306"),
        (((56.7, 12.1), (5.7, 12.0), (56.8, 12.3), (56.6, 12.2)), "M1 lies 305"),
        (((56.7, 12.1), (56.8, 12.3), (56.6, 12.2)), None),
    ],
)
def test_a_mark_far_from_all_others_is_asked_after(run, desk, places, odd):
    (desk / "marks.gpx").write_text(marks_gpx(*places), encoding="utf-8")
    notices = planned(run, "--wind", "270/10")["notices"]
    told = [note for note in notices if "far from all other marks: check its position" in note]
    assert (odd is None) == (not told)
    assert odd is None or told[0].startswith(odd)


def test_where_no_plan_is_found_an_exchanged_position_is_asked_after(run, desk):
    text = marks_gpx((56.7, 12.1), (12.3, 56.8), (56.9, 12.0))
    (desk / "marks.gpx").write_text(text, encoding="utf-8")
    write(desk / "calm.nc", *field(0.0))
    line = refused(run(*PLAN, "--wind", "0/0"), 3)
    assert "can't be made" in line
    assert "latitude and longitude exchanged: check its position" in line


def test_an_exchanged_position_is_asked_after_before_the_coast_is_read(run, desk, monkeypatch):
    from goosewing.hazards import coast

    def read(*_, **__):
        raise AssertionError("the coast was read")

    monkeypatch.setattr(coast, "land", read)
    (desk / "marks.gpx").write_text(marks_gpx((56.7, 12.1), (12.3, 56.8)), encoding="utf-8")
    line = refused(run(*PLAN, "--wind", "270/10", "--coast"), 2)
    assert "latitude and longitude exchanged: check its position" in line
    assert "without --coast" in line
