"""How headings, times and reasons are put into a navigator's words: pure text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.units import nearest_minute

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime, tzinfo

    from goosewing.records import ManoeuvreKind, Tack


def three_figures(angle_deg: float) -> str:
    """Write a direction as it is spoken: three figures, and never 360.

    Examples
    --------
    >>> three_figures(48.2), three_figures(359.7)
    ('048°', '000°')
    """
    return f"{round(angle_deg) % 360:03d}°"


def heading_words(true_deg: float, magnetic_deg: float | None, compass_deg: float | None) -> str:
    """Write a heading, with what it is on other dials where that is known.

    Examples
    --------
    >>> heading_words(48.2, None, None), heading_words(48.2, 44.4, None)
    ('048°', '048°T 044°M')
    """
    if magnetic_deg is None:
        return three_figures(true_deg)
    words = f"{three_figures(true_deg)}T {three_figures(magnetic_deg)}M"
    return words if compass_deg is None else f"{words} {three_figures(compass_deg)}C"


def helm_words(true_deg: float, magnetic_deg: float | None, compass_deg: float | None) -> str:
    """Write a heading by the dial that the helm steers by alone, the last that is known.

    Examples
    --------
    >>> helm_words(48.2, None, None), helm_words(48.2, 44.4, None), helm_words(48.2, 44.4, 46.1)
    ('048°', '044°M', '046°C')
    """
    return heading_words(true_deg, magnetic_deg, compass_deg).rsplit(" ", 1)[-1]


def clock(time: datetime) -> str:
    """Write the time of day of a UTC time, as in a log.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> clock(datetime(2027, 6, 1, 8, 14, 40, tzinfo=UTC))
    '0815Z'
    """
    return nearest_minute(time).strftime("%H%MZ")


def by_ship(time: datetime, zone: tzinfo | None) -> str:
    """Write the same time by the ship's clock, to stand behind `clock`'s; nothing without a zone.

    Examples
    --------
    >>> from datetime import datetime, timedelta, timezone, UTC
    >>> east = timezone(timedelta(hours=2))
    >>> by_ship(datetime(2027, 6, 1, 8, 14, 40, tzinfo=UTC), east)
    ' 10:15'
    """
    return "" if zone is None else f" {nearest_minute(time).astimezone(zone):%H:%M}"


def hours_and_minutes(hours: float) -> str:
    """Write a duration.

    Examples
    --------
    >>> hours_and_minutes(0.3), hours_and_minutes(2.9999), hours_and_minutes(-0.5)
    ('18 min', '3 h 00 min', '-30 min')
    """
    minutes = round(abs(hours) * 60)
    sign = "-" if hours < 0 and minutes else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02d} min"


def seconds_words(seconds: float) -> str:
    """Write what a manoeuvre costs.

    Examples
    --------
    >>> seconds_words(25.0), seconds_words(285.0)
    ('25 s', '5 min')
    """
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def manoeuvre_words(kinds: Sequence[ManoeuvreKind], tack: Tack, sail_set: str) -> str:
    """Say what the crew does at one place, and on which tack they then are.

    Parameters
    ----------
    kinds : sequence
        The manoeuvres in their order.
    tack, sail_set : str
        What the board after them is sailed on.

    Examples
    --------
    >>> manoeuvre_words(["tack"], "port", "main and jib")
    'onto port tack'
    >>> manoeuvre_words(["gybe", "set_pole"], "starboard", "wing-and-wing")
    'gybe onto starboard tack, set the pole for wing-and-wing'
    """
    said = {
        "tack": f"onto {tack} tack",
        "gybe": f"gybe onto {tack} tack",
        "set_pole": f"set the pole for {sail_set}",
        "strike_pole": "strike the pole",
        "change_sails": f"change to {sail_set}",
    }
    return ", ".join(said[kind] for kind in kinds)


def listed(names: Iterable[str]) -> str:
    """Join names with commas and a final "and".

    Examples
    --------
    >>> listed(["A"]), listed(["A", "B", "C"])
    ('A', 'A, B and C')
    """
    *most, last = list(names)
    return f"{', '.join(most)} and {last}" if most else last


def off_the_wind(angle_deg: float) -> str:
    """Say how a direction lies to the true wind.

    Examples
    --------
    >>> off_the_wind(0.4), off_the_wind(31.2), off_the_wind(179.8)
    ('dead upwind', '31° off the wind', 'dead downwind')
    """
    if angle_deg < 1.0:
        return "dead upwind"
    if angle_deg > 179.0:
        return "dead downwind"
    return f"{angle_deg:.0f}° off the wind"


def steady_words(
    from_deg: float, wind_kn: float, setting_deg: float | None, drift_kn: float
) -> str:
    """Say which ground wind and stream hold; no setting or no drift is no stream.

    Examples
    --------
    >>> steady_words(315, 10, 45, 1), steady_words(315, 7.5, None, 0.0)
    ('Wind from 315° 10 kn, stream sets 045° 1.0 kn', 'Wind from 315° 7.5 kn, no stream')
    """
    wind = f"Wind from {three_figures(from_deg)} {round(wind_kn, 1):g} kn" if wind_kn else "No wind"
    return f"{wind}, {stream_words(setting_deg, drift_kn)}"


def stream_words(setting_deg: float | None, drift_kn: float) -> str:
    """Say which stream holds.

    Examples
    --------
    >>> stream_words(45, 1), stream_words(45, 0.0)
    ('stream sets 045° 1.0 kn', 'no stream')
    """
    if setting_deg is None or not drift_kn:
        return "no stream"
    return f"stream sets {three_figures(setting_deg)} {drift_kn:.1f} kn"


def give_or_take(doubt_kn: float) -> str:
    """Write a standard deviation; nothing is known to less than a twentieth of a knot.

    Examples
    --------
    >>> give_or_take(0.23), give_or_take(0.004)
    ('±0.2 kn', '±0.1 kn')
    """
    return f"±{max(doubt_kn, 0.051):.1f} kn"


def position_words(lat: float, lon: float) -> str:
    """Write a position in degrees and minutes, as it is plotted on a chart.

    Examples
    --------
    >>> position_words(57.50833, -11.3333333)
    "57°30.50'N 011°20.00'W"
    >>> position_words(-0.99999, 179.999999)
    "01°00.00'S 180°00.00'E"
    """
    return (
        f"{_angle_words(lat, 2)}{'S' if lat < 0 else 'N'} "
        f"{_angle_words(lon, 3)}{'W' if lon < 0 else 'E'}"
    )


def _angle_words(angle_deg: float, digits: int) -> str:
    # Rounded in minutes first, so that 59.999' becomes the next degree and never 60.00'.
    hundredths = round(abs(angle_deg) * 6000)
    return f"{hundredths // 6000:0{digits}d}°{hundredths % 6000 / 100:05.2f}'"
