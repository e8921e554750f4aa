"""The panel's documents: all that a display under way shows, in one look, in display units.

Knots, degrees true (and magnetic where a variation is known), nautical miles, seconds,
UTC. Every number is one that the plan or the advice has worked out; what is not known now,
or no longer, is None, so that no old figure passes for a new one. A display formats, and
computes nothing.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from goosewing.earth.geodesy import loxodrome_direct
from goosewing.exchange.document import format_seconds
from goosewing.live.core import figures, health, sensing, standing, turns
from goosewing.live.core.damping import towards_deg, turned_deg
from goosewing.live.core.orders import stop_words, turn_words
from goosewing.live.core.state import NEVER, Figures, State
from goosewing.live.panel.look import Look
from goosewing.live.panel.shown import capital, knots, miles, shown, steer_words, steered, true
from goosewing.records import CAUTIONS
from goosewing.units import SECONDS_PER_HOUR
from goosewing.words.figures import hours_and_minutes

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from goosewing.live.core.state import Desk, Event, Planned
    from goosewing.records import Board, Leg, Tack
    from goosewing.units import Array
    from goosewing.velocities.polar_view import Chosen, Curve, PolarView

FORMAT = "goosewing.panel/1"
POLAR_FORMAT = "goosewing.polar/1"

AHEAD_MIN = 10.0
"""So far the line of her course runs on a chart. [min]"""

BY_THE_SECOND_S = 100.0
"""Below this a time ahead is told in seconds, above in hours and minutes."""

HULL_DRAWN_KN = 0.005
"""Corners that bend the hull by less are not drawn. [kn]"""

Document = dict[str, Any]

NO_STREAM: Document = {"set_deg": None, "drift_kn": None, "known": False, "doubt_kn": None}


def panel(
    state: State, desk: Desk, events: Iterable[Event] = (), polar_number: int | None = None
) -> Document:
    """Return the panel document of this moment.

    Parameters
    ----------
    state : State
    desk : Desk
    events : iterable of Event
        The latest, newest first; all are shown.
    polar_number : int, optional
        Of the polar document that goes with it; None if there is none.

    Returns
    -------
    dict
        Plain JSON values under the format ``goosewing.panel/1``.
    """
    look = Look(state, desk)
    kind, message = health.status(state)
    planned = state.planned
    document = {
        "format": FORMAT,
        "time": None if state.now_s == NEVER else format_seconds(state.now_s),
        "state": kind,
        "message": message,
        "ages_s": health.ages(state),
        "boat": _boat(look)._asdict(),
        "wind": _wind(look)._asdict(),
        "stream": _stream(look),
        "route": _route(look),
        "next": _next(look),
        "board": _board(look),
        "figures": _shown_figures(_figures(look)),
        "laylines": _laylines(look),
        "events": _events(events),
        "plan": None if planned is None else {"number": planned.order.number},
        "polar": None if polar_number is None else {"number": polar_number},
        "cautions": list(CAUTIONS if planned is None else planned.plan.cautions),
    }
    return {**document, "shown": shown(look, document, _under_way(look))}


# ---- what is measured ----------------------------------------------------------------


class Measured(NamedTuple):
    """What the instruments tell of her, under the names of the document."""

    lat: float | None = None
    lon: float | None = None
    heading_deg: float | None = None
    heading_magnetic_deg: float | None = None
    course_over_ground_deg: float | None = None
    speed_over_ground_kn: float | None = None
    boat_speed_kn: float | None = None
    east_kn: float | None = None
    north_kn: float | None = None
    tack: Tack | None = None
    ahead: Document | None = None


class Wind(NamedTuple):
    """The wind over the water and the wind felt, under the names of the document."""

    twd_deg: float | None = None
    tws_kn: float | None = None
    twa_deg: float | None = None
    awa_deg: float | None = None
    aws_kn: float | None = None


def _boat(look: Look) -> Measured:
    state, sense = look.state, look.state.sense
    place = state.place if look.place_known else None
    # The course over ground may stand in for a heading, the polar for a log: no instruments.
    heading = sense.heading_deg if sense.heading_from == "compass" else None
    track = sensing.ground_track(state)
    on_bow = _on_bow(look)
    return Measured(
        lat=None if place is None else place.lat,
        lon=None if place is None else place.lon,
        heading_deg=heading,
        heading_magnetic_deg=look.magnetic_deg(heading),
        course_over_ground_deg=sense.course_deg,
        speed_over_ground_kn=sense.ground_speed_kn,
        boat_speed_kn=sense.boat_speed_kn if sense.speed_from == "log" else None,
        east_kn=None if track is None else track[0],
        north_kn=None if track is None else track[1],
        tack=None if on_bow is None else state.tack,
        ahead=_ahead_of(state, look.place_known),
    )


def _ahead_of(state: State, place_known: bool) -> Document | None:
    """Where she is after `AHEAD_MIN` if she goes on as she does; None where it is not known."""
    track, place = sensing.ground_track(state), state.place
    near_pole = place is not None and abs(place.lat) > 89.0
    if track is None or place is None or near_pole or not place_known:
        return None
    miles_ahead = math.hypot(*track) * AHEAD_MIN / 60.0
    there = loxodrome_direct(place.lat, place.lon, towards_deg(*track), miles_ahead)
    return {"lat": float(there.lat), "lon": float(there.lon)}


def _on_bow(look: Look) -> float | None:
    """True wind angle off the bow, 0 to 180; None where wind or heading is silent. [°]."""
    heading = look.state.sense.heading_deg
    if heading is None or not look.wind_known:
        return None
    return abs(turned_deg(sensing.wind_airs(look.state, look.desk)[0], heading))


def _wind(look: Look) -> Wind:
    if not look.wind_known:
        return Wind()
    twd, tws, _, _ = sensing.wind_airs(look.state, look.desk)
    awa, aws = sensing.felt(look.state, look.desk) or (None, None)
    return Wind(twd_deg=twd, tws_kn=tws, twa_deg=_on_bow(look), awa_deg=awa, aws_kn=aws)


def _stream(look: Look) -> Document:
    known = sensing.stream_kn(look.state, look.desk)
    doubt = sensing.stream_doubt_kn(look.state, look.desk)
    if known is None or doubt is None:
        return dict(NO_STREAM)
    return {
        "set_deg": towards_deg(*known),
        "drift_kn": math.hypot(*known),
        "known": True,
        "doubt_kn": doubt,
    }


# ---- what is planned and advised ------------------------------------------------------------


def bearing_deg(state: State, desk: Desk) -> float | None:
    """Bearing of the next mark from here; None where either is unknown. [°]."""
    if state.route is None or not Look(state, desk).place_known:
        return None
    to_mark = standing.to_mark(state)
    if to_mark.distance_nm == 0.0:
        return None
    return towards_deg(to_mark.east_nm, to_mark.north_nm)


def _route(look: Look) -> Document | None:
    route = look.state.route
    if route is None:
        return None
    bearing = bearing_deg(look.state, look.desk)
    return {
        "id": route.id,
        "name": route.name,
        "marks": [{"name": m.name, "lat": m.lat, "lon": m.lon} for m in route.marks],
        "next": route.marks[route.next].name,
        "bearing_deg": bearing,
        "bearing_magnetic_deg": look.magnetic_deg(bearing),
        "distance_nm": standing.to_mark(look.state).distance_nm if look.place_known else None,
    }


def _under_way(look: Look) -> Planned | None:
    """Return the plan, if its boards are those that she sails now."""
    holds = look.advises and standing.under_way(look.state)
    return look.state.planned if holds else None


def _next(look: Look) -> Document | None:
    planned = _under_way(look)
    if planned is None:
        return None
    if look.state.pending is not None:
        return _due(look, planned)
    turn = turns.turn_ahead(look.state, look.desk)
    if turn is None:
        return _mark_ahead(look, planned)
    assert turn.stop.board is not None
    words, name = capital(stop_words(turn.stop)), standing.name_at(turn.stop)
    time_s = turns.time_ahead_s(look.state)
    steering = _steering(look, turn.stop.board, turn.stop.nth)
    return {
        **steering,
        "point": name,
        "kind": "turn",
        "due": "ahead",
        "awaiting": False,
        "words": words,
        "text": f"{_text(words, name, time_s, turn.distance_nm)}; {steering['order']}",
        "time_s": time_s,
        "distance_nm": turn.distance_nm,
    }


def _due(look: Look, planned: Planned) -> Document:
    pending = look.state.pending
    assert pending is not None
    board = planned.plan.legs[0].boards[pending.board]
    words = capital(turn_words(board))
    return {
        **_steering(look, board),
        "point": pending.point,
        "kind": "turn",
        "due": "now",
        "awaiting": True,
        "words": words,
        "text": f"{words} now",
        "time_s": 0.0,
        "distance_nm": 0.0,
    }


def _mark_ahead(look: Look, planned: Planned) -> Document:
    """Tell of the mark on the last board of a leg, and how the next leg begins."""
    legs = planned.plan.legs
    distance = standing.to_mark(look.state).distance_nm
    time = turns.time_ahead_s(look.state)
    name = legs[0].destination
    after = standing.board_after_mark(look.state)
    steering = _steering(look, after) if after else dict.fromkeys(STEERING)
    text = _mark_text(name, time, distance)
    if after is not None:
        done = f"{turn_words(after)}, " if after.manoeuvres else ""
        text += f"; then {done}{steering['order']}"
    return {
        **steering,
        "point": name,
        "kind": "mark",
        "due": "ahead",
        "awaiting": False,
        "words": name,
        "text": text,
        "time_s": time,
        "distance_nm": distance,
    }


STEERING = (
    "steer", "heading_deg", "heading_magnetic_deg", "twa_deg", "order", "tack", "sail_set",
)  # fmt: skip


def _steering(look: Look, board: Board, nth: int = 0) -> Document:
    """How a board is sailed under one of its orders; of the one that holds, where she is."""
    held = standing.steered(board, nth, look.state.now_s)
    return {
        "steer": held.steer,
        "heading_deg": held.heading_deg,
        "heading_magnetic_deg": look.magnetic_deg(held.heading_deg),
        "twa_deg": held.twa_deg,
        "order": steer_words(look, held),
        "tack": board.tack,
        "sail_set": board.sail_set,
    }


def _board(look: Look) -> Document | None:
    planned = _under_way(look)
    board = standing.present_board(look.state)
    if planned is None or board is None:
        return None
    index = planned.board_at(look.state.board)
    words = f"{board.tack.capitalize()} tack, {board.sail_set}"
    return {"index": index, "words": words, **_steering(look, board, look.state.nth)}


def _figures(look: Look) -> Figures:
    # Without a route the boat's own figures still hold; without wind or place none does.
    kind = health.status(look.state)[0]
    holds = kind in ("advising", "waiting") and not look.state.stale
    return figures.figures(look.state, look.desk) if holds else figures.NOTHING


def _shown_figures(f: Figures) -> Document:
    return {
        "vmg_kn": f.made_good_kn,
        "vmc_kn": f.made_good_to_mark_kn,
        "target_twa_deg": f.target_angle_deg,
        "target_speed_kn": f.target_speed_kn,
        "polar_speed_kn": f.polar_speed_kn,
        "speed_ratio": f.speed_ratio,
        "layline_nm": f.layline_nm,
        "layline_s": f.layline_s,
    }


def _laylines(look: Look) -> list[Document]:
    planned = look.state.planned
    if planned is None or not look.advises:
        return []
    return [line for leg in planned.plan.legs for line in _of_leg(leg)]


def _of_leg(leg: Leg) -> list[Document]:
    return [
        {
            "mark": line.mark,
            "tack": line.tack,
            "sail_set": line.sail_set,
            "points": [{"lat": p.lat, "lon": p.lon} for p in line.points],
        }
        for line in leg.laylines
    ]


def _events(events: Iterable[Event]) -> list[Document]:
    return [
        {
            "time": format_seconds(event.time_s),
            "kind": event.kind,
            "state": event.severity,
            "message": event.message,
        }
        for event in events
    ]


# ---- words --------------------------------------------------------------------------------


def _text(words: str, name: str, time_s: float | None, distance_nm: float | None) -> str:
    if time_s is None or distance_nm is None:
        return f"{words} at {name}"
    # "…, set the pole for wing-and-wing in 12 min" would count the pole alone.
    joint = "," if "," in words else ""
    return f"{words}{joint} in {_ahead(time_s, distance_nm)}"


def _mark_text(name: str, time_s: float | None, distance_nm: float) -> str:
    ahead = _ahead(time_s, distance_nm)
    return f"{name}, {ahead}" if time_s is None else f"{name} in {ahead}"


def _ahead(time_s: float | None, distance_nm: float) -> str:
    """Say how far off something is.

    Examples
    --------
    >>> _ahead(731.0, 1.31), _ahead(42.0, 0.07), _ahead(None, 12.0)
    ('12 min, 1.3 nm', '42 s, 0.07 nm', '12.0 nm')
    """
    far = miles(distance_nm)
    return far if time_s is None else f"{_duration(time_s)}, {far}"


def _duration(time_s: float) -> str:
    if time_s < BY_THE_SECOND_S:
        return f"{time_s:.0f} s"
    # Not "0:12", which beside a count-down in minutes and seconds is read as twelve seconds.
    return hours_and_minutes(time_s / SECONDS_PER_HOUR)


# ---- the polar of the moment -----------------------------------------------------------------


def polar(view: PolarView, number: int, state: State, desk: Desk) -> Document:
    """Return the polar document: velocities over the ground, for drawing, and their words.

    Rounded to what a screen shows: 0.001 kn and 0.01°.
    """
    look, airs = Look(state, desk), view.airs
    stream = airs.stream_east_kn, airs.stream_north_kn
    return {
        "format": POLAR_FORMAT,
        "number": number,
        "twd_deg": round(airs.twd_deg, 2),
        "tws_kn": round(airs.tws_kn, 3),
        "set_deg": round(towards_deg(*stream), 2),
        "drift_kn": round(math.hypot(*stream), 3),
        "bearing_deg": None if view.bearing_deg is None else round(view.bearing_deg, 2),
        "shown": _polar_words(view, state),
        "curves": [_curve(curve) for curve in view.curves],
        "hull": _corners(view.outline(HULL_DRAWN_KN)),
        "chosen": [_chosen(look, one) for one in view.chosen],
        "made_good_kn": view.made_good_kn,
    }


def _polar_words(view: PolarView, state: State) -> Document:
    bearing = view.bearing_deg
    mark = None if bearing is None or state.route is None else standing.next_mark(state).name
    wind = f"{true(view.airs.twd_deg)} {knots(view.airs.tws_kn)}"
    made_good = "" if view.made_good_kn is None else f": {knots(view.made_good_kn)} made good"
    to_mark = None if mark is None else f"to {mark}, {true(bearing)}{made_good}"
    chosen = (_chosen_words(one) for one in view.chosen)
    told = [f"Speeds over the ground, north up. True wind from {wind}.", to_mark, *chosen]
    return {
        "told": " ".join(capital(words).rstrip(".") + "." for words in told if words),
        "wind": f"true wind {wind}",
        "mark": to_mark,
    }


def _chosen_words(one: Chosen) -> str:
    return f"{one.tack} tack, {one.sail_set}, {knots(one.speed_over_ground_kn)}"


def _curve(curve: Curve) -> Document:
    columns = {
        "twa_deg": curve.twa_deg.round(2).tolist(),
        "east_kn": curve.east_kn.round(3).tolist(),
        "north_kn": curve.north_kn.round(3).tolist(),
        "boat_speed_kn": curve.boat_speed_kn.round(3).tolist(),
    }
    return {
        "tack": curve.tack,
        "sail_set": curve.sail_set,
        "poled": curve.poled,
        "points": _rows(columns),
    }


def _chosen(look: Look, one: Chosen) -> Document:
    return {
        "tack": one.tack,
        "sail_set": one.sail_set,
        "twa_deg": one.twa_deg,
        "heading_deg": one.heading_deg,
        "heading_magnetic_deg": look.magnetic_deg(one.heading_deg),
        "course_over_ground_deg": one.course_over_ground_deg,
        "east_kn": one.east_kn,
        "north_kn": one.north_kn,
        "speed_over_ground_kn": one.speed_over_ground_kn,
        "share": one.share,
        "steered": steered(look, one.heading_deg),
        "words": _chosen_words(one),
    }


def _corners(outline: Array) -> list[Document]:
    return [{"east_kn": east, "north_kn": north} for east, north in outline.round(3).tolist()]


def _rows(columns: Mapping[str, Sequence[float]]) -> list[Document]:
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


# ---- nothing known ----------------------------------------------------------------------------


def blank(message: str, kind: str = "failed", time: str | None = None) -> Document:
    """Return a panel document in which nothing is known but why."""
    return {
        "format": FORMAT,
        "time": time,
        "state": kind,
        "message": message,
        "ages_s": health.ages(State()),
        "boat": Measured()._asdict(),
        "wind": Wind()._asdict(),
        "stream": dict(NO_STREAM),
        "route": None,
        "next": None,
        "board": None,
        "figures": _shown_figures(figures.NOTHING),
        "laylines": [],
        "events": [],
        "plan": None,
        "polar": None,
        "cautions": list(CAUTIONS),
        "shown": None,
    }
