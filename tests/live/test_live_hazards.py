"""The service keeps clear of land and hazards: read with the greeting, asked with each plan."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely
from shapely.geometry import mapping

from conftest import SAMPLES
from goosewing.hazards import coast
from goosewing.live.host.session import HelloError, Session

BOAT = str(SAMPLES / "brisvik" / "boat.toml")
KNOT = 1852.0 / 3600.0
# Straight from A to B the way leads over the reef.
A, B = (56.50, 12.00), (56.50, 12.30)
REEF = shapely.box(12.12, 56.47, 12.16, 56.52)


def hello(**options):
    return {"type": "hello", "version": 1, "boat": BOAT, "options": options}


@pytest.fixture
def reef(tmp_path):
    path = tmp_path / "reef.geojson"
    feature = {"type": "Feature", "properties": {"name": "Reef"}, "geometry": mapping(REEF)}
    path.write_text(json.dumps(feature))
    return str(path)


def talked(session, second, place):
    time = f"2027-06-12T12:00:{second:02d}.000Z"
    values = {
        "navigation.position": {"latitude": place[0], "longitude": place[1]},
        "navigation.headingTrue": np.radians(90.0),
        "environment.wind.directionTrue": np.radians(0.0),
        "environment.wind.speedTrue": 10.0 * KNOT,
        "navigation.speedThroughWater": 5.5 * KNOT,
    }
    told = [{"path": path, "value": value} for path, value in values.items()]
    sent = session.in_turn({"type": "observe", "time": time, "source": "sim", "values": told})
    return sent + session.in_turn({"type": "tick", "time": time})


def planned(start, end, **options):
    """The plan's route on the map, (lon, lat), and everything said."""
    session = Session()
    session.in_turn(hello(**options))
    points = [{"lat": lat, "lon": lon} for lat, lon in (start, end)]
    order = {"type": "plan", "id": "0d8d0b5e-8a51-4f7b-9a34-2f3f1cd3d111", "points": points}
    sent = []
    for second in range(40):
        sent += session.in_turn(order) if second == 20 else []
        sent += talked(session, second, start)
    plan = session.state.planned
    if plan is None:
        return None, json.dumps(sent)
    line = [(p.lon, p.lat) for leg in plan.plan.legs for b in leg.boards for p in b.points]
    return shapely.LineString(line), " ".join(plan.plan.notices)


def test_without_hazards_she_sails_straight_over_the_reef():
    way, said = planned(A, B)
    assert way.intersects(REEF)
    assert said == ""


def test_a_plan_goes_round_what_the_file_holds(reef):
    way, _ = planned(A, B, hazards=[reef])
    assert not way.intersects(REEF.buffer(-1e-4))
    # The detour is short: north or south about, under four miles off the straight line.
    assert way.hausdorff_distance(shapely.LineString([A[::-1], B[::-1]])) < 4.0 / 60.0


def test_the_clearance_is_kept(reef):
    way, _ = planned(A, B, hazards=[reef], clearance_nm=0.5)
    # Half a mile in degrees of latitude and, less, of longitude.
    assert way.distance(REEF) > 0.49 / 60.0


def test_the_coast_is_kept_clear_of_and_credited():
    # From west to east of Anholt, whose middle lies at 56°42'N 11°34'E (from memory).
    way, said = planned((56.71, 11.40), (56.71, 11.75), coast=True, clearance_nm=0.3)
    assert not way.intersects(coast.land(56.0, 11.0, 57.0, 12.0))
    assert coast.CREDIT in said
    assert "not for navigation" in said


def test_a_start_on_land_is_told():
    way, said = planned((56.705, 11.57), (56.71, 11.75), coast=True)
    assert way is None
    assert "built-in coast" in said


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"hazards": ["/no/such/file.geojson"]}, "no such file"),
        ({"hazards": [BOAT]}, "none of the kinds"),
        ({"hazards": "reef.geojson"}, "list of paths"),
        ({"hazards": [""]}, "list of paths"),
        ({"hazards": [3]}, "list of paths"),
        ({"coast": "yes"}, "coast must be true or false"),
        ({"coast": True, "clearance_nm": 11}, "clearance_nm must be 0 to 10"),
        ({"coast": True, "clearance_nm": float("nan")}, "clearance_nm must be 0 to 10"),
        ({"coast": True, "safe_depth_m": -1}, "safe_depth_m must be"),
        ({"coast": True, "tide_m": 21}, "tide_m must be -20 to 20"),
        ({"coast": True, "tide_m": "tide.csv"}, "tide_m must be -20 to 20"),
        ({"tide_m": 1.2}, "a tide needs"),
        ({"clearance_nm": 0.3}, "a clearance needs"),
        ({"safe_depth_m": 3}, "a safe depth needs"),
    ],
)
def test_a_greeting_with_a_bad_chart_is_refused(options, words):
    with pytest.raises(HelloError, match=words):
        Session().in_turn(hello(**options))


@pytest.mark.parametrize("options", [{}, {"hazards": [], "coast": False, "clearance_nm": 0}])
def test_nothing_asked_for_is_nothing_read(options):
    session = Session()
    session.in_turn(hello(**options))
    assert session.keeper.desk.chart is None
