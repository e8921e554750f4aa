"""Targets against a brute-force grid worked from the tables' own cells."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.spatial import ConvexHull

from goosewing.boat.model import SailSet
from goosewing.errors import InputError
from goosewing.velocities.targets import targets

BRISVIK = Path(__file__).parents[2] / "sample_routes" / "brisvik"
STEP = 0.05


def table(name):
    """A CSV table, read by nothing of ours: winds, angles, cells."""
    with (BRISVIK / name).open(encoding="utf-8") as file:
        text = file.read()
    rows = list(csv.reader(text.splitlines(), csv.Sniffer().sniff(text.splitlines()[0])))
    cells = np.array([[float(cell) for cell in row[1:]] for row in rows])
    return cells[0], np.array([float(row[0]) for row in rows[1:]]), cells[1:]


def at(name, twa, tws):
    """The documented interpolation: shape-preserving in angle, linear between wind columns."""
    winds, angles, cells = table(name)
    if winds[0] > 0.0:
        winds, cells = np.append(0.0, winds), np.hstack((np.zeros((len(angles), 1)), cells))
    columns = PchipInterpolator(angles, cells, axis=0)(twa)
    right = int(np.searchsorted(winds, tws))
    share = (tws - winds[right - 1]) / (winds[right] - winds[right - 1])
    return columns[:, right - 1] * (1 - share) + columns[:, right] * share


def grid(tws, files=("main-and-jib.csv", "main-and-jib-heel.csv")):
    _, angles, _ = table(files[0])
    twa = np.arange(angles[0], angles[-1] + STEP / 2, STEP)
    twa = twa[twa <= angles[-1]]
    speed, heel = at(files[0], twa, tws), at(files[1], twa, tws)
    leeway = np.minimum(10.0 * heel / speed**2, 20.0)
    return twa, speed, heel, leeway


@pytest.mark.parametrize("tws", [6.0, 9.0, 12.5, 18.0])
@pytest.mark.parametrize("way", ["upwind", "downwind"])
def test_targets_are_those_of_a_grid_at_a_twentieth_of_a_degree(brisvik, tws, way):
    twa, speed, heel, leeway = grid(tws)
    vmg = speed * np.cos(np.radians(twa + leeway)) * (1.0 if way == "upwind" else -1.0)
    best = int(np.argmax(vmg))
    found = getattr(targets(brisvik, [tws]).wind_speeds[0], way)
    ours = next(each for each in found if each.sail_set == "main and jib")
    assert ours.twa_deg == pytest.approx(twa[best], abs=STEP)
    assert ours.vmg_kn == pytest.approx(vmg[best], rel=1e-6)
    assert ours.boat_speed_kn == pytest.approx(speed[best], abs=0.01)
    assert ours.heel_deg == pytest.approx(heel[best], abs=0.02)
    assert ours.leeway_deg == pytest.approx(leeway[best], abs=0.01)
    inside = twa[vmg >= 0.99 * vmg[best]]
    assert ours.groove_twa_deg == pytest.approx((inside[0], inside[-1]), abs=2 * STEP)


def test_the_apparent_wind_is_the_triangle_of_true_wind_and_water_track(brisvik):
    for target in targets(brisvik, [10.0]).wind_speeds[0].upwind:
        # Bow north; the wind as a vector towards, less the boat's own motion along her track.
        twa, leeway = np.radians(target.twa_deg), np.radians(target.leeway_deg)
        # Wind on starboard from +twa, so that leeway carries her to port.
        wind = -10.0 * np.array([np.sin(twa), np.cos(twa)])
        boat = target.boat_speed_kn * np.array([-np.sin(leeway), np.cos(leeway)])
        apparent = wind - boat
        awa = np.degrees(np.arctan2(-apparent[0], -apparent[1]))
        assert target.awa_deg == pytest.approx(awa, abs=1e-6)


@pytest.mark.parametrize("tws", [6.0, 10.0, 12.0])
def test_what_is_not_worth_sailing_lies_between_neighbouring_corners_of_the_hull(brisvik, tws):
    twa, speed, _, leeway = grid(tws)
    track = np.radians(twa + leeway)
    half = np.column_stack((speed * np.sin(track), speed * np.cos(track)))
    points = np.vstack((half, half * [-1.0, 1.0]))
    corners = np.sort([i for i in ConvexHull(points).vertices if i < len(twa)])
    jib = replace(brisvik, sail_sets=brisvik.sail_sets[:1])
    sectors = [s.twa_deg for s in targets(jib, [tws]).wind_speeds[0].not_worth_sailing]
    expected = [(twa[0], twa[corners[0]]), (twa[corners[-1]], twa[-1])]
    assert len(sectors) == 2
    for ours, theirs in zip(sectors, expected, strict=True):
        assert ours == pytest.approx(theirs, abs=3 * STEP)
    (carried,) = [s.twa_deg for s in targets(jib, [tws]).wind_speeds[0].carry]
    assert carried == pytest.approx((expected[0][1], expected[1][0]), abs=3 * STEP)


def test_wing_and_wing_is_carried_dead_before_the_wind_and_the_jib_on_a_reach(brisvik):
    carry = {s.sail_set: s.twa_deg for s in targets(brisvik, [10.0]).wind_speeds[0].carry}
    assert carry["wing-and-wing"] == pytest.approx((170.0, 180.0))
    low, high = carry["main and jib"]
    assert low < 50.0
    assert 120.0 < high < 170.0


def test_every_sail_set_in_its_own_wind_only(brisvik):
    found = targets(brisvik, [10.0, 25.0])
    names = [{t.sail_set for t in wind.downwind} for wind in found.wind_speeds]
    assert "wing-and-wing" in names[0]
    assert "wing-and-wing" not in names[1]


def test_a_wind_that_nothing_bears_is_said(brisvik):
    assert targets(brisvik, [60.0]).notices == ("No sail set may be carried in 60 kn.",)


@pytest.mark.parametrize("tws", [0.0, -3.0, 200.0, float("nan")])
def test_no_wind_is_refused(brisvik, tws):
    with pytest.raises(InputError, match="above 0 and under 150"):
        targets(brisvik, [tws])


def test_one_angle_alone_is_its_own_target():
    from goosewing.boat.model import Boat, PolarTable

    polar = PolarTable(
        tws_kn=np.array([5.0, 20.0]), twa_deg=np.array([60.0]), values=np.array([[4.0, 6.0]])
    )
    boat = Boat(name="one", sail_sets=(SailSet(name="main", polar=polar),))
    (wind,) = targets(boat, [5.0]).wind_speeds
    assert wind.upwind[0].vmg_kn == pytest.approx(2.0)
    assert wind.downwind == ()


def with_no_balance(boat, twa_deg, tws_kn):
    """The boat with no speed up to this angle from this wind on, as an estimate leaves it."""
    sails = boat.sail_sets[0]
    values = np.array(sails.polar.values)
    values[np.ix_(sails.polar.twa_deg <= twa_deg, sails.polar.tws_kn >= tws_kn)] = 0.0
    return replace(
        boat,
        sail_sets=(
            replace(sails, polar=replace(sails.polar, values=values)),
            *boat.sail_sets[1:],
        ),
    )


def test_sails_that_make_no_way_are_not_to_be_carried(brisvik):
    angles = brisvik.sail_sets[0].polar.twa_deg
    last = float(angles[angles <= 60.0][-1])
    still = with_no_balance(brisvik, last, 20.0)
    wind = targets(still, [20.0]).wind_speeds[0]
    assert wind.carry
    for sector in wind.carry:
        if sector.sail_set == still.sail_sets[0].name:
            assert sector.twa_deg[0] > last
    (first, *_) = wind.not_worth_sailing
    assert first.twa_deg[0] == pytest.approx(float(angles[0]), abs=STEP)
    assert first.twa_deg[1] >= last


def test_where_nothing_makes_way_nothing_is_carried(brisvik):
    sails = brisvik.sail_sets[0]
    polar = replace(sails.polar, values=np.zeros_like(sails.polar.values))
    becalmed = replace(brisvik, sail_sets=(replace(sails, polar=polar),))
    wind = targets(becalmed, [12.0]).wind_speeds[0]
    assert (wind.carry, wind.upwind, wind.downwind) == ((), (), ())
