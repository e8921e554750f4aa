"""How the contents of a weather file are printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from goosewing.files.disk import shown
from goosewing.words.figures import clock, listed, position_words, three_figures
from goosewing_cli.show import console_for

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from goosewing.weather.base import Coverage
    from goosewing.weather.read import Facts
    from goosewing.weather.spot import Spot


def show_weather(file: Path, kind: str, facts: Facts, here: Spot | None) -> None:
    """Print what a file holds, a line each, then what it says of a place and time."""
    console = console_for()
    console.print(Text(f"{shown(file)}: {kind}", style="bold"), soft_wrap=True)
    for name, words in _lines(facts):
        console.print(Text(f"{name:<9}{words}"), soft_wrap=True)
    if here is None:
        return
    console.print()
    nowhere = here.lat is None or here.lon is None
    where = "Everywhere" if nowhere else position_words(here.lat or 0.0, here.lon or 0.0)
    console.print(Text(f"{where}, {_moment(here.time)}", style="bold"))
    console.print(Text(f"{'Wind':<9}{_wind_words(here)}"))
    console.print(Text(f"{'Stream':<9}{_stream_words(here)}"))


def _lines(facts: Facts) -> list[tuple[str, str]]:
    known = [name for name in ("wind", "gust", "stream") if getattr(facts, name)]
    lines = [("Holds", listed(known)), ("Time", _span(facts)), ("Area", _area(facts.coverage))]
    if facts.members > 1:
        lines.append(
            ("Members", f"{facts.members}; the first one is used, all of them by plan --prefer")
        )
    return lines


def _span(facts: Facts) -> str:
    cover = facts.coverage
    if cover.start is None or cover.end is None:
        return "always"
    if facts.times == 1:
        return f"{_moment(cover.start)} only"
    words = f"{_moment(cover.start)} to {_moment(cover.end)}"
    return words if facts.step_h is None else f"{words}, {facts.times} times {_apart(facts.step_h)}"


def _apart(step_h: tuple[float, float]) -> str:
    least, most = (round(step * 60.0) for step in step_h)
    if least == most:
        return f"{_duration(least)} apart"
    return f"{_duration(least)} to {_duration(most)} apart"


def _duration(minutes: int) -> str:
    return f"{minutes // 60} h" if minutes % 60 == 0 else f"{minutes} min"


def _area(cover: Coverage) -> str:
    corners = (cover.lat_south, cover.lon_west, cover.lat_north, cover.lon_east)
    if not cover.bounded:
        return "everywhere"
    south, west, north, east = (float(value or 0.0) for value in corners)
    if east - west >= 360.0:
        return f"all round, {position_words(south, 0.0)} to {position_words(north, 0.0)}"
    # East of an area across the antimeridian runs on beyond 180.
    west, east = ((lon + 180.0) % 360.0 - 180.0 for lon in (west, east))
    return f"{position_words(south, west)} to {position_words(north, east)}"


def _moment(time: datetime) -> str:
    return f"{time:%Y-%m-%d} {clock(time)}"


def _wind_words(here: Spot) -> str:
    if here.wind_from_deg is None or here.wind_kn is None:
        return "not known"
    words = f"from {three_figures(here.wind_from_deg)}, {here.wind_kn:.1f} kn"
    return words if here.gust_kn is None else f"{words}, gusts {here.gust_kn:.1f} kn"


def _stream_words(here: Spot) -> str:
    if here.drift_kn is None:
        return "not known"
    if here.set_deg is None:
        return "none"
    return f"sets {three_figures(here.set_deg)}, {here.drift_kn:.1f} kn"
