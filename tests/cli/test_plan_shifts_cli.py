"""`goosewing plan --shifts`: what is told, and where it is withheld."""

from __future__ import annotations

import json

import pytest

MARKS = """<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand"><rte>
<rtept lat="56.6" lon="11.5"><name>South</name></rtept>
<rtept lat="56.7" lon="11.5"><name>North</name></rtept></rte></gpx>"""
SHOAL = {
    "type": "Polygon",
    "coordinates": [[[11.6, 56.6], [11.62, 56.6], [11.62, 56.62], [11.6, 56.6]]],
}
PLAN = (
    *("plan", "beat.gpx", "--boat", "brisvik/boat.toml", "--depart", "2027-06-01T06:00Z"),
    *("--wind", "0/10", "--shifts", "5/10"),
)


@pytest.fixture(autouse=True)
def beat(desk):
    (desk / "beat.gpx").write_text(MARKS)
    (desk / "shoal.geojson").write_text(json.dumps(SHOAL))


def test_in_open_water_the_rule_and_the_chances_are_told(run):
    ran = run(*PLAN)
    assert ran.code == 0, ran.err
    assert "To North: tack when headed" in ran.out
    assert "Nothing is told of shifts" not in ran.out


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (("--hazards", "shoal.geojson"), "keeps clear of hazards"),
        (("--coast", "--clearance", "0.3"), "keeps clear of hazards"),
        (("--corridor", "0.5"), "keeps to a corridor"),
    ],
)
def test_among_hazards_and_in_a_corridor_nothing_is_told_and_one_line_says_why(run, more, why):
    ran = run(*PLAN, *more, "--geojson", "plan.geojson", "--json")
    assert ran.code == 0, ran.err
    told = json.loads(ran.out)
    assert told.get("chances") is None
    (line,) = [each for each in told["notices"] if each.startswith("Nothing is told of shifts")]
    assert why in line
    for words in ("headed by", "inside", "Eight times of ten"):
        assert words not in run(*PLAN, *more).out
