"""What a display under way shows, in the words of the engine: a page sets it and words nothing.

Every direction says whether it is by true or by magnetic north. Times ahead are minutes and
seconds below the hour.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from goosewing.live.core import health, sensing, standing, turns
from goosewing.live.core.damping import turned_deg
from goosewing.live.panel.look import Look
from goosewing.words.figures import give_or_take, hours_and_minutes, three_figures

if TYPE_CHECKING:
    from collections.abc import Mapping

    from goosewing.live.core.standing import Steered
    from goosewing.live.core.state import Planned, State
    from goosewing.records import Board

UNKNOWN = "–"

NEW_ORDER_S = 60.0
"""So long an order that was given along a board is called new."""

NEAR_MILE_NM = 0.995
"""Below this a distance is told in hundredths, where a cable counts."""

Document = dict[str, Any]


class Row(NamedTuple):
    """One figure with its label."""

    key: str
    label: str
    value: str


# ---- single figures -------------------------------------------------------------------------


def countdown(seconds: float | None) -> str:
    """Say how long until something.

    Examples
    --------
    >>> countdown(12.2), countdown(605.0), countdown(3900.0), countdown(None)
    ('0:12', '10:05', '1 h 05 min', '–')
    """
    if seconds is None:
        return UNKNOWN
    left = max(round(seconds), 0)
    if left >= 3600:
        return hours_and_minutes(seconds / 3600.0)
    return f"{left // 60}:{left % 60:02d}"


def _by_the_minute(seconds: float | None) -> bool:
    return seconds is not None and round(seconds) < 3600


def miles(distance_nm: float | None) -> str:
    """Write a distance to go.

    Examples
    --------
    >>> miles(0.45), miles(12.34), miles(None)
    ('0.45 nm', '12.3 nm', '–')
    """
    if distance_nm is None:
        return UNKNOWN
    return f"{distance_nm:.{2 if abs(distance_nm) < NEAR_MILE_NM else 1}f} nm"


def knots(speed_kn: float | None) -> str:
    """Write a speed."""
    return UNKNOWN if speed_kn is None else f"{speed_kn:.1f} kn"


def angle(degrees: float | None) -> str:
    """Write an angle off the bow, without a side."""
    return UNKNOWN if degrees is None else f"{abs(degrees):.0f}°"


def true(degrees: float | None) -> str:
    """Write a direction by true north."""
    return UNKNOWN if degrees is None else f"{three_figures(degrees)} T"


def steered(look: Look, true_deg: float | None) -> str:
    """Write what the helm steers: by magnetic north where the variation is known."""
    magnetic = look.magnetic_deg(true_deg)
    return true(true_deg) if magnetic is None else f"{three_figures(magnetic)} M"


def steer_words(look: Look, held: Steered) -> str:
    """Write an order to the helm: what is held, and in brackets what the other then is.

    Returns
    -------
    str
        As in "steer 095° M (TWA 53°)" where the heading is held, "steer TWA 53° (095° M)" where
        the angle to the wind is.
    """
    heading, twa = steered(look, held.heading_deg), f"TWA {angle(held.twa_deg)}"
    first, other = (heading, twa) if held.steer == "heading" else (twa, heading)
    return f"steer {first} ({other})"


def capital(words: str) -> str:
    """Begin words with a capital letter."""
    return words[:1].upper() + words[1:]


# ---- now, next, and the rest -----------------------------------------------------------------


def shown(look: Look, document: Mapping[str, Any], planned: Planned | None) -> Document:
    """Return what is set in large and small letters.

    Parameters
    ----------
    look : Look
    document : mapping
        The panel document it goes with: the figures are its.
    planned : Planned or None
        The plan that she sails now.
    """
    return {
        "now": None if planned is None else _now(look, planned),
        "next": None if document["next"] is None else _next(look, document["next"]),
        "rows": [row._asdict() for row in _rows(look, document)],
        "wind": _pair(true(document["wind"]["twd_deg"]), knots(document["wind"]["tws_kn"])),
        "stream": _stream(document["stream"]),
        "made": f"she now, {knots(document['boat']['speed_over_ground_kn'])}",
        "caution": _caution(look.state, planned),
        "question": _question(look.state),
        "up": _up(look),
        "undo": _undo(look),
    }


def _now(look: Look, planned: Planned) -> Document:
    """What to steer now: on a turn that is due, what is steered after it."""
    state = look.state
    board = planned.plan.legs[0].boards[_at(state, planned)]
    pending = state.pending
    held = standing.steered(board, state.nth if pending is None else 0, state.now_s)
    title = _steer_title(state, board)
    tack = f"{capital(board.tack)} tack, {board.sail_set}"
    return {
        "title": title,
        "steer": steered(look, held.heading_deg),
        "twa": angle(held.twa_deg),
        "by": held.steer,
        "tack": board.tack,
        "words": tack if pending is None else f"{tack}. {_as_she_is(look)}",
    }


def _steer_title(state: State, board: Board) -> str:
    """Say whether what is steered is new: by a turn that is due, or an order just given."""
    if state.pending is not None:
        return f"{state.pending.point} now: steer"
    since, point = state.nth_since_s, standing.order_of(board, state.nth).point
    new = state.nth > 0 and since is not None and state.now_s - since <= NEW_ORDER_S
    return f"{point} now: steer" if new and point is not None else "Steer now"


def _at(state: State, planned: Planned) -> int:
    if state.pending is not None:
        return state.pending.board
    return planned.board_at(state.board)


def _as_she_is(look: Look) -> str:
    """Say how she sails as it is, by her instruments alone."""
    off = sensing.off_bow_deg(look.state)
    heading = look.state.sense.heading_deg
    if off is None or heading is None or look.state.tack is None:
        return ""
    return f"She is on {look.state.tack} tack, {steered(look, heading)}."


def _next(look: Look, following: Mapping[str, Any]) -> Document:
    due = following["awaiting"]
    is_mark = following["kind"] == "mark"
    title = f"Next: {following['point']}"
    if is_mark:
        title = "Next mark"
    elif due:
        title = f"Now: {following['point']}"
    then = steered(look, following["heading_deg"])
    sails = following["tack"] and f"{capital(following['tack'])} tack, {following['sail_set']}"
    return {
        "title": title,
        "words": following["words"],
        "time": "NOW" if due else countdown(following["time_s"]),
        # "7:50" alone, beside a chart, is also a time of the day.
        "unit": "" if due or not _by_the_minute(following["time_s"]) else "min",
        "distance": "" if due else miles(following["distance_nm"]),
        "then_label": "" if then == UNKNOWN else "Steer" if due else "Then steer",
        "then": "" if then == UNKNOWN else then,
        "then_angle": _angle_words(following),
        "then_sails": sails if is_mark and sails else "",
        "acknowledge": f"Done: {following['point']}" if due else "",
    }


def _angle_words(following: Mapping[str, Any]) -> str:
    twa = following["twa_deg"]
    return "" if twa is None else f"TWA {angle(twa)}"


def _pair(first: str, second: str) -> str:
    return UNKNOWN if first == second == UNKNOWN else f"{first} {second}"


def _towards(speed_kn: float | None, otherwise: str) -> str:
    """A speed towards something; the other way in words, as a minus is easily missed."""
    if speed_kn is not None and speed_kn < 0.0:
        return f"{knots(-speed_kn)} {otherwise}"
    return knots(speed_kn)


def _stream(stream: Mapping[str, Any]) -> str:
    if not stream["known"]:
        return "not known"
    drift = f"{stream['drift_kn']:.1f} {give_or_take(stream['doubt_kn'])}"
    return f"{true(stream['set_deg'])} {drift}"


def _rows(look: Look, document: Mapping[str, Any]) -> list[Row]:
    wind, boat, figures = document["wind"], document["boat"], document["figures"]
    route, board = document["route"], document["board"]
    wanted = "" if board is None else f", wanted {angle(board['twa_deg'])}"
    ratio = figures["speed_ratio"]
    bearing = UNKNOWN
    if route is not None:
        bearing = _pair(steered(look, route["bearing_deg"]), miles(route["distance_nm"]))
    return [
        Row("twa", "True wind off the bow", angle(wind["twa_deg"]) + wanted),
        Row("wind", "True wind from", _pair(true(wind["twd_deg"]), knots(wind["tws_kn"]))),
        Row("apparent", "Apparent wind", _pair(_sided(wind["awa_deg"]), knots(wind["aws_kn"]))),
        Row("speed", "Through the water", knots(boat["boat_speed_kn"])),
        Row("target", "Wanted speed", knots(figures["target_speed_kn"])),
        Row("ratio", "Of her polar speed", UNKNOWN if ratio is None else f"{ratio * 100:.0f} %"),
        Row("heading", "Heading", steered(look, boat["heading_deg"])),
        Row("ground", "Over the ground",
            _pair(true(boat["course_over_ground_deg"]), knots(boat["speed_over_ground_kn"]))),
        Row("stream", "Stream sets", _stream(document["stream"])),
        Row("mark", "Next mark bears", bearing),
        Row("vmc", "Made good to the mark", _towards(figures["vmc_kn"], "away from it")),
        Row("vmg", "Made good to windward", _towards(figures["vmg_kn"], "to leeward")),
        Row("layline", "To the layline",
            _pair(countdown(figures["layline_s"]), miles(figures["layline_nm"]))),
    ]  # fmt: skip


def _sided(degrees: float | None) -> str:
    if degrees is None:
        return UNKNOWN
    signed = turned_deg(degrees, 0.0)
    return f"{abs(signed):.0f}° {'starboard' if signed > 0.0 else 'port'}"


# ---- what the crew is asked and may say ---------------------------------------------------------


def _caution(state: State, planned: Planned | None) -> str:
    """The caution of the moment, short enough to stand beside the turn."""
    if state.told.dead_downwind:
        return "Nearly dead downwind: preventer on, heads down."
    if planned is None:
        return "Advice only; not for sole navigation."
    boards = planned.plan.legs[0].boards
    at = _at(state, planned)
    following = boards[at : at + 1] if state.pending is not None else boards[at + 1 : at + 2]
    after = standing.board_after_mark(state)
    ahead: tuple[Board, ...] = following or (() if after is None else (after,))
    kinds = {each.kind for board in ahead for each in board.manoeuvres}
    if kinds & {"gybe", "set_pole", "strike_pole"}:
        return "Preventer and pole under control, crew clipped on; look round first."
    return "Look round first. Advice only; not for sole navigation."


def _question(state: State) -> Document | None:
    asked = state.question
    if asked is None or health.status(state)[0] == "stale":
        return None
    choices = [{"key": each.key, "words": each.words} for each in asked.choices]
    return {"key": asked.key, "words": asked.words, "choices": choices}


def _up(look: Look) -> Document:
    """What is up, who says so, and what the crew may say is up."""
    state = look.state
    sails, tack = sensing.carried(state), state.tack
    told = state.sail_set is not None or bool(state.sense.sails)
    words = "What is up is not known: say it here."
    if sails is not None and tack is not None:
        by = "" if told else " by the plan; say if it is not so"
        words = f"Up: {sails}, {tack} tack{by}."
    names = [each.name for each in look.desk.boat.sail_sets]
    return {
        "known": told and tack is not None,
        "words": words,
        "sail_set": sails,
        "tack": tack,
        "sail_sets": names,
    }


def _undo(look: Look) -> Document | None:
    done = turns.may_undo(look.state, look.desk)
    if done is None:
        return None
    point = done.pending.point
    return {"point": point, "words": f"{point} is taken as made.", "order": f"{point} not made"}
