"""The least time that any boards could take where the wind changes with time only.

Without manoeuvre costs, and with wind and stream the same everywhere, a
displacement D can be made in time T if and only if, for every direction λ,

    ∫₀ᵀ h(λ, t) dt ≥ λ·D,    h(λ, t) = max over the velocities v held at t of λ·v,

since the right-hand sum of convex sets is told by its support function. This is
the dual of the linear programme ``min T: D = Σ Δt·conv(U(t))``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.velocities.velocity_set import airs_at_one_place, velocity_set

if TYPE_CHECKING:
    from goosewing.changing.motion import Waters
    from goosewing.earth.course import Course
    from goosewing.units import Array

TIME_STEP_H = 1.0 / 12.0
DIRECTIONS = 1440
"""A quarter of a degree apart: the bound is low by less than 1e-5."""

LONGEST_H = 24.0 * 60.0
"""Passages longer than this get no bound. [h]"""


def least_time_h(waters: Waters, course: Course, start_h: float, at_most_h: float) -> float | None:
    """Return the least time in which a leg could be sailed from a given hour.

    Parameters
    ----------
    waters : Waters
        Whose weather changes with time only.
    course : Course
    start_h : float
        Hours since 1970-01-01T00:00Z. [h]
    at_most_h : float
        A time in which it is known to be possible. [h]

    Returns
    -------
    float or None
        None if the weather ends before. [h]
    """
    if at_most_h > LONGEST_H:
        return None
    step = min(TIME_STEP_H, at_most_h / 50.0)
    count = int(np.ceil(at_most_h * 1.02 / step)) + 1
    bearing = np.radians(np.arange(DIRECTIONS) * (360.0 / DIRECTIONS))
    toward = np.column_stack((np.sin(bearing), np.cos(bearing)))
    angle = np.radians(course.bearing_deg)
    needed = course.distance_nm * (toward @ np.array([np.sin(angle), np.cos(angle)]))
    # No piece goes across a shift at a stroke.
    strokes = [at for at in waters.strokes_h if start_h < at < start_h + count * step]
    ends = np.unique(np.concatenate((start_h + np.arange(count + 1) * step, strokes)))
    each = np.diff(ends)[:, np.newaxis]
    middles = 0.5 * (ends[1:] + ends[:-1])
    gained = np.cumsum([_support(waters, course, t, toward) for t in middles] * each, axis=0)
    return _first_time(gained, needed, ends - start_h)


def _support(waters: Waters, course: Course, time_h: float, toward: Array) -> Array:
    """Farthest that the boat's velocities reach in each direction, shape (d,), in knots."""
    here = waters.airs(time_h, course.lat1, course.lon1)
    held = velocity_set(waters.boat, airs_at_one_place(here), step_deg=0.5)
    if not len(held):
        return np.full(len(toward), np.nan)
    reach: Array = np.max(toward @ np.vstack((held.east_kn, held.north_kn)), axis=1)
    return reach


def _first_time(gained: Array, needed: Array, ends_h: Array) -> float | None:
    """First time from which every direction has gained what it needs; pieces end at `ends_h`."""
    missing = needed - gained
    short = np.max(missing, axis=1)
    if not np.isfinite(short).any():
        return None
    made = np.flatnonzero(short <= 0.0)
    if not made.size:
        return None
    last = int(made[0])
    before = missing[last - 1] if last else needed
    if not np.isfinite(before).all():
        return None
    # Within a piece each direction gains evenly; the last of them to have enough tells.
    late = before > 0.0
    share = float(np.max(before[late] / (before - missing[last])[late], initial=0.0))
    return float(ends_h[last] + share * (ends_h[last + 1] - ends_h[last]))
