"""The project's own extension elements in GPX, written and read.

They stand in the namespace ``urn:goosewing:gpx:1`` (prefix ``goose``):

``goose:plan``
    On the route: the plan's figures as attributes, ``goose:caution`` and
    ``goose:notice`` inside; ``goose:text`` is what the plan says of the whole passage, ``title``
    what a route without a name of its own is called.
``goose:point``
    On every route point: ``kind`` is ``mark``, ``turn`` or ``via``, ``sets_sail`` tells that the
    engine stops there, ``pole_up`` that the passage begins there with the headsail on its pole;
    inside, ``goose:text`` says what happens there and what to steer next, each
    ``goose:manoeuvre`` what the crew does and its cost, ``goose:board`` the board that begins
    there (``keep_twa_deg``, where the helm keeps that angle and the heading swings) or
    ``goose:order`` another order along the board.
    One of the kind ``via`` holds nothing: it only keeps the route to the track that is sailed.
``goose:leave``
    On a mark, in and out: ``side`` (``port``, ``starboard``) and ``distance_nm``. In a
    plan the route point is where she passes, ``lat`` and ``lon`` here are the mark's own
    place, and a waypoint marks it. ``rounding`` (``yes``, ``no``) says whether she goes round
    it; without it she does where the course turns back at it.
``goose:line``
    On a mark, in: it is an end of a start or finish line or a gate; ``name`` is the line's
    and ``end`` (``port``, ``starboard``) the hand on which she has this end. Both ends stand one
    after the other. A name such as "Start (port end)" says the same. In a plan the ends are
    waypoints.
``goose:layline``
    On the track of a layline: mark, tack, sail set and course over the ground.
``goose:band``
    On the track round a layline's band: mark, tack, sail set, and in how many shifts of a
    hundred the mark can just be fetched from within it.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, get_args
from xml.etree.ElementTree import Element, SubElement

from goosewing.errors import InputError
from goosewing.exchange.document import PLAN_FORMAT, plain
from goosewing.exchange.gpx.kept import GOOSE
from goosewing.files.gpx import brief, degrees, is_number
from goosewing.records import ManoeuvreKind, RouteTexts
from goosewing.words.figures import manoeuvre_words
from goosewing.words.points import Briefing, Steering, new_day
from goosewing.words.titles import length, title

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.files.gpx import GpxDocument
    from goosewing.records import Board, Layline, LaylineBand, Mark, Order, Plan, Side
    from goosewing.turns import Stop

BEFORE_OWN = "; "
"""Between what a plan says and the comment that a mark brought, where one field holds both."""


# Writing -----------------------------------------------------------------------------------


def plan_element(plan: Plan) -> Element:
    """Write down a plan's figures, cautions and notices."""
    element = _ours("plan", format=PLAN_FORMAT, title=title(plan), **_figures(plan))
    SubElement(element, f"{{{GOOSE}}}text").text = length(plan)
    for tag, lines in (("caution", plan.cautions), ("notice", plan.notices)):
        for line in lines:
            SubElement(element, f"{{{GOOSE}}}{tag}").text = line
    return element


def point_element(stop: Stop, told: Briefing, text: str) -> Element:
    """Write down what happens at a stop: in words, and as values."""
    kind = "turn" if stop.mark is None else "mark"
    ours = _ours(
        "point",
        kind=kind,
        sets_sail=told.sets_sail or None,
        pole_up=told.pole_up or None,
        strike_from=told.strike_from,
    )
    SubElement(ours, f"{{{GOOSE}}}text").text = text
    for each in stop.manoeuvres:
        words = None
        if stop.board is not None:
            words = manoeuvre_words([each.kind], stop.board.tack, stop.board.sail_set)
        ours.append(
            _ours("manoeuvre", kind=each.kind, cost_s=each.cost_s, time=each.time, text=words)
        )
    if stop.order is not None and told.steering is not None:
        ours.append(_order_element(stop.order, told.steering))
    elif stop.board is not None:
        ours.append(_board_element(stop.board, told))
    return ours


def _order_element(order: Order, held: Steering) -> Element:
    """Write down an order along a board, with what it doesn't change."""
    figures = _figures(order) | {"tack": held.tack, "sail_set": held.sail_set}
    flags = {"engine": held.engine, "beyond_forecast": held.beyond_forecast}
    kept = {name: each for name, each in figures.items() if name not in ("lat", "lon")}
    return _ours("order", **kept, **flags, **_kept(held))


def via_element() -> Element:
    """Write down that nothing happens at a point."""
    return _ours("point", kind="via")


def _board_element(board: Board, told: Briefing) -> Element:
    return _ours("board", **_figures(board), **_kept(told.steering))


def _kept(held: Steering | None) -> dict[str, float | None]:
    """Return the angle that is kept, and by how much the helm may err from it."""
    if held is None:
        return {}
    return {name: getattr(held, name) for name in ("keep_twa_deg", "lower_deg", "higher_deg")}


def leave_elements(mark: Mark) -> list[Element]:
    """Write down on which hand a mark is left; nothing where it is passed through."""
    if mark.leave is None:
        return []
    own = {"lat": seven(mark.lat), "lon": seven(mark.lon)}
    if mark.rounding is not None:
        own["rounding"] = "yes" if mark.rounding else "no"
    return [_ours("leave", side=mark.leave, distance_nm=mark.leave_distance_nm, **own)]


def layline_element(layline: Layline) -> Element:
    """Write down whose layline a track is."""
    return _ours("layline", **_figures(layline))


def band_element(band: LaylineBand) -> Element:
    """Write down whose layline's band a track goes round."""
    return _ours("band", **_figures(band), shifts_percent=80)


def _figures(record: Any) -> dict[str, Any]:
    """Return what of a record's document is neither a list nor a place."""
    members: dict[str, Any] = plain(record)
    return {name: value for name, value in members.items() if not isinstance(value, list | dict)}


def _ours(tag: str, **attributes: Any) -> Element:
    written = {
        name: _attribute(plain(value)) for name, value in attributes.items() if value is not None
    }
    return Element(f"{{{GOOSE}}}{tag}", written)


def _attribute(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        # Six decimals hold a second of an hour to a hundredth, and no exponent.
        return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")
    return str(value)


def seven(degrees: float) -> str:
    """Write an angle to seven decimals.

    1e-7° of latitude is 11 mm, finer than any receiver on board; and never an exponent.
    """
    return f"{round(degrees, 7) + 0.0:.7f}"


# Reading -----------------------------------------------------------------------------------


def with_own(text: str, description: str | None, comment: str | None) -> tuple[str, str | None]:
    """Put what a plan says where the user says nothing, else before the user's own comment.

    Returns
    -------
    description, comment : str or None
    """
    if not description:
        return text, comment
    return description, text if not comment else f"{text}{BEFORE_OWN}{comment}"


def is_turn(point: Element) -> bool:
    """Whether a route point is a turning point of an earlier plan."""
    ours = _found(point, "point")
    return ours is not None and ours.get("kind") in ("turn", "via")


def written_text(point: Element) -> str | None:
    """Return what an earlier plan said at this point, which is no text of the user's."""
    return point.findtext(f".//{{{GOOSE}}}text")


def own_text(text: str | None, written: str | None) -> str | None:
    """Return what of a point's text is the user's own, beside what a plan wrote there."""
    if text is None or written is None:
        return text
    if text == written:
        return None
    return text.removeprefix(f"{written}{BEFORE_OWN}")


def own_route_texts(route: Element, gpx: GpxDocument) -> RouteTexts:
    """Return what of a route's name and texts is the user's own, beside what a plan wrote there."""
    texts = {tag: gpx.text(route, tag) for tag in ("name", "desc", "cmt")}
    ours = next(iter(route.iterfind(f"{{*}}extensions/{{{GOOSE}}}plan")), None)
    if ours is None:
        return RouteTexts(name=texts["name"], description=texts["desc"], comment=texts["cmt"])
    written = ours.findtext(f"{{{GOOSE}}}text")
    return RouteTexts(
        name=None if texts["name"] == ours.get("title") else texts["name"],
        description=own_text(texts["desc"], written),
        comment=own_text(texts["cmt"], written),
    )


def own_place(point: Element, place: str) -> Element:
    """Return what holds the mark's position: its ``goose:leave``, where the route passes it by."""
    leave = _found(point, "leave")
    degrees(point, "lat", 90.0, place)
    degrees(point, "lon", 180.0, place)
    return leave if leave is not None and leave.get("lat") is not None else point


def rounding(point: Element, place: str) -> bool | None:
    """Return whether a mark is said to be rounded; None where nothing is said.

    Raises
    ------
    InputError
        If what is said is neither.
    """
    found = _found(point, "leave")
    said = None if found is None else found.get("rounding")
    if said not in (None, "yes", "no"):
        raise InputError('goose:leave: rounding must be "yes" or "no"', where=place)
    return None if said is None else said == "yes"


def line_end(point: Element, place: str) -> tuple[str | None, Side | None]:
    """Return of which line a mark is an end, and on which hand; None where it is of none.

    Raises
    ------
    InputError
        If the line has no name, or the hand is neither.
    """
    found = _found(point, "line")
    if found is None:
        return None, None
    name, end = (found.get("name") or "").strip(), found.get("end")
    if not name or end not in ("port", "starboard"):
        raise InputError('goose:line: needs a name, and end "port" or "starboard"', where=place)
    return name, "port" if end == "port" else "starboard"


def leave(point: Element, place: str) -> tuple[Side | None, float]:
    """Return on which hand a mark is left, and how far off. [nm].

    Raises
    ------
    InputError
        If the element says no such thing.
    """
    found = _found(point, "leave")
    if found is None:
        return None, 0.0
    distance = found.get("distance_nm", "0").strip()
    try:
        side = _side(found.get("side"))
    except ValueError:
        raise InputError('goose:leave: side must be "port" or "starboard"', where=place) from None
    if not is_number(distance) or not 0.0 <= float(distance) < 100.0:
        raise InputError(
            f'goose:leave: distance_nm must be from 0 to 100, got "{brief(distance)}"',
            where=place,
        )
    return side, float(distance)


def departure(route: Element) -> datetime | None:
    """Return when the plan of a route departs; None if the route is no plan's."""
    found = _found(route, "plan")
    try:
        return None if found is None else _time(found.get("departure"))
    except ValueError:
        return None


def told(
    point: Element, texts: Sequence[str | None], departs: datetime | None, *, last: bool
) -> Briefing | None:
    """Read what a plan tells the helm at a route point.

    Parameters
    ----------
    point : Element
        A ``rtept``.
    texts : sequence of str or None
        Its description, its comment and its time.
    departs : datetime or None
        When the plan departs.
    last : bool
        Whether it is the last point of its route.

    Returns
    -------
    Briefing or None
        None where no plan tells anything, or its words have been edited since: whoever
        edited them is to be believed.
    """
    ours, written = _found(point, "point"), written_text(point)
    *said, time = texts
    if ours is None or written is None or said == [own_text(each, written) for each in said]:
        return None
    try:
        return _briefing(point, ours, _time(time), departs, last=last)
    except (ValueError, InputError):
        return None


def _briefing(
    point: Element, ours: Element, time: datetime | None, departs: datetime | None, *, last: bool
) -> Briefing:
    side, off_nm = leave(point, "")
    board = ours.find(f"{{{GOOSE}}}board")
    board = ours.find(f"{{{GOOSE}}}order") if board is None else board
    kinds = tuple(_kind(each.get("kind")) for each in ours.findall(f"{{{GOOSE}}}manoeuvre"))
    sets_sail, pole_up = _flag(ours, "sets_sail"), _flag(ours, "pole_up")
    steering = None if board is None else _steering(board)
    under_sail = steering is not None and not steering.engine
    return Briefing(
        leave=side,
        leave_distance_nm=off_nm,
        kinds=kinds,
        sets_sail=sets_sail,
        pole_up=pole_up,
        alters_course=is_turn(point) and under_sail and not (kinds or sets_sail),
        steering=steering,
        ends=last,
        strike_from=_time(ours.get("strike_from")),
        time=time,
        day=None if time is None or departs is None else new_day(time, departs),
    )


def _steering(board: Element) -> Steering:
    heading = _number(board, "heading_deg")
    if heading is None:
        raise ValueError("no heading")
    return Steering(
        tack=_side(board.get("tack")),
        sail_set=board.get("sail_set", ""),
        heading_deg=heading,
        heading_magnetic_deg=_number(board, "heading_magnetic_deg"),
        heading_compass_deg=_number(board, "heading_compass_deg"),
        keep_twa_deg=_number(board, "keep_twa_deg"),
        lower_deg=_number(board, "lower_deg"),
        higher_deg=_number(board, "higher_deg"),
        engine=_flag(board, "engine"),
        beyond_forecast=_flag(board, "beyond_forecast"),
    )


def _found(parent: Element, tag: str) -> Element | None:
    return parent.find(f".//{{{GOOSE}}}{tag}")


def _side(text: str | None) -> Side:
    if text not in ("port", "starboard"):
        raise ValueError(text)
    return "port" if text == "port" else "starboard"


def _kind(text: str | None) -> ManoeuvreKind:
    for kind in get_args(ManoeuvreKind):
        if text == kind:
            return kind  # type: ignore[no-any-return]
    raise ValueError(text)


def _flag(element: Element, name: str) -> bool:
    return element.get(name) == "true"


def _number(element: Element, name: str) -> float | None:
    text = element.get(name)
    if text is None:
        return None
    if not is_number(text):
        raise ValueError(text)
    return float(text)


def _time(text: str | None) -> datetime | None:
    if text is None:
        return None
    time = datetime.fromisoformat(text)
    if time.utcoffset() is None:
        raise ValueError(text)
    return time
