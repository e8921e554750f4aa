"""Wind, gust and stream that hold everywhere and change with time, from values in hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.weather.base import GUST, STREAM, WIND
from goosewing.weather.grid import Everywhere, GridWeather, layer_of
from goosewing.weather.wind import components_from, components_to

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def series(
    time_h: ArrayLike,
    wind_from_deg: ArrayLike,
    wind_kn: ArrayLike,
    *,
    gust_kn: ArrayLike | None = None,
    set_deg: ArrayLike | None = None,
    drift_kn: ArrayLike | None = None,
) -> GridWeather:
    """Return the weather of one place as that of everywhere.

    Parameters
    ----------
    time_h : array_like, shape (n,)
        Hours since 1970-01-01T00:00Z, increasing. [h]
    wind_from_deg, wind_kn : array_like, shape (n,)
        Wind over the ground. [°, kn]
    gust_kn : array_like, shape (n,), optional
        NaN where not known. [kn]
    set_deg, drift_kn : array_like, shape (n,), optional
        The stream, together. [°, kn]
    """
    times = np.asarray(time_h, dtype=float)
    wind = components_from(np.asarray(wind_from_deg, float), np.asarray(wind_kn, float))
    columns = [dict(zip(WIND, wind, strict=True))]
    if gust_kn is not None and np.isfinite(gusts := np.asarray(gust_kn, float)).any():
        columns.append({GUST[0]: gusts})
    if set_deg is not None and drift_kn is not None:
        stream = components_to(np.asarray(set_deg, float), np.asarray(drift_kn, float))
        columns.append(dict(zip(STREAM, stream, strict=True)))
    layers = tuple(
        layer_of({name: value[:, None] for name, value in each.items()}, Everywhere(), times)
        for each in columns
    )
    return GridWeather(layers)
