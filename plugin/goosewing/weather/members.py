"""The members of an ensemble, each as a weather of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.errors import InputError
from goosewing.weather.base import datetime_from_hours
from goosewing.weather.combine import CombinedWeather, HeldWeather
from goosewing.weather.grid import Ensemble, GridWeather, Layer

if TYPE_CHECKING:
    from goosewing.weather.base import Weather


def members_of(weather: Weather) -> tuple[Weather, ...]:
    """Return the members of a forecast, the control first.

    Parameters
    ----------
    weather : Weather
        An ensemble, perhaps with another stream, or its last values held on.

    Raises
    ------
    InputError
        If there are fewer than two, or they are not of the same times and grid.
    """
    ensemble = _several_in(weather)
    _check_alike(ensemble)
    return tuple(_with(weather, each) for each in ensemble.forecasts)


def numbers_of(weather: Weather) -> tuple[int, ...]:
    """Return what the file calls its members, in the order of `members_of`; from 1 if it doesn't.

    Raises
    ------
    InputError
        If there are fewer than two.
    """
    return _several_in(weather).numbers


def _several_in(weather: Weather) -> Ensemble:
    ensemble = _ensemble_in(weather)
    if ensemble is None or ensemble.members < 2:
        raise InputError("holds one member, expected an ensemble of several, as GRIB or NetCDF")
    return ensemble


def _ensemble_in(weather: Weather) -> Ensemble | None:
    if isinstance(weather, HeldWeather):
        return _ensemble_in(weather.source)
    if isinstance(weather, CombinedWeather):
        return _ensemble_in(weather.wind)
    return weather if isinstance(weather, Ensemble) else None


def _with(weather: Weather, member: GridWeather) -> Weather:
    """Put a member in the ensemble's place."""
    if isinstance(weather, HeldWeather):
        return HeldWeather(_with(weather.source, member))
    if isinstance(weather, CombinedWeather):
        return CombinedWeather(_with(weather.wind, member), weather.stream)
    return member


def _check_alike(ensemble: Ensemble) -> None:
    first, *others = ensemble.forecasts
    control, *numbers = ensemble.numbers
    for number, other in zip(numbers, others, strict=True):
        if [layer.names for layer in other.layers] != [layer.names for layer in first.layers]:
            raise InputError(
                f"members {control} and {number} hold unlike fields, expected the same"
            )
        for one, two in zip(first.layers, other.layers, strict=True):
            if not np.array_equal(one.times_h, two.times_h):
                raise InputError(
                    f"members {control} and {number} are of unlike times "
                    f"({_span(one)}; {_span(two)}), expected the same"
                )
            if (one.grid.points, one.grid.box) != (two.grid.points, two.grid.box):
                raise InputError(
                    f"members {control} and {number} are on unlike grids ({one.grid.points} and "
                    f"{two.grid.points} points), expected the same"
                )


def _span(layer: Layer) -> str:
    first, last = (datetime_from_hours(layer.times_h[at]) for at in (0, -1))
    return f"{layer.times_h.size} from {first:%Y-%m-%dT%H:%MZ} to {last:%Y-%m-%dT%H:%MZ}"
