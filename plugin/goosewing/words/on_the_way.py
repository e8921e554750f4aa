"""What a board meets, in a navigator's words: over the ground, wind, stream, from the mark."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.records import Late
from goosewing.units import nearest_minute
from goosewing.words.figures import (
    by_ship,
    clock,
    heading_words,
    position_words,
    stream_words,
    three_figures,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo

    from goosewing.records import Board, FromMark, Passed, Tide, WindAndStream


PLAN_ANEW = "plan anew"
"""Where the plan's own boards can't be sailed to the last mark if she is late."""


def ground_words(board: Board) -> str | None:
    """Say course and speed over the ground; None where the helm's own dials show the same."""
    course, speed = three_figures(board.course_over_ground_deg), f"{board.speed_over_ground_kn:.1f}"
    if course == three_figures(board.heading_deg) and speed == f"{board.boat_speed_kn:.1f}":
        return None
    return f"COG {course}, SOG {speed} kn"


def weather_words(here: WindAndStream) -> list[str]:
    """Say wind and stream over the ground, a line each.

    Examples
    --------
    >>> from goosewing.records import WindAndStream
    >>> weather_words(WindAndStream(wind_from_deg=318.0, wind_kn=10.2, gust_kn=13.8))
    ['wind 318° 10 kn, gusts 14 kn']
    >>> weather_words(WindAndStream(wind_from_deg=90.0, wind_kn=6.0, set_deg=45.0, drift_kn=1.52))
    ['wind 090° 6 kn', 'stream sets 045° 1.5 kn']
    """
    said = [wind_words(here)]
    if here.set_deg is not None and here.drift_kn >= 0.05:
        said.append(stream_words(here.set_deg, here.drift_kn))
    return said


def wind_words(here: WindAndStream) -> str:
    """Say from where and how strongly it blows, with the gusts where they are known."""
    gust = "" if here.gust_kn is None else f", gusts {here.gust_kn:.0f} kn"
    return f"wind {three_figures(here.wind_from_deg)} {here.wind_kn:.0f} kn{gust}"


def wind_figures(here: WindAndStream) -> str:
    """Write a wind in a table whose head says that it is one, in knots.

    Examples
    --------
    >>> from goosewing.records import WindAndStream
    >>> wind_figures(WindAndStream(wind_from_deg=318.0, wind_kn=10.2))
    '318° 10'
    """
    return f"{three_figures(here.wind_from_deg)} {here.wind_kn:.0f}"


def stream_figures(here: WindAndStream) -> str:
    """Write a stream in such a table.

    Examples
    --------
    >>> from goosewing.records import WindAndStream
    >>> stream_figures(WindAndStream(wind_from_deg=0.0, wind_kn=9.0, set_deg=45.0, drift_kn=1.52))
    '045° 1.5'
    >>> stream_figures(WindAndStream(wind_from_deg=0.0, wind_kn=9.0))
    'none'
    """
    if here.set_deg is None or here.drift_kn < 0.05:
        return "none"
    return f"{three_figures(here.set_deg)} {here.drift_kn:.1f}"


def over_water_words(twd_deg: float, tws_kn: float) -> str:
    """Say which wind the sails have: over the water, before she moves.

    Examples
    --------
    >>> over_water_words(204.3, 14.2)
    'over water 204° 14 kn'
    """
    return f"over water {three_figures(twd_deg)} {tws_kn:.0f} kn"


def passed_words(each: Passed, zone: tzinfo | None = None) -> str:
    """Say how a danger is passed.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import Passed
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> passed_words(Passed(name="Skarv", lat=57.1, lon=11.0, time=noon, distance_nm=0.84,
    ...                     bearing_deg=262.0, side="starboard"))
    "Skarv, 57°06.00'N 011°00.00'E: nearest at 1200Z, 0.8 nm off to starboard, bearing 262°."
    """
    bearing = heading_words(each.bearing_deg, each.bearing_magnetic_deg, None)
    run = "" if each.log_at_nm is None else f", log {each.log_at_nm:.1f}"
    course = each.course_over_ground_deg
    going = "" if course is None else f", COG {three_figures(course)}"
    return (
        f"{each.name}, {position_words(each.lat, each.lon)}: nearest at "
        f"{clock(each.time)}{by_ship(each.time, zone)}{run}, "
        f"{each.distance_nm:.1f} nm off to {each.side}, bearing {bearing}{going}."
    )


def delay_words(delay_h: float) -> str:
    """Say how late she is, as the head of a column.

    Examples
    --------
    >>> delay_words(0.0), delay_words(1 / 3), delay_words(2.0)
    ('on time', '20 min late', '2 h late')
    """
    if not delay_h:
        return "on time"
    return f"{delay_h:g} h late" if delay_h >= 1.0 else f"{60.0 * delay_h:.0f} min late"


def late_words(found: Late, zone: tzinfo | None = None) -> str:
    """Say when she then arrives, or why she can't by the plan's own tracks, and what then.

    Nothing where that is told as her next place.

    Examples
    --------
    >>> late_words(Late(mark="A1", delay_h=1.0, arrival=None, reason="by the lee", fails_at="A1"))
    'by the lee: plan anew'
    >>> late_words(Late(mark="A", delay_h=1.0, arrival=None, reason="by the lee", fails_at="A1"))
    "by the lee after A1: there take A1's row"
    """
    if found.arrival is not None and found.until_time == found.arrival:
        return ""
    if found.arrival is not None:
        return f"arrives {clock(found.arrival)}{by_ship(found.arrival, zone)}"
    if found.anew is not None:
        return f'{found.reason}: new orders, see "{late_name(found)}" below'
    if found.reason is None or found.fails_at == found.mark:
        return f"{found.reason}: {PLAN_ANEW}" if found.reason else PLAN_ANEW
    return f"{found.reason} after {found.fails_at}: there take {found.fails_at}'s row"


def late_name(found: Late) -> str:
    """Name the row in which it is told how she goes on.

    Examples
    --------
    >>> late_name(Late(mark="A1", delay_h=1.0, arrival=None))
    'A1, 1 h late'
    """
    return f"{found.mark}, {delay_words(found.delay_h)}"


def late_track_words(found: Late, zone: tzinfo | None = None) -> str:
    """Say how her track is kept until when and where; nothing where it can't be.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> late_track_words(Late(mark="A1", delay_h=1.0, arrival=None, heading_deg=100.0, until="B",
    ...     until_time=noon, twa_deg=179.7, last_twa_deg=180.0, speed_over_ground_kn=5.5,
    ...     beside_nm=-0.12))
    'TWA 180°, SOG 5.5; B 1200Z, she is 0.1 nm to port of track'
    """
    if found.until_time is None:
        return ""
    said = []
    if found.twa_deg is not None and found.last_twa_deg is not None:
        angles = dict.fromkeys(f"{deg:.0f}" for deg in (found.twa_deg, found.last_twa_deg))
        said.append(f"TWA {'–'.join(angles)}°")
    if found.speed_over_ground_kn is not None:
        said.append(f"SOG {found.speed_over_ground_kn:.1f}")
    there = f"{found.until} {clock(found.until_time)}{by_ship(found.until_time, zone)}"
    if abs(beside := found.beside_nm or 0.0) >= 0.05:
        side = "starboard" if beside > 0.0 else "port"
        there += f", she is {abs(beside):.1f} nm to {side} of track"
    return f"{', '.join(said)}; {there}"


def tides_words(tides: Sequence[Tide], zone: tzinfo | None = None) -> str:
    """Say when it is high water at the port whose tables tell the stream.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import Tide
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> tides_words([Tide(port="Graahavn", time=noon, range_m=1.9)])
    'High water Graahavn: 2027-06-01 1200Z, range 1.9 m.'
    """
    times = [f"{_dated(each.time, zone)}, range {each.range_m:.1f} m" for each in tides]
    port = f"High water {tides[0].port}".strip()
    return f"{port}: {'; '.join(times)}."


def _dated(time: datetime, zone: tzinfo | None) -> str:
    """Write one time with its day; in brackets by the ship's clock, its day where another."""
    minute = nearest_minute(time)
    words = f"{minute:%Y-%m-%d} {clock(time)}"
    if zone is None:
        return words
    there = minute.astimezone(zone)
    day = "" if there.date() == minute.date() else f"{there:%Y-%m-%d} "
    return f"{words} ({day}{there:%H:%M})"


SLOW_NM = 0.25
"""A bearing that takes so far to change by a degree tells no place: by hand it is taken to two.
Common practice, no source. [nm]"""


def draws_slowly(place: FromMark | None) -> bool:
    """Whether a mark's bearing changes so little there that the log tells the place better."""
    run_nm = None if place is None else place.run_per_degree_nm
    return run_nm is not None and run_nm >= SLOW_NM


def place_words(place: FromMark) -> str:
    """Say how the mark bears where something is begun, and whether that tells the place.

    Examples
    --------
    >>> from goosewing.records import FromMark
    >>> seen = FromMark(mark="B", bearing_deg=184.0, distance_nm=17.0, run_per_degree_nm=0.7)
    >>> place_words(seen)
    'B bears 004°, 17.0 nm (draws 1° in 0.7 nm; no fix: by log)'
    """
    run_nm = place.run_per_degree_nm
    if run_nm is None or not draws_slowly(place):
        return bears_words(place)
    return f"{bears_words(place)} (draws 1° in {run_nm:.1f} nm; no fix: by log)"


def from_mark_words(place: FromMark) -> str:
    """Say where a place lies from the mark.

    Examples
    --------
    >>> from goosewing.records import FromMark
    >>> from_mark_words(FromMark(mark="Anholt E", bearing_deg=178.7, distance_nm=2.04))
    '179° 2.0 nm from Anholt E'
    """
    return f"{three_figures(place.bearing_deg)} {place.distance_nm:.1f} nm from {place.mark}"


def bears_words(place: FromMark) -> str:
    """Say how the mark then bears, true and, where it is known, by a hand-bearing compass.

    Both along the rhumb line, which has one bearing there and the opposite one back.

    Examples
    --------
    >>> from goosewing.records import FromMark
    >>> seen = FromMark(mark="B", bearing_deg=184.0, distance_nm=2.0, bearing_magnetic_deg=180.0)
    >>> bears_words(seen)
    'B bears 004°T 000°M, 2.0 nm'
    """
    magnetic = place.bearing_magnetic_deg
    back = None if magnetic is None else magnetic + 180.0
    bears = heading_words(place.bearing_deg + 180.0, back, None)
    return f"{place.mark} bears {bears}, {place.distance_nm:.1f} nm"
