"""Passages in changing wind through random small archipelagos, each looked over by others' means.

    python tests/robust/archipelagos_campaign.py --cases 200 --seed 1

Each case is made by its number alone. What must hold of it is in `faults_of`: boards no nearer to
an island than the clearance (PROJ's geodesics), none of her own alternatives that she was free
to sail faster than the plan, and each order, held by a stranger, ending where the plan says.
What didn't is printed, a line a case.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
import shapely
from pyproj import Geod

sys.path.insert(0, str(Path(__file__).parents[1]))

from archipelagos import across, strewn
from goosewing.boat.read import read_boat
from goosewing.case import Case
from goosewing.errors import NoPlanError
from goosewing.exchange.document import format_plan_json
from goosewing.foresight import alternatives
from goosewing.hazards.areas import Hazards
from goosewing.hazards.kept import Kept
from goosewing.plan import of_case
from goosewing.weather.table import parse_table
from order_sailor import sail_plan

BOAT = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"
DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
GEOD = Geod(ellps="WGS84")
NM = 1852.0

CLOSER_NM = 1.0 / NM
"""What is turned at stands a metre farther out; half a metre is the integration's."""

SEES_NM = 0.02
"""Boards are looked at so closely."""


class Told(NamedTuple):
    """What came of one case."""

    faults: list[str]
    boards: int
    adopted_min: float
    """By how much the plan told is faster than that which was found first."""
    cpu_s: float


def case_of(seed: int, boat) -> tuple[Case, list]:
    """Make a case by its number."""
    rng = np.random.default_rng([16, seed])
    length = float(rng.uniform(5.0, 11.0))
    marks = across(float(rng.uniform(0.0, 360.0)), length)
    side = 1.5 * length
    count = int(np.exp(rng.uniform(np.log(4.0), np.log(260.0))))
    areas = strewn(count, seed, clear_of=marks, side_nm=side, radius_nm=(0.03, 0.25))
    clearance = float(rng.choice([0.0, 0.03, 0.05, 0.1]))
    from_deg, knots = rng.uniform(0.0, 360.0), rng.uniform(6.0, 16.0)
    turn, more = rng.uniform(-9.0, 9.0), rng.uniform(-0.6, 0.6)
    rows = [
        f"{(DEPARTURE + timedelta(hours=h)).isoformat()},"
        f"{(from_deg + turn * h + 8.0 * np.sin(h)) % 360.0:.4f},"
        f"{max(knots + more * h, 5.0):.4f}"
        for h in range(0, 40)
    ]
    weather = parse_table("\n".join(["time,wind_from_deg,wind_kn", *rows]))
    case = Case(
        marks=marks, boat=boat, weather=weather, departure=DEPARTURE,
        hazards=Hazards.of(areas, clearance), kept=Kept(),
    )  # fmt: skip
    return case, areas


def least_offing_nm(plan, areas) -> float:
    """Least geodesic distance from boards, point by point, to islands; -inf over one."""
    tree = shapely.STRtree([area.shape for area in areas])
    least = math.inf
    for board in (board for leg in plan.legs for board in leg.boards):
        ends = np.array([(point.lat, point.lon) for point in board.points])
        share = np.linspace(0.0, len(ends) - 1.0, 1 + int(board.distance_nm / SEES_NM) + len(ends))
        lat, lon = (np.interp(share, np.arange(len(ends)), column) for column in ends.T)
        places = shapely.points(lon, lat)
        place, shape = tree.query(places, predicate="dwithin", distance=0.01)
        shores = tree.geometries[shape]
        if shapely.intersects(shapely.buffer(shores, -1e-6), places[place]).any():
            return -math.inf
        foot = shapely.shortest_line(places[place], shapely.boundary(shores))
        foot = shapely.get_coordinates(foot).reshape(-1, 2, 2)
        off = GEOD.inv(foot[:, 0, 0], foot[:, 0, 1], foot[:, 1, 0], foot[:, 1, 1])[2]
        least = min(least, float(np.min(off, initial=np.inf)) / NM)
    return least


def faults_of(case: Case, areas, plan) -> list[str]:
    """Say what doesn't hold of a plan with its alternatives."""
    faults = []
    off = least_offing_nm(plan, areas)
    clearance = case.hazards.clearance_nm
    if off < clearance - CLOSER_NM:
        faults.append(f"{off:.4f} nm off an island, {clearance:g} asked")
    faults += [
        f"{each.kind} {-60.0 * each.added_min:.0f} s faster than the plan"
        for leg in plan.legs
        for each in leg.alternatives
        if each.added_min < -alternatives.FASTER_MIN
    ]
    document = json.loads(format_plan_json(plan))
    for number, board in enumerate(sail_plan(case.boat, case.weather, document), 1):
        if not board.as_told:
            faults.append(
                f"board {number} of {board.length_nm:.2f} nm missed by {board.miss_nm} nm"
            )
        if board.outside_deg > 0.5 or board.by_the_lee_deg > 3.5:
            faults.append(
                f"board {number} is {board.outside_deg:.1f}° outside its sector, "
                f"{board.by_the_lee_deg:.1f}° by the lee"
            )
    return faults


def look_at(seed: int, boat) -> Told | None:
    """Plan a case and look it over; None where no way leads through."""
    case, areas = case_of(seed, boat)
    begun = time.process_time()
    try:
        found = of_case(case)
    except NoPlanError:
        return None
    plan = alternatives.add(case, found)
    cpu = time.process_time() - begun
    faster = 60.0 * (found.elapsed_h - plan.elapsed_h)
    boards = sum(len(leg.boards) for leg in plan.legs)
    return Told(faults_of(case, areas, plan), boards, faster, cpu)


def main() -> int:
    """Run a campaign."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    boat, wrong, none, adopted = read_boat(BOAT), 0, 0, []
    for seed in range(asked.seed, asked.seed + asked.cases):
        told = look_at(seed, boat)
        if told is None:
            none += 1
            continue
        if told.adopted_min > 0.0:
            adopted.append(told.adopted_min)
            print(f"{seed}: {told.adopted_min:.2f} min faster by an alternative", flush=True)
        if told.faults:
            wrong += 1
            print(f"{seed}: {'; '.join(told.faults)}", flush=True)
    print(
        f"{asked.cases} cases: {wrong} wrong, {none} without a way, {len(adopted)} made faster by "
        f"an alternative, by {max(adopted, default=0.0):.1f} min at most"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
