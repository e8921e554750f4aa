"""Steady plans among islands by the hundred and the thousand, held against searches of our own
here that know nothing of the planner's: a lattice of beats, and a graph of all lines of sight."""

from __future__ import annotations

import heapq
import math
import pickle
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely import Point

from archipelagos import MIDDLE, across, strewn
from goosewing.boat.model import Boat, Leeway, Manoeuvres, PolarTable, SailSet
from goosewing.case import Case
from goosewing.earth import geodesy
from goosewing.hazards import rays
from goosewing.hazards.areas import Area, Hazards
from goosewing.hazards.kept import Kept
from goosewing.hazards.sights import pairs_touching
from goosewing.hazards.taut_string import Places
from goosewing.options import Options
from goosewing.plan import make, of_case
from goosewing.records import Mark
from goosewing.steady.pinned_boards import Net
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
GEOD = Geod(ellps="WGS84")
NM = 1852.0
FREE = Manoeuvres(tack_s=0, gybe_s=0, set_pole_s=0, strike_pole_s=0, change_sails_s=0)
NORTH_NM, EAST_NM = 59.7052, 60.1077
"""Miles in a degree of latitude and of longitude at the equator, WGS 84."""


def boat_of(speeds, first=0.0, costs=FREE):
    speeds = np.asarray(speeds, dtype=float)
    polar = PolarTable(
        tws_kn=np.array([5.0, 30.0]),
        twa_deg=np.linspace(first, 180.0, len(speeds)),
        values=np.column_stack((speeds, speeds)),
    )
    sails = SailSet(name="main and jib", polar=polar)
    return Boat(name="trial", leeway=Leeway(coefficient=0.0), manoeuvres=costs, sail_sets=(sails,))


ALIKE = boat_of([6.0, 6.0, 6.0])
BEATER = boat_of([5.0, 5.0, 5.0], first=45.0, costs=replace(FREE, tack_s=60.0, gybe_s=60.0))


def planned(boat, marks, areas, clearance, wind_from):
    hazards = Hazards.of(areas, clearance) if areas else None
    return make(marks, boat, SteadyWeather(wind_from, 10.0), DEPARTURE, hazards=hazards)


def least_offing_nm(plan, areas):
    """Least geodesic distance from boards to islands, from both sides' points (PROJ)."""
    boards = [board for leg in plan.legs for board in leg.boards]
    tree = shapely.STRtree([area.shape for area in areas])
    least = math.inf
    for board in boards:
        line = geodesy.loxodrome_inverse(
            board.start.lat, board.start.lon, board.end.lat, board.end.lon
        )
        count = max(2, int(float(line.distance_nm) / 0.02))
        along = np.linspace(0.0, float(line.distance_nm), count)
        at = geodesy.loxodrome_direct(board.start.lat, board.start.lon, line.bearing_deg, along)
        lat, lon = np.asarray(at.lat), np.asarray(at.lon)
        place, shape = tree.query(shapely.points(lon, lat), predicate="dwithin", distance=0.01)
        assert not shapely.intersects(tree.geometries[shape], shapely.points(lon, lat)[place]).any()
        foot = shapely.shortest_line(shapely.points(lon, lat)[place], tree.geometries[shape])
        ends = shapely.get_coordinates(foot).reshape(-1, 2, 2)
        off = GEOD.inv(ends[:, 0, 0], ends[:, 0, 1], ends[:, 1, 0], ends[:, 1, 1])[2]
        least = min(least, float(np.min(off, initial=np.inf)) / NM)
    return least


# ---- rays ------------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [0.0, 0.3, math.pi / 2.0, 3.0, 4.5])
@pytest.mark.parametrize("at_once", [1 << 21, 50])
def test_rays_run_as_far_as_their_lines_do(angle, at_once, monkeypatch):
    monkeypatch.setattr(rays, "AT_ONCE", at_once)
    rng = np.random.default_rng(2)
    shapes = shapely.buffer(shapely.points(rng.uniform(0, 10, (80, 2))), rng.uniform(0.05, 0.4, 80))
    places = rng.uniform(0, 10, (300, 2))
    towards = np.array([math.cos(angle), math.sin(angle)])
    outlines = rays.Outlines.of(shapes, np.zeros(2), 1.0)
    found = rays.run_free(places, towards, outlines, 6.0)
    shores = shapely.multilinestrings(list(shapely.boundary(shapes)))
    for sign, run in zip((1.0, -1.0), found, strict=True):
        met = shapely.intersection(
            shapely.linestrings(np.stack((places, places + sign * 6.0 * towards), axis=1)), shores
        )
        off = shapely.distance(shapely.points(places), met)
        assert np.allclose(run, np.where(np.isnan(off), 6.0, off), atol=1e-9)


# ---- which corners are joined ----------------------------------------------------------------


def hulls(rng, count=30):
    """Start, mark and the corners of convex islands; edges due east and due north among them."""
    squares = shapely.box(*rng.uniform(0, 10, (2, 8)), *rng.uniform(10.0, 10.3, (2, 8)))
    middles = rng.uniform(0, 10, (count, 1, 2))
    round_ = shapely.convex_hull(shapely.multipoints(middles + rng.normal(0, 0.15, (count, 7, 2))))
    shapes = shapely.orient_polygons(np.concatenate((round_, squares)))
    rings = [shapely.get_coordinates(each)[:-1] for each in shapes]
    at = np.concatenate(([[0.0, 0.0], [10.0, 10.0]], *rings))
    nowhere = np.full((2, 2), np.nan)
    solid = np.repeat(np.arange(-1, len(rings)), [2, *map(len, rings)])
    return Places(
        at, at[:, 1],
        np.concatenate((nowhere, *(np.roll(each, 1, axis=0) for each in rings))),
        np.concatenate((nowhere, *(np.roll(each, -1, axis=0) for each in rings))),
        solid, solid[:0],
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("far", [0.7, 2.0, np.inf])
def test_pairs_are_those_whose_line_leaves_both_islands_on_one_side(seed, far):
    rng = np.random.default_rng(seed)
    places = hulls(rng)
    reach = far * rng.uniform(0.5, 1.5, len(places))
    one, other = pairs_touching(places, places.at, reach)
    found = set(zip(np.minimum(one, other).tolist(), np.maximum(one, other).tolist(), strict=True))
    assert len(found) == len(one)

    def beside(corner, towards):
        """Whether an island lies on one side of a line through its corner, by all its corners."""
        off = places.at[places.solid == places.solid[corner]] - places.at[corner]
        cross = towards[0] * off[:, 1] - towards[1] * off[:, 0]
        return not (np.any(cross > 1e-12) and np.any(cross < -1e-12))

    wanted = set()
    for a in range(2, len(places)):
        run = places.at[a + 1 :] - places.at[a]
        for b in a + 1 + np.flatnonzero(np.hypot(*run.T) <= np.maximum(reach[a], reach[a + 1 :])):
            towards = places.at[b] - places.at[a]
            if beside(a, towards) and beside(b, towards):
                wanted.add((a, int(b)))
    assert found == wanted


@pytest.mark.parametrize("seed", range(3))
def test_many_lines_at_once_meet_what_each_alone_does(seed):
    rng = np.random.default_rng(seed)
    marks = across(0.0)
    hazards = Hazards.of(strewn(2000, seed, clear_of=marks), 0.05)
    start = hazards.in_plane(*MIDDLE, *MIDDLE)[:2] + rng.uniform(-0.4, 0.4, (3000, 2))
    ends = np.concatenate((start, start + rng.normal(0.0, 0.02, (3000, 2))), axis=1)
    whole = hazards.met(ends)
    assert 0.1 < whole.mean() < 0.9
    grown = shapely.STRtree(hazards.shapes_in(np.array([15.0, 60.0, 21.0, 80.0])))
    lines = shapely.linestrings(ends.reshape(-1, 2, 2))
    alone = np.zeros(len(ends), dtype=bool)
    alone[grown.query(lines, predicate="intersects")[0]] = True
    assert np.array_equal(whole, alone)


# ---- clear of them all -----------------------------------------------------------------------


@pytest.mark.parametrize(("count", "wind_from"), [(300, 45.0), (2000, 45.0), (2000, 150.0)])
def test_no_board_among_thousands_comes_nearer_than_the_clearance(count, wind_from):
    marks = across(45.0, 20.0)
    areas = strewn(count, 5, clear_of=marks, side_nm=24.0)
    plan = planned(BEATER, marks, areas, 0.05, wind_from)
    # Ours and the straight edges here differ by what a chord of an island's side does: nothing.
    assert least_offing_nm(plan, areas) >= 0.05 - 0.5 / NM
    free = planned(BEATER, marks, None, 0.0, wind_from)
    assert free.elapsed_h <= plan.elapsed_h <= 1.35 * free.elapsed_h


@pytest.mark.long
def test_a_bay_beside_the_mark_is_left_without_a_search_of_all_the_sea(brisvik):
    # The channels of this square lengthen the way by no more than a tenth on other courses too.
    marks = across(90.0)
    areas = strewn(10_000, 2, clear_of=marks)
    plan = planned(brisvik, marks, areas, 0.05, 200.0)
    assert plan.elapsed_h < 1.1 * planned(brisvik, marks, [], 0.0, 200.0).elapsed_h
    assert least_offing_nm(plan, areas) >= 0.05 - 1.0 / NM


def test_among_islands_she_sails_the_long_boards_that_they_leave():
    marks = across(45.0)
    areas = strewn(500, 1, clear_of=marks)
    plan = planned(BEATER, marks, areas, 0.05, 45.0)
    open_ = planned(BEATER, marks, None, 0.0, 45.0)
    # A minute a tack: whatever they cost is lost, and little else.
    assert plan.elapsed_h <= 1.01 * open_.elapsed_h
    assert len(plan.legs[0].boards) <= 8
    lengths = sorted(board.distance_nm for board in plan.legs[0].boards)
    assert lengths[-1] > 5.0 * lengths[0]


def test_a_plan_with_the_other_board_first_asks_the_net_of_the_first_one(brisvik, monkeypatch):
    marks = across(45.0, 12.0)
    case = Case(
        marks=marks, boat=brisvik, weather=SteadyWeather(45.0, 10.0), departure=DEPARTURE,
        hazards=Hazards.of(strewn(600, 4, clear_of=marks, side_nm=16.0), 0.05), kept=Kept(),
    )  # fmt: skip
    nets = []
    made = Net.of.__func__
    monkeypatch.setattr(
        Net, "of", classmethod(lambda cls, graph: nets.append(graph) or made(cls, graph))
    )
    begun = of_case(case).legs[0].boards[0].tack
    first = len(nets)
    assert first
    other = Options(first="port" if begun == "starboard" else "starboard")
    again = of_case(replace(case, options=other))
    assert len(nets) == first
    assert again.legs[0].boards[0].tack == other.first
    alone = of_case(replace(case, options=other, kept=None))
    assert again.elapsed_h == pytest.approx(alone.elapsed_h, rel=1e-12)
    # Another wind is another net; another process begins with none.
    of_case(replace(case, weather=SteadyWeather(60.0, 10.0)))
    assert len(nets) > 2 * first
    assert not pickle.loads(pickle.dumps(case.kept)).found


# ---- against searches of our own -------------------------------------------------------------


def islets(rng, count, size_nm, east_nm=24.0, north_nm=16.0):
    """Triangles to heptagons at the equator, none on A (0, 0) or B (0, 0.4)."""
    found = []
    while len(found) < count:
        corners = int(rng.integers(3, 8))
        bearing = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
        if np.max(np.diff(np.append(bearing, bearing[0] + 2.0 * np.pi))) > np.pi:
            continue
        off = rng.uniform(*size_nm) * rng.uniform(0.5, 1.0, corners)
        middle = rng.uniform(0.0, east_nm), rng.uniform(-0.5, 0.5) * north_nm
        shape = shapely.Polygon(
            np.column_stack((
                (middle[0] + off * np.sin(bearing)) / EAST_NM,
                (middle[1] + off * np.cos(bearing)) / NORTH_NM,
            ))
        )  # fmt: skip
        if min(shape.distance(Point(0, 0)), shape.distance(Point(0.4, 0))) * 60.0 > 0.4:
            found.append(shape)
    return found


def in_miles(shapes):
    return [shapely.transform(s, lambda p: p * [EAST_NM, NORTH_NM]) for s in shapes]


def fastest_beat_h(shapes, steps, length_nm):
    """Every beat dead to windward on a lattice of 45° steps, tacks at its points alone."""
    step = length_nm / math.sqrt(2.0) / steps
    i, j = np.meshgrid(np.arange(steps + 1), np.arange(steps + 1), indexing="ij")
    east, north = (i + j) * step / math.sqrt(2.0), (i - j) * step / math.sqrt(2.0)
    # Half a metre is left between sea and land: touching is allowed.
    land = shapely.STRtree(shapely.buffer(in_miles(shapes), -0.5 / NM))

    def free(di, dj):
        lines = np.stack((
            np.stack((east, north), -1),
            np.stack((east + (di + dj) * step / math.sqrt(2.0),
                      north + (di - dj) * step / math.sqrt(2.0)), -1),
        ), axis=2).reshape(-1, 2, 2)  # fmt: skip
        clear = np.ones(len(lines), dtype=bool)
        clear[land.query(shapely.linestrings(lines), predicate="intersects")[0]] = False
        return clear.reshape(i.shape)

    hours, tack = step / 5.0, 60.0 / 3600.0
    best = np.full((steps + 1, steps + 1, 2), np.inf)
    best[0, 0] = 0.0
    may = free(1, 0), free(0, 1)
    for a in range(steps + 1):
        for b in range(steps + 1):
            if a:
                here = min(best[a - 1, b, 0], best[a - 1, b, 1] + tack)
                best[a, b, 0] = min(best[a, b, 0], here + hours if may[0][a - 1, b] else np.inf)
            if b:
                here = min(best[a, b - 1, 1], best[a, b - 1, 0] + tack)
                best[a, b, 1] = min(best[a, b, 1], here + hours if may[1][a, b - 1] else np.inf)
    return float(best[steps, steps].min())


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("count", [8, 90])
def test_no_beat_on_a_lattice_is_faster(count, seed):
    rng = np.random.default_rng(1000 * count + seed)
    shapes = islets(rng, count, (0.5, 2.5) if count < 40 else (0.1, 0.5))
    brute_h = fastest_beat_h(shapes, 60, 0.4 * EAST_NM)
    assert math.isfinite(brute_h)
    marks = (Mark(name="A", lat=0.0, lon=0.0), Mark(name="B", lat=0.0, lon=0.4))
    plan = planned(BEATER, marks, [Area(shape=s) for s in shapes], 0.0, 90.0)
    assert plan.elapsed_h <= 1.005 * brute_h
    # Nothing beats the open sea.
    assert plan.elapsed_h >= 0.4 * EAST_NM * math.sqrt(2.0) / 5.0 * (1.0 - 1e-6)


def shortest_nm(shapes):
    """Along lines of sight from corner to corner, all of them looked at (Dijkstra's method)."""
    miles = in_miles(shapes)
    corners = np.concatenate([shapely.get_coordinates(s)[:-1] for s in miles])
    at = np.concatenate(([[0.0, 0.0], [0.4 * EAST_NM, 0.0]], corners))
    one, other = np.triu_indices(len(at), 1)
    lines = shapely.linestrings(np.stack((at[one], at[other]), axis=1))
    inner = shapely.STRtree(shapely.buffer(miles, -0.5 / NM, join_style="mitre"))
    clear = np.ones(len(lines), dtype=bool)
    clear[inner.query(lines, predicate="intersects")[0]] = False
    near = [[] for _ in at]
    for a, b, miles_off in zip(
        one[clear].tolist(), other[clear].tolist(), shapely.length(lines[clear]), strict=True
    ):
        near[a].append((b, miles_off))
        near[b].append((a, miles_off))
    best, waiting = {0: 0.0}, [(0.0, 0)]
    while waiting:
        done, here = heapq.heappop(waiting)
        if here == 1:
            return done
        for there, off in near[here] if done <= best[here] else ():
            if done + off < best.get(there, math.inf):
                best[there] = done + off
                heapq.heappush(waiting, (done + off, there))
    return math.inf


@pytest.mark.long
@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("count", [8, 90])
def test_on_all_courses_alike_she_sails_the_shortest_line(count, seed):
    rng = np.random.default_rng(2000 * count + seed)
    shapes = islets(rng, count, (0.5, 2.5) if count < 40 else (0.1, 0.5))
    brute_h = shortest_nm(shapes) / 6.0
    assert math.isfinite(brute_h)
    marks = (Mark(name="A", lat=0.0, lon=0.0), Mark(name="B", lat=0.0, lon=0.4))
    plan = planned(ALIKE, marks, [Area(shape=s) for s in shapes], 0.0, 90.0)
    assert plan.elapsed_h == pytest.approx(brute_h, rel=3e-3)


def test_the_middle_of_the_strewn_square_is_where_it_says():
    shapes = [area.shape for area in strewn(200, 3)]
    lon, lat = shapely.get_coordinates(shapely.centroid(shapes)).T
    assert (lat.mean(), lon.mean()) == pytest.approx(MIDDLE, abs=0.05)
