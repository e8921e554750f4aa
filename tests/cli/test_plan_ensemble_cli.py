"""`goosewing plan --prefer`: one plan for a forecast of many members."""

from __future__ import annotations

import json
from datetime import datetime

import pytest

from drawn_ensembles import components, messages, write_grib, write_netcdf
from goosewing.exchange.document import parse_plan

MARKS = """<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand"><rte>
<rtept lat="56.6" lon="11.5"><name>South</name></rtept>
<rtept lat="56.75" lon="11.55"><name>North</name></rtept></rte></gpx>"""
PLAN = (
    *("plan", "beat.gpx", "--boat", "brisvik/boat.toml", "--depart", "2027-06-01T06:00Z"),
    "--no-alternatives",
)


@pytest.fixture(autouse=True)
def beat(desk):
    (desk / "beat.gpx").write_text(MARKS)


def refused(ran):
    assert ran.code == 2
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    return line


@pytest.mark.parametrize("write", [write_grib, write_netcdf])
def test_the_document_tells_every_member(desk, run, write):
    write(desk / "members", 3, hours=12)
    ran = run(*PLAN, "--wind", "members", "--prefer", "mean", "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)["ensemble"]
    assert told["prefer"] == "mean"
    assert [each["member"] for each in told["each"]] == [0, 1, 2]
    sailed = [each["sailed_h"] for each in told["each"]]
    assert told["mean_h"] == pytest.approx(sum(sailed) / 3)
    assert told["worst_tenth_h"] == max(sailed)
    assert all(each["track"][0]["lat"] == 56.6 for each in told["each"])
    # What is written is read back whole.
    assert parse_plan(ran.out.encode()).ensemble.mean_h == told["mean_h"]


def test_table_and_sheet_tell_it_and_without_the_wish_nothing_is_said(desk, run):
    write_grib(desk / "members.grib2", 3, hours=12)
    wind = ("--wind", "members.grib2")
    ran = run(*PLAN, *wind, "--prefer", "cautious", "--sheet", "sheet.html")
    assert ran.code == 0, ran.err
    words = " ".join(ran.out.split())
    page = " ".join((desk / "sheet.html").read_text(encoding="utf-8").split())
    for said in ("3 members. This is the best plan of member", "in the slowest tenth", "it loses"):
        assert said in words
        assert said in page
    assert "3 members." not in run(*PLAN, *wind).out


def test_what_holds_no_members_is_refused_in_one_line(desk, run):
    write_grib(desk / "one.grib2", 1, hours=12)
    wish = ("--prefer", "mean")
    line = refused(run(*PLAN, "--wind", "one.grib2", *wish))
    assert line.startswith("goosewing: one.grib2: holds one member, expected an ensemble")
    assert "holds one member" in refused(run(*PLAN, "--wind", "0/10", *wish))
    assert "--prefer" in refused(run(*PLAN, "--wind", "one.grib2", "--prefer", "lucky"))


def test_members_of_unlike_times_are_refused_in_one_line(desk, run):
    parts = [*messages(0, 2, *components(0, hours=12)), *messages(1, 2, *components(1, hours=6))]
    (desk / "odd.grib2").write_bytes(b"".join(parts))
    line = refused(run(*PLAN, "--wind", "odd.grib2", "--prefer", "mean"))
    assert "odd.grib2: members 0 and 1 are of unlike times" in line


DEPART = (
    *("depart", "beat.gpx", "--boat", "brisvik/boat.toml", "--from", "2027-06-01T06:00Z"),
    *("--until", "2027-06-01T08:00Z", "--every", "2h", "--wind", "members"),
)


@pytest.mark.parametrize(("wish", "which"), [("mean", "mean_h"), ("cautious", "worst_tenth_h")])
def test_each_departure_is_told_by_the_plan_that_suits_all_members(desk, run, wish, which):
    write_netcdf(desk / "members", 3, hours=14)
    ran = run(*DEPART, "--prefer", wish, "--json", "--out", "best.gpx")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert any("members" in line for line in told["notices"])
    rows = {each["departure"]: each for each in told["departures"]}
    assert len(rows) == 2
    minutes = [round(60.0 * each["elapsed_h"]) for each in told["departures"]]
    assert minutes == sorted(minutes)
    alone = json.loads(run(*PLAN, "--wind", "members", "--prefer", wish, "--json").out)
    row = rows["2027-06-01T06:00:00Z"]
    assert row["elapsed_h"] == pytest.approx(alone["ensemble"][which])
    assert row["saved_min"] == pytest.approx(alone["saved_min"])
    assert (desk / "best.gpx").exists()
    best = told["departures"][0]
    begun, there = (datetime.fromisoformat(best[name]) for name in ("departure", "arrival"))
    assert (there - begun).total_seconds() / 3600.0 == pytest.approx(best["elapsed_h"], abs=1e-3)


def test_a_departure_that_some_member_does_not_allow_is_none(desk, run):
    # Twelve hours later only two are left of the forecast.
    write_netcdf(desk / "members", 4, hours=14)
    late = [*DEPART]
    late[late.index("2027-06-01T08:00Z")] = "2027-06-01T18:00Z"
    late[late.index("2h")] = "12h"
    ran = run(*late, "--prefer", "mean", "--json")
    assert ran.code == 0, ran.err
    (failed,) = json.loads(ran.out)["failed"]
    assert failed["departure"] == "2027-06-01T18:00:00Z"
    assert "member" in failed["reason"]


def test_the_table_of_departures_says_whose_times_they_are(desk, run):
    write_netcdf(desk / "members", 3, hours=14)
    ran = run(*DEPART, "--prefer", "cautious")
    assert ran.code == 0, ran.err
    assert "slowest tenth" in " ".join(ran.out.split())
    write_grib(desk / "one", 1, hours=12)
    single = [*DEPART[:-1], "one"]
    assert "one member" in refused(run(*single, "--prefer", "mean"))
