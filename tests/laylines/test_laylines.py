"""Laylines against current triangles, a boat sailed along them, and plane geometry."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.boat.model import Boat, Leeway, PolarTable, SailSet
from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.laylines.steady import sheet
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady import solver
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
MAIN_AND_JIB = 0


def vector(direction_deg, speed):
    angle = math.radians(direction_deg)
    return np.array([speed * math.sin(angle), speed * math.cos(angle)])


def direction(v):
    return math.degrees(math.atan2(v[0], v[1])) % 360.0


def weather_with_water_wind(from_deg, kn, set_deg, drift):
    """The ground wind that is, in this stream, such a wind over the water."""
    ground = -vector(from_deg, kn) + vector(set_deg, drift)
    return SteadyWeather(direction(-ground), float(np.hypot(*ground)), set_deg, drift)


def one_angle_boat(angle_deg, speed_kn, heel_deg=None):
    """A boat that can hold one angle off the wind only, at one speed."""

    def table(value):
        return PolarTable(
            tws_kn=np.array([2.0, 40.0]),
            twa_deg=np.array([angle_deg]),
            values=np.full((1, 2), float(value)),
        )

    heel = None if heel_deg is None else table(heel_deg)
    sails = SailSet(name="main", polar=table(speed_kn), heel=heel)
    return Boat(name="one angle", leeway=Leeway(coefficient=10.0), sail_sets=(sails,))


def drawn(boat, weather, marks, **options):
    return sheet(solver.sailable(boat, solver.steady_airs(boat, weather)), marks, **options)


def leg(lat, lon, bearing_deg, nm):
    there = Geodesic.WGS84.Direct(lat, lon, bearing_deg, nm * 1852.0)
    return [
        Mark(name="A", lat=lat, lon=lon),
        Mark(name="B", lat=there["lat2"], lon=there["lon2"]),
    ]


# ---- the current triangle --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("course", "speed", "set_deg", "drift", "track", "printed"),
    [
        # Bowditch, The American Practical Navigator, dead reckoning: track 089°; by trigonometry
        # 88.95°.
        pytest.param(80.0, 10.0, 140.0, 2.0, 88.95, 89.0, id="handbook"),
        # Inputs of a published examination question, answer by trigonometry.
        pytest.param(215.0, 12.0, 0.0, 2.3, 222.43, None, id="examination"),
    ],
)
def test_a_layline_is_the_handbooks_current_triangle(course, speed, set_deg, drift, track, printed):
    boat = one_angle_boat(45.0, speed)
    weather = weather_with_water_wind(course - 45.0, 12.0, set_deg, drift)
    port = drawn(boat, weather, leg(50.0, -5.0, course - 45.0, 10.0)).laylines[0]
    assert port.tack == "port"
    assert port.course_over_ground_deg == pytest.approx(track, abs=0.01)
    if printed is not None:
        assert port.course_over_ground_deg == pytest.approx(printed, abs=1.0)


def test_leeway_turns_the_water_track_before_the_stream_does():
    # k·heel/STW² = 10 · 14.4 / 36 = 4° to leeward; then the triangle, by trigonometry.
    boat = one_angle_boat(41.0, 6.0, heel_deg=14.4)
    weather = weather_with_water_wind(0.0, 12.0, 90.0, 1.5)
    port, starboard = drawn(boat, weather, leg(50.0, -5.0, 0.0, 10.0)).laylines
    for line, track in ((port, 45.0), (starboard, 315.0)):
        ground = vector(track, 6.0) + vector(90.0, 1.5)
        assert line.course_over_ground_deg == pytest.approx(direction(ground), abs=1e-6)


def test_the_line_has_the_length_asked_for_and_ends_at_the_mark(brisvik):
    marks = leg(57.0, 11.0, 0.0, 10.0)
    for asked, length in ((None, 10.0), (4.0, 4.0)):
        for line in drawn(brisvik, SteadyWeather(0, 10), marks, length_nm=asked).laylines:
            far, mark = line.points
            metres = Geodesic.WGS84.Inverse(far.lat, far.lon, mark.lat, mark.lon)["s12"]
            # A loxodrome is longer than the geodesic by less than this on such a line.
            assert metres / 1852.0 == pytest.approx(length, rel=1e-4)
            assert (mark.lat, mark.lon) == (marks[1].lat, marks[1].lon)


# ---- sailed along ----------------------------------------------------------------------------

WGS84_A, WGS84_E2 = 6378137.0, 0.00669437999014


def sailed(start, east_kn, north_kn, seconds):
    """Positions second by second, by the ellipsoid's radii of curvature (independent code)."""
    lat, lon = map(math.radians, start)
    track = []
    for _ in range(int(seconds)):
        w = math.sqrt(1.0 - WGS84_E2 * math.sin(lat) ** 2)
        meridian = WGS84_A * (1.0 - WGS84_E2) / w**3
        lat += north_kn * 1852.0 / 3600.0 / meridian
        lon += east_kn * 1852.0 / 3600.0 / (WGS84_A / w * math.cos(lat))
        track.append((math.degrees(lat), math.degrees(lon)))
    return np.array(track)


def best_angle(boat, tws, upwind):
    """Angle and speed of the best VMG of main and jib, on the angles that the sheet samples."""
    sails = boat.sail_sets[MAIN_AND_JIB]
    twa = np.unique(np.concatenate((np.arange(30.0, 180.25, 0.25), sails.polar.twa_deg)))
    speed, heel = sails.polar.at(twa, tws), sails.heel.at(twa, tws)
    leeway = np.minimum(10.0 * heel / speed**2, 20.0)
    vmg = speed * np.cos(np.radians(twa + leeway)) * (1.0 if upwind else -1.0)
    at = int(np.argmax(vmg))
    return twa[at] + leeway[at], speed[at]


@pytest.mark.parametrize("lat", [0.5, 57.0, -68.0])
@pytest.mark.parametrize("bearing", [20.0, 200.0])
@pytest.mark.parametrize(("set_deg", "drift"), [(0.0, 0.0), (100.0, 1.3)])
def test_a_boat_sailed_along_a_layline_passes_the_mark(brisvik, lat, bearing, set_deg, drift):
    weather = weather_with_water_wind(15.0, 10.0, set_deg, drift)
    lines = drawn(brisvik, weather, leg(lat, 179.95, bearing, 8.0)).laylines
    track_angle, speed = best_angle(brisvik, 10.0, upwind=bearing == 20.0)
    for line in (each for each in lines if each.sail_set == "main and jib"):
        side = 1.0 if line.tack == "port" else -1.0
        ground = vector(15.0 + side * track_angle, speed) + vector(set_deg, drift)
        far, mark = line.points
        track = sailed((far.lat, far.lon), *ground, 9.0 / np.hypot(*ground) * 3600.0)
        lon = mark.lon + (track[:, 1] - mark.lon + 180.0) % 360.0 - 180.0
        near = np.argsort(np.abs(track[:, 0] - mark.lat) + np.abs(lon - mark.lon))[:20]
        metres = [Geodesic.WGS84.Inverse(mark.lat, mark.lon, *track[i])["s12"] for i in near]
        assert min(metres) < 10.0


# ---- margin ----------------------------------------------------------------------------------


@pytest.mark.parametrize("margin", [2.0, 7.0])
@pytest.mark.parametrize("bearing", [0.0, 12.0, 348.0])
def test_with_a_margin_she_tacks_past_the_layline_and_comes_in_freer(brisvik, margin, bearing):
    weather = SteadyWeather(0.0, 10.0)
    marks = leg(0.0, 20.0, bearing, 8.0)
    for first in ("port", "starboard"):
        plain, wider = (
            make(marks, brisvik, weather, DEPARTURE, Options(first=first, margin_deg=m)).legs[0]
            for m in (0.0, margin)
        )
        into, freer = plain.boards[-1], wider.boards[-1]
        away = 1.0 if into.tack == "port" else -1.0
        turned = (freer.course_over_ground_deg - into.course_over_ground_deg) * away
        assert turned == pytest.approx(margin, abs=1e-3)
        assert freer.twa_deg > into.twa_deg
        # Past the layline: farther along the first board than its crossing with the line.
        past = wider.boards[0].distance_nm - plain.boards[0].distance_nm
        assert past > 0.0
        # And the sheet draws its margin to the same side.
        line = next(
            each
            for each in drawn(brisvik, weather, marks, margin_deg=margin).laylines
            if each.tack == into.tack
        )
        assert line.course_over_ground_deg == pytest.approx(freer.course_over_ground_deg, abs=0.3)


def test_downwind_the_margin_comes_in_higher(brisvik):
    weather = SteadyWeather(0.0, 6.0)
    marks = leg(0.0, 20.0, 180.0, 8.0)
    plain, wider = (drawn(brisvik, weather, marks, margin_deg=m).laylines for m in (0.0, 4.0))
    for a, b in zip(plain, wider, strict=True):
        off_a, off_b = (abs((x.course_over_ground_deg + 180) % 360 - 180) for x in (a, b))
        inside = a.sail_set == "wing-and-wing"
        assert off_b - off_a == pytest.approx(4.0 if inside else -4.0, abs=1e-9)


# ---- from here -------------------------------------------------------------------------------


def on_the_plane(mark, east_nm, north_nm):
    """A position by miles east and north of a mark near the equator, to 1e-6 of its distance."""
    meridian = WGS84_A * (1.0 - WGS84_E2)
    return (
        mark.lat + math.degrees(north_nm * 1852.0 / meridian),
        mark.lon + math.degrees(east_nm * 1852.0 / WGS84_A),
    )


def test_time_and_distance_to_each_layline_are_those_of_plane_geometry(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    marks = leg(0.0, 20.0, 0.0, 0.001)
    track_angle, speed = best_angle(brisvik, 10.0, upwind=True)
    for east, north in ((0.0, -4.0), (1.0, -3.0), (-1.5, -5.0)):
        found = drawn(brisvik, weather, marks, here=on_the_plane(marks[1], east, north)).from_here
        assert {each.tack for each in found} == {"port", "starboard"}
        for lie in found:
            side = 1.0 if lie.tack == "port" else -1.0
            own, other = (vector(side * s * track_angle, 1.0) for s in (1.0, -1.0))
            # here + a·other + b·own = mark
            a, b = np.linalg.solve(np.column_stack((other, own)), [-east, -north])
            assert b > 0.0
            assert lie.state == "short of it"
            assert lie.distance_nm == pytest.approx(a, rel=1e-4)
            assert lie.elapsed_h == pytest.approx(a / speed, rel=1e-4)


def test_overstood_is_told_in_miles_square_to_the_layline(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    marks = leg(0.0, 20.0, 0.0, 0.001)
    track_angle, _ = best_angle(brisvik, 10.0, upwind=True)
    # 3 nm back along the port-tack layline, then 0.4 nm to its windward side, which is left.
    back, left = -vector(track_angle, 3.0), vector(track_angle - 90.0, 0.4)
    found = drawn(brisvik, weather, marks, here=on_the_plane(marks[1], *(back + left))).from_here
    port = next(each for each in found if each.tack == "port")
    assert port.state == "overstood"
    assert port.overstood_nm == pytest.approx(0.4, abs=1e-4)
    assert port.distance_nm is None


def test_on_the_layline_she_is_told_so(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    marks = leg(0.0, 20.0, 0.0, 0.001)
    track_angle, _ = best_angle(brisvik, 10.0, upwind=True)
    found = drawn(
        brisvik, weather, marks, here=on_the_plane(marks[1], *-vector(track_angle, 3.0))
    ).from_here
    assert next(each for each in found if each.tack == "port").state == "on it"


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_under_which_poled_sails_the_mark_is_reached_from_here(brisvik, side):
    weather = SteadyWeather(0.0, 10.0)
    marks = leg(0.0, 20.0, 180.0, 0.001)
    track_angle, speed = best_angle(brisvik, 10.0, upwind=False)

    def poled(off_deg):
        # The mark bears so far off dead downwind, to the left where she'd be on port tack.
        away = -vector(180.0 - side * off_deg, 5.0)
        found = drawn(brisvik, weather, marks, here=on_the_plane(marks[1], *away))
        (lie,) = found.poled_from_here
        assert lie.sail_set == "wing-and-wing"
        return lie

    # The sector begins at 170° on either tack, and the boat's file knows no leeway there.
    assert [poled(off).state for off in (0.0, 9.9, 60.0)] == ["inside", "inside", "too far up"]
    lie = poled(14.0)
    assert lie.state == "not yet"
    assert lie.tack == ("port" if side > 0 else "starboard")
    assert lie.by_sail_set == "main and jib"
    # here + a·board + b·edge = mark
    board, edge = vector(side * track_angle, 1.0), vector(180.0 - side * 10.0, 1.0)
    a, b = np.linalg.solve(np.column_stack((board, edge)), vector(180.0 - side * 14.0, 5.0))
    assert b > 0.0
    assert lie.distance_nm == pytest.approx(a, rel=1e-4)
    assert lie.elapsed_h == pytest.approx(a / speed, rel=1e-4)


# ---- which lines, and what is refused --------------------------------------------------------


def test_upwind_two_lines_downwind_the_edges_of_wing_and_wing_as_well(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    up = drawn(brisvik, weather, leg(57.0, 11.0, 20.0, 5.0)).laylines
    assert [(line.tack, line.sail_set) for line in up] == [
        ("port", "main and jib"),
        ("starboard", "main and jib"),
    ]
    down = drawn(brisvik, weather, leg(57.0, 11.0, 200.0, 5.0)).laylines
    poled = [line for line in down if line.sail_set == "wing-and-wing"]
    # The sector begins at 170° on either tack, and the boat's file knows no leeway there.
    assert sorted(line.course_over_ground_deg for line in poled) == pytest.approx([170.0, 190.0])
    assert len(down) == 4


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        ({"length_nm": 0.0}, "length must be above 0"),
        ({"length_nm": float("nan")}, "length must be above 0"),
        ({"margin_deg": -1.0}, "margin must be 0 to 45"),
        ({"margin_deg": 46.0}, "margin must be 0 to 45"),
    ],
)
def test_lines_that_make_no_sense_are_refused(brisvik, options, fault):
    with pytest.raises(InputError, match=fault):
        drawn(brisvik, SteadyWeather(0, 10), leg(57.0, 11.0, 0.0, 5.0), **options)


def test_a_plans_own_laylines_are_the_boards_it_sails_into_each_mark(brisvik):
    made = make(leg(57.0, 11.0, 0.0, 8.0), brisvik, SteadyWeather(0, 10), DEPARTURE)
    (line,) = made.legs[0].laylines
    into = made.legs[0].boards[-1]
    assert line.course_over_ground_deg == into.course_over_ground_deg
    far = line.points[0]
    off = geodesy.cross_track_nm(
        into.start.lat, into.start.lon, far.lat, far.lon, made.marks[1].lat, made.marks[1].lon
    )
    assert abs(float(off)) * 1852.0 < 1.0
