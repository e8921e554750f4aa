"""How near a plan passes to the dangers that it was kept clear of."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.foresight.stretches import log_run_nm
from goosewing.records import Near, Passed
from goosewing.weather.base import datetime_from_hours, hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import BoardPoint, Fix, Mark, Plan, Side
    from goosewing.units import Array

FARTHEST_NM = 3.0
"""What lies farther off her track is not met: common practice, no source. [nm]"""

BESIDE_NM = 0.1
"""What lies no farther off where a way begins is told, wherever it bears. [nm]"""


def passed(plan: Plan) -> tuple[Passed, ...]:
    """Tell where a plan's track passes nearest to each of its dangers, in order of time."""
    found = [_nearest(plan, danger) for danger in plan.dangers]
    near = [each for each in found if each is not None and each.distance_nm <= FARTHEST_NM]
    return tuple(sorted(near, key=lambda each: each.time))


def _log_nm(plan: Plan) -> Array:
    """What the log has run at every point of a plan, shape (n,). [nm]."""
    boards = [board for leg in plan.legs for board in leg.boards]
    begins = np.cumsum([0.0, *(board.log_nm for board in boards[:-1])])
    return np.concatenate([
        begin + log_run_nm(board) for begin, board in zip(begins, boards, strict=True)
    ])  # fmt: skip


def _nearest(plan: Plan, danger: Mark) -> Passed | None:
    """Tell where a danger is passed; None if it but lies astern of where she departs."""
    points = [point for leg in plan.legs for board in leg.boards for point in board.points]
    lat, lon = np.array([(point.lat, point.lon) for point in points]).T
    time_h = np.array([hours_from_datetime(point.time) for point in points])
    found = _closest(lat, lon, danger)
    if found.left_astern:
        return None
    log_nm = _log_nm(plan)
    at, abeam = found.at, float(wrap_180(found.bearing_deg - points[found.at].heading_deg))
    return Passed(
        name=danger.name,
        lat=danger.lat,
        lon=danger.lon,
        time=datetime_from_hours(float(time_h[at] + found.share * (time_h[at + 1] - time_h[at]))),
        distance_nm=found.distance_nm,
        bearing_deg=found.bearing_deg,
        side="starboard" if abeam >= 0.0 else "port",
        log_at_nm=float(log_nm[at] + found.share * (log_nm[at + 1] - log_nm[at])),
        course_over_ground_deg=found.course_deg,
    )


def near(dangers: Sequence[Mark], places: Sequence[Fix | BoardPoint]) -> tuple[Near, ...]:
    """Tell how near a way passes to dangers, the nearest first; none that lie but astern of it.

    Parameters
    ----------
    dangers : sequence of Mark
    places : sequence of Fix or BoardPoint
        By which it leads, on rhumb lines from one to the next.
    """
    if len(places) < 2:
        return ()
    lat, lon = np.array([(each.lat, each.lon) for each in places]).T
    found = [
        Near(name=danger.name, distance_nm=closest.distance_nm, side=closest.side)
        for danger in dangers
        if (closest := _closest(lat, lon, danger)).distance_nm <= FARTHEST_NM
        and not closest.left_astern
    ]
    return tuple(sorted(found, key=lambda each: each.distance_nm))


class _Closest(NamedTuple):
    """Where a way is nearest to a danger: so far along its piece of this number."""

    at: int
    share: float
    distance_nm: float
    bearing_deg: float
    side: Side
    """On which hand of the way over the ground it lies there."""
    course_deg: float
    """Of the way there."""

    @property
    def left_astern(self) -> bool:
        """Whether she only goes away from it: nearest where the way begins, abaft the beam."""
        off_deg = abs(float(wrap_180(self.bearing_deg - self.course_deg)))
        begins = self.at == 0 and self.share == 0.0 and self.distance_nm > BESIDE_NM
        return begins and off_deg > 90.0


def _closest(lat: Array, lon: Array, danger: Mark) -> _Closest:
    seen = geodesy.loxodrome_inverse(danger.lat, danger.lon, lat, lon)
    # Where she is as seen from the danger, on a plane that touches the earth there: what is
    # nearest is near enough to it for straight pieces.
    angle = np.radians(seen.bearing_deg)
    place = seen.distance_nm[:, np.newaxis] * np.column_stack((np.sin(angle), np.cos(angle)))
    along = np.diff(place, axis=0)
    length = np.maximum(np.einsum("ij,ij->i", along, along), 1e-18)
    share = np.clip(-np.einsum("ij,ij->i", place[:-1], along) / length, 0.0, 1.0)
    off_nm = np.hypot(*(place[:-1] + share[:, np.newaxis] * along).T)
    at = int(np.argmin(off_nm))
    part = float(share[at])
    piece = geodesy.loxodrome_inverse(lat[at], lon[at], lat[at + 1], lon[at + 1])
    own = geodesy.loxodrome_direct(
        lat[at], lon[at], piece.bearing_deg, part * float(piece.distance_nm)
    )
    line = geodesy.loxodrome_inverse(own.lat, own.lon, danger.lat, danger.lon)
    bearing = float(line.bearing_deg) % 360.0
    abeam = float(wrap_180(bearing - float(piece.bearing_deg)))
    return _Closest(
        at, part, float(line.distance_nm), bearing, "starboard" if abeam >= 0.0 else "port",
        float(piece.bearing_deg) % 360.0,
    )  # fmt: skip
