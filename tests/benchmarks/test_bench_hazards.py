"""What hazards cost: pieces against shapely alone, and a steady plan with and without them.

Run with::

    pytest tests/benchmarks/test_bench_hazards.py --benchmark-enable --benchmark-only

The ratios, each taken within one run, stand in ``extra_info``.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import STRtree
from shapely.geometry import mapping

from archipelagos import across, strewn
from bench_tools import island, seconds
from goosewing.boat.read import read_boat
from goosewing.earth import geodesy
from goosewing.hazards.areas import Area, Hazards
from goosewing.hazards.read.files import read_hazards
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table

SAMPLE = Path(__file__).parents[2] / "sample_routes"
DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
MARKS = (Mark(name="A", lat=57.0, lon=11.0), Mark(name="B", lat=57.0, lon=12.4))


def archipelago(count=500, corners=40):
    """Islands of up to a mile about a passage of 46 nm, none on its marks."""
    rng = np.random.default_rng(3)
    areas = []
    while len(areas) < count:
        lon, lat = rng.uniform(10.5, 13.0), rng.uniform(56.0, 58.0)
        if min(abs(lat - m.lat) + abs(lon - m.lon) for m in MARKS) < 0.1:
            continue
        areas.append(
            island(rng, lat, lon, corners=corners, size_deg=(0.004, 0.02), stretch=1.84,
                   name=f"Island {len(areas)}")
        )  # fmt: skip
    return areas


@pytest.mark.long
@pytest.mark.parametrize("pieces", [10**5, 10**6])
def test_pieces_among_500_polygons(benchmark, pieces):
    areas = archipelago()
    rng = np.random.default_rng(1)
    lat, lon = rng.uniform(56, 58, pieces), rng.uniform(10.5, 13, pieces)
    ends = (lat, lon, lat + rng.normal(0, 0.02, pieces), lon + rng.normal(0, 0.03, pieces))
    hazards = Hazards.of(areas, 0.05)
    found = hazards.crossed(*ends)  # grown, and the grid made
    benchmark.pedantic(hazards.crossed, args=ends, rounds=3, iterations=1)

    grown = hazards.shapes_in(np.array([10.0, 60.0, 14.0, 75.0]))

    def by_shapely():
        hit = np.zeros(pieces, dtype=bool)
        y1, y2 = geodesy.isometric_latitude(ends[0]), geodesy.isometric_latitude(ends[2])
        lines = shapely.linestrings(
            np.stack((np.column_stack((ends[1], y1)), np.column_stack((ends[3], y2))), axis=1)
        )
        hit[STRtree(grown).query(lines, predicate="intersects")[0]] = True
        return hit

    assert np.array_equal(found, by_shapely())
    benchmark.extra_info["microseconds a piece"] = seconds(lambda: hazards.crossed(*ends)) / (
        pieces / 1e6
    )
    benchmark.extra_info["shapely's tree / ours"] = seconds(by_shapely, rounds=1) / seconds(
        lambda: hazards.crossed(*ends)
    )


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [0.0, 90.0, 270.0])
def test_a_steady_plan_among_500_polygons(benchmark, wind_from):
    boat = read_boat(SAMPLE / "brisvik" / "boat.toml")
    weather = SteadyWeather(wind_from, 10.0)
    areas = archipelago()

    def among(hazards):
        return make(MARKS, boat, weather, DEPARTURE, hazards=hazards)

    plan = benchmark.pedantic(lambda: among(Hazards.of(areas, 0.05)), rounds=3, iterations=1)
    free = among(None)
    assert plan.elapsed_h >= free.elapsed_h * (1.0 - 2e-3)
    far = Hazards.of([Area(shape=shapely.box(20.0, 40.0, 21.0, 41.0))], 0.05)
    assert among(far) == free
    alone = seconds(lambda: among(None))
    benchmark.extra_info["with 500 near / without"] = (
        seconds(lambda: among(Hazards.of(areas, 0.05))) / alone
    )
    benchmark.extra_info["with one far / without"] = seconds(lambda: among(far)) / alone
    benchmark.extra_info["boards"] = len(plan.legs[0].boards)


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [45.0, 120.0, 225.0])
@pytest.mark.parametrize("count", [500, 2000, 10_000])
def test_a_steady_plan_among_islands_strewn_over_1600_square_miles(
    benchmark, tmp_path, count, wind_from
):
    marks = across(45.0)
    areas = strewn(count, 1, clear_of=marks)
    boat = read_boat(SAMPLE / "brisvik" / "boat.toml")
    weather = SteadyWeather(wind_from, 10.0)

    def among(hazards):
        return make(marks, boat, weather, DEPARTURE, hazards=hazards)

    # Hazards keep what they have grown: each round begins anew.
    plan = benchmark.pedantic(lambda: among(Hazards.of(areas, 0.05)), rounds=2, iterations=1)
    open_ = among(None)
    benchmark.extra_info["with / without"] = seconds(
        lambda: among(Hazards.of(areas, 0.05)), rounds=1
    ) / seconds(lambda: among(None))
    file = written(tmp_path, areas)
    benchmark.extra_info["with / reading of the file"] = seconds(
        lambda: among(Hazards.of(areas, 0.05)), rounds=1
    ) / seconds(lambda: read_hazards(file), rounds=1)
    benchmark.extra_info["hours / in open water"] = plan.elapsed_h / open_.elapsed_h
    benchmark.extra_info["boards"] = len(plan.legs[0].boards)


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [45.0, 120.0, 225.0])
@pytest.mark.parametrize("count", [2000, 10_000])
def test_changing_wind_among_islands_strewn_over_1600_square_miles(
    benchmark, tmp_path, count, wind_from
):
    marks = across(45.0)
    areas = strewn(count, 1, clear_of=marks)
    boat = read_boat(SAMPLE / "brisvik" / "boat.toml")
    rows = [
        f"{(DEPARTURE + timedelta(hours=h)).isoformat()},{(wind_from + 3.0 * h) % 360.0:.1f},10"
        for h in range(0, 60, 2)
    ]
    weather = parse_table("\n".join(["time,wind_from_deg,wind_kn", *rows]))

    def among(hazards):
        return make(marks, boat, weather, DEPARTURE, hazards=hazards)

    plan = benchmark.pedantic(lambda: among(Hazards.of(areas, 0.05)), rounds=2, iterations=1)
    open_ = among(None)
    with_s = seconds(lambda: among(Hazards.of(areas, 0.05)), rounds=1)
    file = written(tmp_path, areas)
    benchmark.extra_info["with / without"] = with_s / seconds(lambda: among(None))
    benchmark.extra_info["with / reading of the file"] = with_s / seconds(
        lambda: read_hazards(file), rounds=1
    )
    benchmark.extra_info["hours / in open water"] = plan.elapsed_h / open_.elapsed_h
    benchmark.extra_info["boards"] = len(plan.legs[0].boards)


def written(folder, areas):
    """Write areas as GeoJSON."""
    features = [
        {"type": "Feature", "properties": {"name": each.name}, "geometry": mapping(each.shape)}
        for each in areas
    ]
    path = folder / "islands.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path
