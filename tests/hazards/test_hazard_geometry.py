"""Areas and clearances held against geodesics, spherical formulae and shapely on fine lines."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely import LineString, MultiPolygon, Point, Polygon, box

from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.hazards.areas import Area, Hazards
from goosewing.hazards.outlines import shrunk

GEOD = Geod(ellps="WGS84")
NM = 1852.0
EVERYWHERE = np.array([-180.0, -90.0, 180.0, 90.0])


def star(rng, lat, lon, size_nm, corners):
    """A ragged island about a place, its outline straight in latitude and longitude."""
    bearing = (np.arange(corners) + rng.uniform(0.0, 0.8, corners)) * 360.0 / corners
    off = size_nm * rng.uniform(0.3, 1.0, corners)
    lons, lats, _ = GEOD.fwd(np.full(corners, lon), np.full(corners, lat), bearing, off * NM)
    return Polygon(np.column_stack((lon + (lons - lon + 180.0) % 360.0 - 180.0, lats)))


def outline_points(shape, apart_deg):
    return shapely.get_coordinates(shapely.segmentize(shape.exterior, apart_deg))


def distance_nm(shape, lat, lon, size_nm):
    """How far a place lies from an outline: the least of geodesics to closely set points."""
    points = outline_points(shape, size_nm / 60.0 / 400.0)
    stretch = np.array([math.cos(math.radians(lat)), 1.0])
    near = np.argsort(np.hypot(*((points - [lon, lat]) * stretch).T))[:400]
    here = np.full(len(near), 1.0)
    metres = GEOD.inv(here * lon, here * lat, points[near, 0], points[near, 1])[2]
    return float(np.min(metres)) / NM


# ---- the clearance ---------------------------------------------------------------------------


@settings(deadline=None, max_examples=40)
@given(
    seed=st.integers(0, 10**6),
    lat=st.floats(-80.0, 80.0),
    clearance=st.floats(0.05, 5.0),
    size=st.floats(0.3, 40.0),
    bearing=st.floats(0.0, 360.0),
)
def test_the_clearance_is_never_less_than_asked_and_at_most_one_percent_more(
    seed, lat, clearance, size, bearing
):
    rng = np.random.default_rng(seed)
    shape = star(rng, lat, 12.0, size, 9)
    hazards = Hazards.of([Area(shape=shape)], clearance)
    # Along a ray from inside the outline, where do places stop being forbidden?
    far = 2.0 * (size + clearance)
    reach = np.linspace(0.0, far, 1500)
    inner = shape.representative_point()
    n = np.ones(len(reach))
    lon, lats, _ = GEOD.fwd(n * inner.x, n * inner.y, n * bearing, reach * NM)
    inside = hazards.inside(lats, lon)
    last = int(np.flatnonzero(inside)[-1])
    outermost = distance_nm(shape, lats[last], lon[last], size)
    # The outline's own points stand size/400 apart, of which a chord hides next to nothing.
    blur = 0.5 * (size / 400.0) ** 2 / clearance
    assert outermost <= clearance * 1.01 + blur
    assert distance_nm(shape, lats[last + 1], lon[last + 1], size) >= clearance - 1e-6 * clearance


@pytest.mark.parametrize(
    ("lat", "off"),
    [(0.0, 2.0), (57.0, 2.0), (-70.0, 2.0), (80.0, 2.0), (75.0, 20.0), (-60.0, 20.0)],
)
def test_a_rock_is_a_circle_of_its_clearance(lat, off):
    # Geodesics from the rock itself, all round (pyproj).
    tiny = 1e-7
    rock = box(10.0 - tiny, lat - tiny, 10.0 + tiny, lat + tiny)
    hazards = Hazards.of([Area(shape=rock)], off)
    bearing = np.arange(0.0, 360.0, 1.0)
    n = np.ones(len(bearing))
    for share, wanted in ((0.9999, True), (1.0101, False)):
        lon, lats, _ = GEOD.fwd(10.0 * n, lat * n, bearing, off * share * NM * n)
        assert np.all(hazards.inside(lats, lon) == wanted)


def test_a_coast_ten_degrees_tall_keeps_its_clearance_from_end_to_end():
    # Offset along parallels from a meridian: the cross-track distance on the sphere is
    # asin(cos φ sin Δλ), and an ellipsoid's differs from it by less than 1 % (WGS 84: f = 1/298).
    coast = box(10.0, 50.0, 12.0, 75.0)
    hazards = Hazards.of([Area(shape=coast)], 1.0)
    for lat in np.linspace(51.0, 74.0, 40):
        one_mile = math.degrees(math.asin(math.sin(1.0 / 3440.1) / math.cos(math.radians(lat))))
        assert hazards.inside(lat, 10.0 - 0.99 * one_mile)
        assert not hazards.inside(lat, 10.0 - 1.02 * one_mile)


# ---- what crosses ----------------------------------------------------------------------------


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10**6), lat=st.floats(-75.0, 75.0))
def test_pieces_cross_what_their_fine_lines_cross(seed, lat):
    rng = np.random.default_rng(seed)
    shapes = [star(rng, lat + rng.uniform(-0.3, 0.3), 20.0 + rng.uniform(-0.5, 0.5),
                   rng.uniform(1.0, 12.0), 12) for _ in range(6)]  # fmt: skip
    hazards = Hazards.of([Area(shape=shape) for shape in shapes])
    lat1, lat2 = lat + rng.uniform(-0.5, 0.5, (2, 60))
    lon1, lon2 = 20.0 + rng.uniform(-0.8, 0.8, (2, 60))
    found = hazards.crossed(lat1, lon1, lat2, lon2)
    whole = shapely.union_all(shapes)
    for i in range(60):
        # A loxodrome densified by its own points; in longitude and latitude by shapely alone.
        line = geodesy.loxodrome_inverse(lat1[i], lon1[i], lat2[i], lon2[i])
        along = np.linspace(0.0, float(line.distance_nm), 400)
        points = geodesy.loxodrome_direct(lat1[i], lon1[i], line.bearing_deg, along)
        run = LineString(np.column_stack((points.lon, points.lat)))
        over_nm = run.intersection(whole).length * 60.0
        if over_nm == 0.0 and run.distance(whole) > 1e-5:
            assert not found[i]
        if run.intersection(whole.buffer(-5.0 / 1852.0 / 20.0)).length > 0.0:
            assert found[i]


@pytest.mark.parametrize("clearance", [0.0, 0.3])
def test_lines_along_an_outline_and_through_its_corners_do_not_cross(clearance):
    rng = np.random.default_rng(4)
    for lat in (0.0, 57.0, -65.0):
        hazards = Hazards.of([Area(shape=star(rng, lat, 5.0, 4.0, 14))], clearance)
        for spacing in (0.0, 0.25):
            corners = hazards.corners(np.array([0]), EVERYWHERE, spacing)
            assert len(corners.solid) >= 3
            for neighbour in (corners.before, corners.after):
                ends = np.concatenate((corners.places, neighbour), axis=1)
                assert not hazards.met(ends).any()


def test_an_edge_run_along_is_touched_and_two_metres_inside_it_are_crossed():
    hazards = Hazards.of([Area(shape=box(11.0, 57.0, 11.2, 57.1))])
    metre = 1.0 / NM / 60.0
    assert not hazards.crossed(57.0, 10.9, 57.0, 11.3)
    assert not hazards.crossed(57.0 + 0.9 * metre, 10.9, 57.0 + 0.9 * metre, 11.3)
    assert hazards.crossed(57.0 + 2.0 * metre, 10.9, 57.0 + 2.0 * metre, 11.3)


def test_a_mole_thinner_than_the_rim_is_no_gap():
    # A metre wide and a mile long, built out from a shore.
    mole = Polygon([(10.0, 55.0), (10.1, 55.0), (10.1, 54.9), (10.05001, 54.9), (10.05001, 54.88),
                    (10.05, 54.88), (10.05, 54.9), (10.0, 54.9)])  # fmt: skip
    hazards = Hazards.of([Area(shape=mole)])
    assert hazards.crossed(54.89, 10.04, 54.89, 10.06)
    assert not hazards.crossed(54.87, 10.04, 54.87, 10.06)


def test_tiles_of_one_land_leave_no_slit_between_them():
    tiles = [Area(shape=box(10.0, 55.0, 10.5, 56.0)), Area(shape=box(10.5, 55.0, 11.0, 56.0))]
    assert Hazards.of(tiles).crossed(54.9, 10.5, 56.1, 10.5)


def test_lagoons_are_free_and_their_rims_are_not():
    atoll = Polygon(
        [(10, 0), (10.3, 0), (10.3, 0.3), (10, 0.3)],
        [[(10.1, 0.1), (10.2, 0.1), (10.2, 0.2), (10.1, 0.2)]],
    )
    hazards = Hazards.of([Area(shape=atoll, name="Atoll")])
    assert not hazards.crossed(0.15, 10.11, 0.15, 10.19)
    assert hazards.crossed(0.15, 10.11, 0.15, 10.4)
    assert hazards.at(0.05, 10.05).name == "Atoll"
    assert hazards.at(0.15, 10.15) is None


@settings(deadline=None, max_examples=25)
@given(seed=st.integers(0, 10**6), lat=st.floats(-70.0, 70.0), turn=st.floats(-180.0, 180.0))
def test_the_antimeridian_is_no_edge(seed, lat, turn):
    rng = np.random.default_rng(seed)
    shape = star(rng, lat, 0.0, 10.0, 11)
    lat1, lat2 = lat + rng.uniform(-0.4, 0.4, (2, 40))
    lon1, lon2 = rng.uniform(-0.6, 0.6, (2, 40))
    here = Hazards.of([Area(shape=shape)], 0.2)
    there = Hazards.of(
        [Area(shape=shapely.transform(shape, lambda p: p + np.array([turn, 0.0])))], 0.2
    )
    wrapped = ((lon + turn + 180.0) % 360.0 - 180.0 for lon in (lon1, lon2))
    far1, far2 = wrapped
    # Rounding of the turned places moves the outline by less than this share of the pieces.
    differ = here.crossed(lat1, lon1, lat2, lon2) != there.crossed(lat1, far1, lat2, far2)
    assert differ.sum() <= 1


def test_an_area_given_in_two_halves_at_the_antimeridian_is_one():
    halves = MultiPolygon([box(179.5, -17.0, 180.0, -16.0), box(-180.0, -17.0, -179.5, -16.0)])
    hazards = Hazards.of([Area(shape=halves)])
    assert hazards.crossed(-16.5, 179.0, -16.5, -179.0)
    assert hazards.crossed(-18.0, 180.0, -15.0, -180.0)
    assert not hazards.crossed(-16.5, 178.0, -16.5, 179.0)
    jumping = Polygon([(179.5, -17.0), (-179.5, -17.0), (-179.5, -16.0), (179.5, -16.0)])
    assert Hazards.of([Area(shape=jumping)]).inside(-16.5, -179.9)
    assert not Hazards.of([Area(shape=jumping)]).inside(-16.5, 0.0)


def test_many_pieces_are_judged_as_each_alone():
    # The grid, the cutting of long pieces and the plain test must say the same.
    rng = np.random.default_rng(9)
    areas = [Area(shape=star(rng, rng.uniform(54, 58), rng.uniform(8, 13), 6.0, 30))
             for _ in range(60)]  # fmt: skip
    n = 6000
    lat1, lat2 = rng.uniform(53.5, 58.5, (2, n))
    lon1, lon2 = rng.uniform(7.5, 13.5, (2, n))
    short = rng.random(n) < 0.7
    lat2, lon2 = np.where(short, lat1 + 0.02, lat2), np.where(short, lon1 + 0.03, lon2)
    many = Hazards.of(areas, 0.1).crossed(lat1, lon1, lat2, lon2)
    few = Hazards.of(areas, 0.1)
    parts = [few.crossed(lat1[i : i + 500], lon1[i : i + 500], lat2[i : i + 500], lon2[i : i + 500])
             for i in range(0, n, 500)]  # fmt: skip
    assert np.array_equal(many, np.concatenate(parts))
    assert 0.05 < many.mean() < 0.95


def test_the_first_area_met_is_named():
    areas = [Area(shape=box(11.0 + i, 57.0, 11.5 + i, 57.2), name=f"Holm {i}", source="c.geojson")
             for i in range(3)]  # fmt: skip
    for clearance in (0.0, 0.3):
        hazards = Hazards.of(areas, clearance)
        assert hazards.what_blocks(57.1, 10.0, 57.1, 15.0).called == "Holm 0 (c.geojson)"
        assert hazards.what_blocks(57.1, 15.0, 57.1, 10.0).called == "Holm 2 (c.geojson)"
        assert hazards.what_blocks(57.1, 12.2, 57.1, 10.0).called == "Holm 1 (c.geojson)"
        assert hazards.what_blocks(58.0, 10.0, 58.0, 15.0) is None


@settings(deadline=None, max_examples=30)
@given(seed=st.integers(0, 10**6), lat=st.floats(-75.0, 75.0))
def test_distances_to_an_area_are_geodesics(seed, lat):
    rng = np.random.default_rng(seed)
    shape = star(rng, lat, 30.0, 5.0, 10)
    area = Area(shape=shape)
    hazards = Hazards.of([area])
    at_lat, at_lon = lat + rng.uniform(-0.2, 0.2), 30.0 + rng.uniform(-0.3, 0.3)
    wanted = distance_nm(shape, at_lat, at_lon, 5.0)
    sign = -1.0 if shape.contains(Point(at_lon, at_lat)) else 1.0
    # The outline's points stand 1/80 nm apart.
    found = hazards.distance_nm(at_lat, at_lon, area)
    assert found == pytest.approx(sign * wanted, abs=0.007, rel=1e-3)


# ---- what is refused -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "word"),
    [
        (LineString([(0, 0), (1, 1)]), "polygon"),
        (Point(0, 0), "polygon"),
        (Polygon(), "empty"),
        (box(0, 80, 1, 95), "latitudes"),
        (None, "polygon"),
    ],
)
def test_what_is_no_area_is_refused_by_name(shape, word):
    with pytest.raises(InputError, match=word) as refused:
        Hazards.of([Area(shape=shape, name="Holm", source="c.geojson")])
    assert "Holm" in str(refused.value)
    assert "c.geojson" in str(refused.value)


@pytest.mark.parametrize("clearance", [-0.1, 21.0, float("nan")])
def test_a_clearance_without_sense_is_refused(clearance):
    with pytest.raises(InputError, match="clearance"):
        Hazards.of([Area(shape=box(0, 0, 1, 1))], clearance)


def test_nothing_crosses_nothing():
    none = Hazards.of([])
    assert len(none) == 0
    assert not none.crossed([0.0, 1.0], 0.0, 5.0, 5.0).any()
    assert none.at(0.0, 0.0) is None
    one = Hazards.of([Area(shape=box(0, 0, 1, 1))])
    assert not one.crossed(np.nan, 0.5, 0.5, 0.5)
    assert one.crossed([0.5, 2.0], 0.5, 0.5, [[0.6], [0.7]]).shape == (2, 2)


def test_a_triangle_over_the_pole_is_grown_and_crossed():
    shape = Polygon([(11.0, 56.0), (20.0, 90.0), (13.0, 56.0)])
    hazards = Hazards.of([Area(shape=shape)], 0.1)
    assert hazards.crossed(57.0, 10.0, 57.0, 14.0)
    # Its western edge at 57°, by the straight line from 11° at 56° to 20° at 90°, and 0.1 nm off.
    edge = 11.0 + 9.0 / 34.0
    off = 0.1 / 60.0 / np.cos(np.radians(57.0))
    assert not hazards.inside(57.0, edge - 1.05 * off)
    assert hazards.inside(57.0, edge - 0.9 * off)
    assert hazards.inside(88.0, 19.5)


def test_of_an_islet_whose_rim_crosses_itself_the_outermost_metre_comes_off_alike():
    # Found among 4,500 at random: taking a metre off it, GEOS leaves a crossing outline.
    ragged = shapely.from_wkt(
        "POLYGON ((18.229412654897065 70.77964385577397, 18.22895229761157 70.78111793197893, "
        "18.230644895304973 70.7809539077912, 18.230815448833894 70.78319551461821, "
        "18.232282638730062 70.78105082689336, 18.233408252762494 70.78216501600247, "
        "18.233178935593095 70.78219432811728, 18.2322214414784 70.78242115480596, "
        "18.232129109199647 70.78333898300075, 18.23271569824023 70.78413532925713, "
        "18.23175817608187 70.78505115943487, 18.233072833862394 70.78523635325371, "
        "18.23339907936355 70.78577601741917, 18.23397737005104 70.786039718812, "
        "18.234601575584097 70.78667032960922, 18.235272341224608 70.78618177126847, "
        "18.2354175747589 70.78524867574642, 18.236631116851065 70.78559704093034, "
        "18.23613016517229 70.78462767093205, 18.237307656728767 70.78413532925713, "
        "18.236551550583886 70.78350726925973, 18.236345225963984 70.78287954661181, "
        "18.23598228108405 70.78225154129647, 18.235336195402414 70.7818941455709, "
        "18.234601575584097 70.78234624635476, 18.233933726808147 70.78209784809, "
        "18.233417088074408 70.7821638866423, 18.23396781891607 70.7810186267852, "
        "18.235055691634827 70.780716586638, 18.235046917412802 70.77960981172603, "
        "18.236698322502722 70.77871953731596, 18.235944551122124 70.77754018559891, "
        "18.236304851707335 70.77582299469702, 18.234104234716085 70.77623442417628, "
        "18.233688501022527 70.7744309320373, 18.232282638730062 70.77631875511973, "
        "18.231235452242117 70.77552505233845, 18.230766171627184 70.7766506899992, "
        "18.229178247624976 70.77648394081504, 18.227748215056987 70.77725918856432, "
        "18.22811940209778 70.77871953731596, 18.229412654897065 70.77964385577397))"
    )
    (left,) = shrunk(np.array([ragged], dtype=object), 1.0)
    assert left.geom_type in ("Polygon", "MultiPolygon")
    assert left.is_valid
    metre = 1.0 / 1852.0 / float(geodesy.miles_per_degree(58.0))
    assert ragged.buffer(1e-9).covers(left)
    # All but a few square centimetres at its spikes.
    assert ragged.buffer(-1.5 * metre).difference(left).area < 0.01 * metre**2
