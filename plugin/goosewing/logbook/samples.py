"""A log as arrays: what every sensor said, second by second, on one clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from goosewing.units import AnyArray, Array


class Channel(NamedTuple):
    """What a sensor tells."""

    what: str
    unit: str
    turns: bool = False
    """Whether it is an angle that comes round again."""
    alike: float = 0.5
    """Two devices that differ by more don't measure the same."""


CHANNELS: Mapping[str, Channel] = {
    "heading_deg": Channel("true heading", "°", turns=True, alike=5.0),
    "heading_magnetic_deg": Channel("magnetic heading", "°", turns=True, alike=5.0),
    "variation_deg": Channel("variation", "°", alike=2.0),
    "stw_kn": Channel("speed through the water", "kn"),
    "sog_kn": Channel("speed over the ground", "kn"),
    "cog_deg": Channel("course over the ground", "°", turns=True, alike=15.0),
    "lat": Channel("latitude", "°", alike=0.002),
    "lon": Channel("longitude", "°", turns=True, alike=0.002),
    "awa_deg": Channel("apparent wind angle", "°", turns=True, alike=8.0),
    "aws_kn": Channel("apparent wind speed", "kn", alike=2.0),
    "twa_deg": Channel("true wind angle", "°", turns=True, alike=10.0),
    "tws_kn": Channel("true wind speed", "kn", alike=2.0),
    "twd_deg": Channel("true wind direction", "°", turns=True, alike=10.0),
    "heel_deg": Channel("heel", "°", alike=3.0),
    "engine_rpm": Channel("engine revolutions", "/min", alike=300.0),
}
"""Angles on the bow are negative to port; heel is positive to starboard."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Log:
    """What was logged.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Whole seconds since 1970-01-01T00:00Z, ascending. [s]
    channels : mapping of str to ndarray, shape (n,)
        Those of `CHANNELS` that were logged; NaN where nothing was said.
    sources : mapping of str to str
        Who said it.
    names : tuple of str
        The files.
    notices : tuple of str
        What was found wrong with it.
    dated : bool
        Whether the log tells its day.
    """

    time_s: Array
    channels: Mapping[str, AnyArray]
    sources: Mapping[str, str] = field(default_factory=dict)
    names: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    dated: bool = True

    def has(self, *channels: str) -> bool:
        """Whether all of these were ever logged."""
        return all(name in self.channels for name in channels)

    def get(self, channel: str) -> Array:
        """Return a channel as doubles; all NaN where it was never logged."""
        if channel not in self.channels:
            return np.full(self.time_s.shape, np.nan)
        return np.asarray(self.channels[channel], dtype=np.float64)

    @property
    def hours(self) -> float:
        """Hours for which there are readings; a gap over a minute is none."""
        if self.time_s.size < 2:
            return 0.0
        steps = np.diff(self.time_s)
        return float(steps[steps <= LONGEST_STEP_S].sum() / 3600.0)


LONGEST_STEP_S = 60.0
"""A longer silence is a gap in the log; our choice."""


def turned(angle_deg: AnyArray) -> Array:
    """Reduce angles to [-180, 180); NaN stays NaN. Faster than `wrap_180`, for long logs."""
    reduced: Array = np.mod(np.asarray(angle_deg, dtype=np.float64) + 180.0, 360.0) - 180.0
    return reduced
