"""What the doubt in the boat file alone does to the arrival, as `goosewing plan` tells it."""

from __future__ import annotations

import json
from datetime import datetime

import pytest

SAIL = ("--boat", "brisvik/boat.toml", "--depart", "2027-06-12T05:00Z")


def band(desk, low, high):
    """Give every sail set of the sample boat a band of these shares."""
    lines = ["sail_set,twa_deg,tws_kn,boat_speed_kn,low_kn,high_kn,stretches"]
    for name in ("main and jib", "main alone", "wing-and-wing"):
        table = desk / "brisvik" / f"{name.replace(' ', '-')}.csv"
        (_, *winds), *rows = (row.split(",") for row in table.read_text().splitlines())
        lines += [
            f"{name},{twa},{tws},{v},{low * float(v):.6f},{high * float(v):.6f},0"
            for twa, *speeds in rows
            for tws, v in zip(winds, speeds, strict=True)
        ]
    (desk / "brisvik" / "confidence.csv").write_text("\n".join(lines) + "\n")
    boat = desk / "brisvik" / "boat.toml"
    boat.write_text(boat.read_text().replace("[leeway]", 'confidence = "confidence.csv"\n[leeway]'))


def planned(run, wind, *more):
    ran = run("plan", "marks.gpx", *SAIL, "--wind", wind, *more, "--json")
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


def test_without_a_band_nothing_is_said(run):
    assert planned(run, "315/10")["band"] is None


@pytest.mark.parametrize("wind", ["315/10", "030/14"])
def test_the_arrival_spreads_as_her_speed_does(desk, run, wind):
    # All her speeds a tenth faster or slower: without leeway and manoeuvres the passage would
    # take 1/1.1 and 1/0.9 of its time; leeway falls with speed, which only widens it a little.
    middle = planned(run, wind)
    band(desk, 0.9, 1.1)
    plan = planned(run, wind)
    assert plan["elapsed_h"] == middle["elapsed_h"]
    said = plan["band"]
    assert said["chance"] == 0.8
    lost_h = sum(m["cost_s"] for leg in plan["legs"] for m in leg["manoeuvres"]) / 3600
    sailed_h = plan["elapsed_h"] - lost_h
    assert said["longest_h"] - lost_h == pytest.approx(sailed_h / 0.9, rel=0.03)
    assert said["shortest_h"] - lost_h == pytest.approx(sailed_h / 1.1, rel=0.03)
    arrival = [datetime.fromisoformat(each) for each in (said["earliest"], said["latest"])]
    assert arrival[0] < datetime.fromisoformat(plan["arrival"]) < arrival[1]


def test_the_table_says_it_in_one_line(desk, run):
    band(desk, 0.9, 1.1)
    ran = run("plan", "marks.gpx", *SAIL, "--wind", "315/10")
    assert "Doubt in her tables alone: arrival " in ran.out
    assert "8 times in 10 or more" in " ".join(ran.out.split())


def test_where_she_may_be_too_slow_for_the_stream_it_is_said(desk, run):
    band(desk, 0.2, 1.1)
    stream = ("--current", "135/2.2")
    plan = planned(run, "315/12", *stream)
    assert plan["band"]["latest"] is None
    assert plan["band"]["earliest"] is not None
    ran = run("plan", "marks.gpx", *SAIL, "--wind", "315/12", *stream)
    assert "or later; at her slowest, no plan." in " ".join(ran.out.split())
