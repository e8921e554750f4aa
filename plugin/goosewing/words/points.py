"""What the helm is told at a stop of a plan: facts as values, and the sentence made of them.

GPX, handheld GPS and overlay make their words of one `Briefing`, long (`sentence`) or
short (`goosewing.words.brief`); nobody takes a sentence apart again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from goosewing.records import DEAD_DOWNWIND_DEG, OTHER_SIDE, PoleDown, PoleReady
from goosewing.turns import altered_to
from goosewing.units import nearest_minute
from goosewing.words.figures import (
    clock,
    heading_words,
    helm_words,
    manoeuvre_words,
    seconds_words,
    three_figures,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from goosewing.records import (
        Board,
        Manoeuvre,
        ManoeuvreKind,
        Mark,
        Order,
        Plan,
        PoleWork,
        Side,
        Stretch,
        Tack,
        Turn,
    )
    from goosewing.turns import Stop

_SWINGS_DEG = 1.0
"""A heading that changes less along a board is one heading to the helm. [°]"""

ABEAM_DEG = 90.0

YAW_DEG = 5.0
"""By as much she yaws before a sea: near dead aft no helm holds an angle better. Common practice,
no source. [°]"""

DEAD_AFT_DEG = 4.0
"""So near to dead aft no helm tells on which quarter the wind is. [°]"""

UNDER_ENGINE = "under engine"
"""Stands where the tack and the sails stand otherwise."""

POLE_UP = "the pole already up"
"""Said where a passage begins under a poled sail set: its first sails cost no manoeuvre."""

STRIKE = "strike the pole"

BEYOND = "beyond the forecast"
"""Marks a board on which the last values of a forecast are held on."""


# Facts -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Steering:
    """How she is sailed from a stop on.

    Attributes
    ----------
    tack, sail_set : str
        As on the board.
    heading_deg, heading_magnetic_deg, heading_compass_deg : float or None
        What is steered at first. [°]
    keep_twa_deg : float or None
        The true wind angle that the helm keeps, where that makes the heading swing. [°]
    engine, beyond_forecast : bool
        As on the board.
    lower_deg, higher_deg : float or None
        Near dead downwind: how far it is to dead aft, and how far higher the pole's sail stands
        as well; None elsewhere, and without a pole. [°]
    """

    tack: Tack
    sail_set: str
    heading_deg: float
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    keep_twa_deg: float | None = None
    engine: bool = False
    beyond_forecast: bool = False
    lower_deg: float | None = None
    higher_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Briefing:
    """What is done at a stop, and how she is sailed from there.

    Attributes
    ----------
    leave : "port", "starboard" or None
        On which hand a mark is left, `leave_distance_nm` off.
    kinds : tuple of str
        The manoeuvres, in order.
    sets_sail : bool
        Whether she comes here under engine and sails on.
    alters_course : bool
        Whether nothing is done but another course steered.
    alters_to : "port", "starboard" or None
        To which hand, where that is known.
    pole_up : bool
        Whether the passage begins here with the headsail on its pole already.
    steering : Steering or None
        None where no board begins.
    ends : bool
        Whether the passage ends here.
    strike_from : datetime or None
        When the crew begins to strike the pole, if it is to be down here.
    time : datetime or None
        When she is here.
    day : date or None
        Of that time in UTC, where it is not the day of departure.
    """

    leave: Side | None = None
    leave_distance_nm: float = 0.0
    kinds: tuple[ManoeuvreKind, ...] = ()
    sets_sail: bool = False
    alters_course: bool = False
    alters_to: Side | None = None
    pole_up: bool = False
    steering: Steering | None = None
    ends: bool = False
    strike_from: datetime | None = None
    time: datetime | None = None
    day: date | None = None


def briefing(stop: Stop, departure: datetime) -> Briefing:
    """Gather what the helm is told at a stop of a plan that departs at this time."""
    mark, board = stop.mark, stop.board
    return Briefing(
        leave=None if mark is None else mark.leave,
        leave_distance_nm=0.0 if mark is None else mark.leave_distance_nm,
        kinds=tuple(each.kind for each in stop.manoeuvres),
        sets_sail=stop.after_engine,
        alters_course=_alters_course(stop),
        alters_to=None if board is None else alters_to(stop.before, (stop.order or board)),
        pole_up=begins_poled(stop),
        steering=None if board is None else steering(board, stop.nth),
        ends=stop.last,
        strike_from=None if stop.pole_down is None else stop.pole_down.time,
        time=stop.time,
        day=None if stop.time is None else new_day(stop.time, departure),
    )


def begins_poled(stop: Stop) -> bool:
    """Whether the passage begins here with the headsail on its pole already."""
    first = (stop.leg, stop.at, stop.nth) == (0, 0, 0)
    if not first or stop.board is None or not stop.board.poled:
        return False
    return all(each.kind != "set_pole" for each in stop.manoeuvres)


def _alters_course(stop: Stop) -> bool:
    if stop.board is None or stop.mark is not None:
        return False
    if stop.order is not None:
        return True
    return not (stop.manoeuvres or stop.board.engine or stop.after_engine)


def steering(board: Board, nth: int = 0) -> Steering:
    """Gather how she is sailed on a board under one of its orders, the first if not told."""
    held = board.orders[nth] if board.orders else board
    dead, sails = runs_dead(board, held), board.sails_twa_deg if board.poled else None
    return Steering(
        tack=board.tack,
        sail_set=board.sail_set,
        heading_deg=held.heading_deg,
        heading_magnetic_deg=held.heading_magnetic_deg,
        heading_compass_deg=held.heading_compass_deg,
        keep_twa_deg=held.twa_deg if held.steer == "angle" and _swings(board, nth) else None,
        engine=board.engine,
        beyond_forecast=board.beyond_forecast,
        lower_deg=max(180.0 - held.twa_deg, 0.0) if dead else None,
        higher_deg=max(held.twa_deg - sails[0], 0.0) if dead and sails is not None else None,
    )


def runs_dead(board: Board, held: Board | Order) -> bool:
    """Whether she is near dead downwind under sail where an order is given."""
    return not board.engine and held.twa_deg >= DEAD_DOWNWIND_DEG


def _swings(board: Board, nth: int) -> bool:
    """Whether the heading changes under an order; what is steered at its end is the next's."""
    headings = [each.heading_deg for each in board.points]
    if board.orders:
        begins = board.orders[nth].time
        ends = board.orders[nth + 1].time if nth + 1 < len(board.orders) else None
        headings = [
            each.heading_deg
            for each in board.points
            if begins <= each.time and (ends is None or each.time < ends)
        ]
    return any(abs((each - headings[0] + 180.0) % 360.0 - 180.0) > _SWINGS_DEG for each in headings)


def new_day(time: datetime, since: datetime) -> date | None:
    """Return the day of a time in UTC, if it is not the day of the other; None if it is."""
    day, first = (nearest_minute(each.astimezone(UTC)).date() for each in (time, since))
    return None if day == first else day


def goes_downwind(plan: Plan) -> bool:
    """Whether a pole is carried, or the wind comes from abaft the beam, anywhere on the way."""
    boards = [board for leg in plan.legs for board in leg.boards]
    return any(
        board.poled or any(point.twa_deg > ABEAM_DEG for point in board.points)
        for board in boards
        if not board.engine
    )


# Words -------------------------------------------------------------------------------------


def sentence(told: Briefing) -> str:
    """Tell it in full.

    Returns
    -------
    str
        As in "gybe onto starboard tack, set the pole for wing-and-wing, steer 048°, 0814Z".
    """
    leave = _leave_words(told.leave, told.leave_distance_nm)
    words = [] if leave is None else [leave]
    time = "" if told.time is None else _time_words(told.time, told.day)
    if told.steering is None:
        # Only where two marks are one place does a passage go on without a board.
        words += _strike_words(told)
        return ", ".join([*words, f"{'arrive' if told.ends else 'carry on'} {time}".strip()])
    words += _strike_words(told)
    if told.sets_sail:
        words.append("set sail")
    elif told.alters_course:
        words.append(f"alter course to {told.alters_to}" if told.alters_to else "alter course")
    kinds = [each for each in told.kinds if not (each == "strike_pole" and told.strike_from)]
    words.append(_sailing_words(kinds, told.steering, pole_up=told.pole_up))
    if (err := err_words(told.steering)) is not None:
        words.append(err)
    return ", ".join([*words, time] if time else words)


def _strike_words(told: Briefing) -> list[str]:
    """Say when striking the pole is begun, before all else that is done here."""
    return [] if told.strike_from is None else [strike_words(told.strike_from)]


def strike_words(begins: datetime) -> str:
    """Say when the crew begins to strike the pole.

    Examples
    --------
    >>> strike_words(datetime(2027, 6, 1, 12, 27, tzinfo=UTC))
    'strike the pole from 1227Z'
    """
    return f"{STRIKE} from {clock(begins.astimezone(UTC))}"


def not_counted_words(down: PoleDown) -> str:
    """Say what the times lack, where no board is left to strike the pole before."""
    return f"in none of the times: arrival up to {seconds_words(down.takes_s)} later"


def uncounted_words(begun: PoleWork) -> str | None:
    """Say what the times have not of work at the pole; None where they have it."""
    if isinstance(begun, PoleReady):
        return "in none of the times: she sails on"
    if isinstance(begun, PoleDown) and not begun.counted:
        return not_counted_words(begun)
    return None


def _time_words(time: datetime, day: date | None) -> str:
    words = clock(time.astimezone(UTC))
    return words if day is None else f"{day.isoformat()} {words}"


def board_words(manoeuvres: Sequence[Manoeuvre], board: Board) -> str:
    """Tell what is done before a board, and how she then sails.

    Returns
    -------
    str
        As in "gybe onto starboard tack, set the pole for wing-and-wing, steer 048°".
    """
    return _sailing_words([each.kind for each in manoeuvres], steering(board))


def done_words(stop: Stop, *, helm_only: bool = False) -> list[str]:
    """Say what is done at a stop; nothing where she only begins, arrives, or sails on.

    Parameters
    ----------
    stop : Stop
    helm_only : bool
        Whether headings are told by the dial that the helm steers by alone, where room is short.
    """
    board = stop.board
    if board is None:
        return []
    words = ["set sail"] if stop.after_engine else []
    if stop.manoeuvres:
        words.append(manoeuvred_words(board, stop.pole_down))
    if board.engine and not stop.motored:
        words.append("start the engine")
    if not words and stop.mark is None:
        words.append(altered_words(stop.before, stop.order or board, helm_only=helm_only))
    return words


def without_strike(stop: Stop) -> Stop:
    """Return what is left of a stop where the pole's striking is ordered on its own, before."""
    if stop.pole_down is None or stop.board is None:
        return stop
    left = tuple(each for each in stop.manoeuvres if each.kind != "strike_pole")
    return replace(stop, pole_down=None, board=replace(stop.board, manoeuvres=left))


def manoeuvred_words(board: Board, pole_down: PoleDown | None) -> str:
    """Say what the crew does before a board, the pole struck from the time that it takes."""
    kinds = [each.kind for each in board.manoeuvres]
    if pole_down is None:
        return manoeuvre_words(kinds, board.tack, board.sail_set)
    others = [each for each in kinds if each != "strike_pole"]
    struck = [strike_words(pole_down.time)]
    return ", ".join(
        [*struck, manoeuvre_words(others, board.tack, board.sail_set)] if others else struck
    )


def altered_words(
    before: Board | Order | None, held: Board | Order, *, helm_only: bool = False
) -> str:
    """Say which way she alters course, and from which heading she then comes.

    Where an angle was kept that is not the heading told at its beginning. Where neither is
    known it is but "alter course".

    Returns
    -------
    str
        As in "alter course to port, 110° to 101°T, 105° to 096°M".
    """
    hand = alters_to(before, held)
    if hand is None or before is None or before.stretch is None:
        return "alter course"
    comes = _last_headings(before, before.stretch)
    return f"alter course to {hand}, {_from_to(comes, held, helm_only=helm_only)}"


def _last_headings(before: Board | Order, stretch: Stretch) -> tuple[float | None, ...]:
    """Return what is steered last before a stop: true, magnetic, compass; as its own line has it.

    A heading that swings less than the helm can tell is told as one.
    """
    swung = (stretch.last_heading_deg - before.heading_deg + 180.0) % 360.0 - 180.0
    if abs(swung) <= _SWINGS_DEG:
        return before.heading_deg, before.heading_magnetic_deg, before.heading_compass_deg
    return (
        stretch.last_heading_deg,
        stretch.last_heading_magnetic_deg,
        stretch.last_heading_compass_deg,
    )


def _from_to(
    comes: tuple[float | None, ...], held: Board | Order | PoleWork, *, helm_only: bool = False
) -> str:
    """Write from which heading to which she turns, on every dial that is known."""
    then = held.heading_deg, held.heading_magnetic_deg, held.heading_compass_deg
    said = [
        f"{three_figures(old)} to {three_figures(new)}{dial}"
        for old, new, dial in zip(comes, then, "TMC", strict=True)
        if old is not None and new is not None
    ]
    return ", ".join(said[-1:] if helm_only else said)


def turned_words(stop: Stop, *, helm_only: bool = False) -> str | None:
    """Say which way the bow turns in a manoeuvre, and from which heading to which.

    Returns
    -------
    str or None
        As in "turn to starboard, 160° to 247°T, 155° to 242°M"; "come up" or "bear away" where the
        boom stays on its side. None where she holds on, or nothing is done.
    """
    board, kinds = stop.board, {each.kind for each in stop.manoeuvres}
    if board is None or not kinds or (hand := bow_hand(stop)) is None:
        return None
    through = bool({"tack", "gybe"} & kinds)
    turns = bow_words(hand, None if through or board.engine else board.tack)
    comes = _comes(stop)
    return turns if comes is None else f"{turns}, {_from_to(comes, board, helm_only=helm_only)}"


def bow_hand(stop: Stop) -> Side | None:
    """Tell to which hand the bow turns at a stop; None if it doesn't, or where that isn't known.

    A tack turns her towards the side that the wind came from, a gybe away from it: onto port
    tack by starboard, or by port. Which way the headings lie is no sure sign: dead downwind
    they may be the same. Elsewhere it is that by which the headings differ.
    """
    board, kinds = stop.board, {each.kind for each in stop.manoeuvres}
    if board is None:
        return None
    if {"tack", "gybe"} & kinds:
        return "port" if (board.tack == "port") is ("gybe" in kinds) else "starboard"
    comes = _comes(stop)
    return None if comes is None or comes[0] is None else altered_to(comes[0], board.heading_deg)


def _comes(stop: Stop) -> tuple[float | None, ...] | None:
    """Return what is steered last before a stop on every dial: she may come up for hands' work."""
    if (down := stop.pole_down) is not None:
        return down.heading_deg, down.heading_magnetic_deg, down.heading_compass_deg
    if stop.before is None or stop.before.stretch is None:
        return None
    return _last_headings(stop.before, stop.before.stretch)


def bow_words(hand: Side, tack: Tack | None) -> str:
    """Say to which hand the bow turns, the boom staying on its side: to windward or from it.

    Examples
    --------
    >>> bow_words("starboard", "starboard"), bow_words("port", "starboard")
    ('come up to starboard', 'bear away to port')
    >>> bow_words("port", None)
    'turn to port'
    """
    if tack is None:
        return f"turn to {hand}"
    return f"{'come up' if hand == tack else 'bear away'} to {hand}"


def alters_to(before: Board | Order | None, held: Board | Order) -> Side | None:
    """Tell to which hand she alters course onto what is held next; None if not, or not known."""
    stretch = None if before is None else before.stretch
    if stretch is None:
        return None
    return altered_to(stretch.last_heading_deg, held.heading_deg)


def err_words(held: Steering) -> str | None:
    """Say between which angles the helm lets her yaw near dead downwind; None elsewhere.

    About what is ordered, to the edge of the pole's sail and never by the lee, where the boom
    comes over: common practice, no source.

    Returns
    -------
    str or None
        As in "wind dead aft: TWA 175 to 180°, never by the lee".
    """
    if held.lower_deg is None:
        return None
    wind = "dead aft" if held.lower_deg < DEAD_AFT_DEG else f"on the {held.tack} quarter"
    low, high = yaw_deg(held)
    return f"wind {wind}: TWA {low:.0f} to {high:.0f}°, never by the lee"


def yaw_deg(held: Steering) -> tuple[float, float]:
    """Return between which angles to the true wind she may yaw near dead downwind. [°]."""
    assert held.lower_deg is not None
    twa_deg = 180.0 - held.lower_deg
    up = YAW_DEG if held.higher_deg is None else min(YAW_DEG, held.higher_deg)
    return twa_deg - up, min(twa_deg + YAW_DEG, 180.0)


def hold_words(begun: PoleWork, on: Board | None) -> str:
    """Say by the helm's dial what is steered while hands work before a stop.

    Parameters
    ----------
    begun : PoleWork
    on : Board or None
        The board that ends there.

    Returns
    -------
    str
        As in "hold 109°M, never by the lee".
    """
    held = helm_words(begun.heading_deg, begun.heading_magnetic_deg, begun.heading_compass_deg)
    if on is None or on.engine or on.points[-1].twa_deg < DEAD_DOWNWIND_DEG:
        return f"hold {held}"
    return f"hold {held}, never by the lee"


def abeam_words(stop: Stop, on: Board | None) -> str | None:
    """Say when to turn at a mark that she comes to dead before the wind; None elsewhere.

    As she never yaws by the lee she comes past it on the side that the wind is on.

    Returns
    -------
    str or None
        As in "leave it to port; turn to starboard when it bears 013°T 009°M". None too where the
        mark is left on a hand that was entered, or no turn is made.
    """
    mark, before, hand = stop.mark, stop.before, bow_hand(stop)
    if mark is None or mark.leave is not None or hand is None or on is None or on.engine:
        return None
    if on.points[-1].twa_deg < 180.0 - YAW_DEG or before is None or before.stretch is None:
        return None
    to = 90.0 if on.tack == "port" else -90.0
    true, magnetic, _ = _last_headings(before, before.stretch)
    assert true is not None
    bears = heading_words(true + to, None if magnetic is None else magnetic + to, None)
    return f"leave it to {OTHER_SIDE[on.tack]}; turn to {hand} when it bears {bears}"


def spars_words(board: Board | Turn) -> str | None:
    """Say on which side boom and pole are; None without a pole.

    On wing-and-wing the tack is the side opposite the main boom, and the headsail's pole is
    on that side.
    """
    if not board.poled or board.tack is None:
        return None
    return f"boom to {OTHER_SIDE[board.tack]}, pole to {board.tack}"


def stop_sentence(stop: Stop, departure: datetime, *, struck: bool = True) -> str:
    """Tell what is done at a stop and how she then sails, without its time.

    Parameters
    ----------
    stop : Stop
    departure : datetime
    struck : bool
        Whether it is told from when a pole is struck before it.

    Returns
    -------
    str
        As in "onto port tack, main and jib, steer 048°".
    """
    told = replace(briefing(stop, departure), time=None)
    return sentence(told if struck else replace(told, strike_from=None))


def _sailing_words(kinds: Sequence[ManoeuvreKind], held: Steering, *, pole_up: bool = False) -> str:
    words = [manoeuvre_words(kinds, held.tack, held.sail_set)] if kinds else []
    if held.engine:
        words.append(UNDER_ENGINE)
    else:
        on, sails = untold(kinds)
        words += [f"on {held.tack} tack"] if on else []
        words += [held.sail_set] if sails else []
        words += [POLE_UP] if pole_up else []
    words.append(_steering_words(held))
    return ", ".join([*words, BEYOND] if held.beyond_forecast else words)


def untold(kinds: Sequence[ManoeuvreKind]) -> tuple[bool, bool]:
    """Whether tack and sails are still to be told, after what is done before a board."""
    return not {"tack", "gybe"} & set(kinds), not {"set_pole", "change_sails"} & set(kinds)


def _steering_words(held: Steering) -> str:
    heading = heading_words(held.heading_deg, held.heading_magnetic_deg, held.heading_compass_deg)
    if held.keep_twa_deg is None:
        return f"steer {heading}"
    return f"steer {heading} at first, {keep_words(held.keep_twa_deg)}"


def angle_words(board: Board) -> str | None:
    """Say which angle the helm keeps, where that makes the heading swing with the wind."""
    keep = steering(board).keep_twa_deg
    return None if keep is None else keep_words(keep)


def keep_words(twa_deg: float) -> str:
    """Say that the helm keeps a true wind angle."""
    return f"keep the true wind at {twa_deg:.0f}°"


def leaving_words(mark: Mark) -> str | None:
    """Tell on which hand, and how far off, a mark is left; None where it is passed through."""
    return _leave_words(mark.leave, mark.leave_distance_nm)


def _leave_words(side: Side | None, distance_nm: float) -> str | None:
    if side is None:
        return None
    off = f", {distance_nm:g} nm off" if distance_nm else ""
    return f"leave to {side}{off}"
