"""All that a plan is made from, as one value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from goosewing.earth.corridor import Corridor
from goosewing.earth.course import course_between
from goosewing.options import Options

if TYPE_CHECKING:
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.kept import Kept
    from goosewing.hazards.tidal import TidalDepths
    from goosewing.options import First
    from goosewing.records import Mark
    from goosewing.weather.base import Weather


class OneLeg(NamedTuple):
    """How a leg is to be sailed, where that was found to be faster than what a search had found."""

    boat: Boat | None = None
    """With fewer sails, or fewer angles; all of hers if None."""
    first: First | None = None
    """Which board comes first; as the options say if None."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What a passage is planned from; `goosewing.plan.of_case` makes the plan.

    Whoever asks what another wind, boat or hour would make of it replaces that field, and
    leaves the others as they are.

    Parameters
    ----------
    marks : tuple of Mark
        In the order in which to reach them; the first is where she starts.
    boat : Boat
    weather : Weather
        Ground wind and stream.
    departure : datetime
        Aware.
    options : Options
        What the navigator asks.
    hazards : Hazards or None
        What may not be crossed.
    notices : tuple of str
        What the readers of all this had to say; carried into the plan.
    kept : Kept or None
        What plans of this case work out among hazards, for the next of them.
    depths : TidalDepths or None
        With what tide the depths among the hazards count, where many departures are planned:
        each of them in its own hours. A plan alone has the hazards that count.
    legs : tuple of OneLeg
        In changing wind, leg by leg; none: as is found to be fastest.
    """

    marks: tuple[Mark, ...]
    boat: Boat
    weather: Weather
    departure: datetime
    options: Options = Options()  # noqa: RUF009 - a frozen value
    hazards: Hazards | None = None
    notices: tuple[str, ...] = ()
    kept: Kept | None = None
    depths: TidalDepths | None = None
    legs: tuple[OneLeg, ...] = ()


def corridor_on(options: Options, course: Course, leg: int) -> Corridor | None:
    """Return the channel to stay in on a passage's leg, counted from 0; None if none is wished.

    It lies along the leg as a whole, also where she plans from beside that line.
    """
    if options.corridor_nm is None:
        return None
    if leg == 0 and options.corridor_from is not None:
        whole = course_between(*options.corridor_from, course.lat2, course.lon2)
        return Corridor(whole, options.corridor_nm, (course.lat1, course.lon1))
    return Corridor(course, options.corridor_nm)
