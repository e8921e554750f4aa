"""The frozen records that a plan is made of, and nothing that computes.

Every output (table, JSON, GPX, sheet, panel) reads these and works out no
navigation of its own, so that all of them show the same numbers. Angles are
degrees true unless the name says otherwise, speeds knots, distances nautical
miles, durations hours, times aware and in UTC. Unknown is ``None``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

Tack = Literal["port", "starboard"]
"""The side the wind comes from."""

Side = Literal["port", "starboard"]
"""The hand on which a mark is left."""

OTHER_SIDE: dict[Side, Side] = {"port": "starboard", "starboard": "port"}
"""Of a hand or a tack."""

Steer = Literal["angle", "heading"]
"""What the helm keeps constant on a board: the true wind angle, or the heading."""

ManoeuvreKind = Literal["tack", "gybe", "set_pole", "strike_pole", "change_sails"]

LateReason = Literal[
    "by the lee", "too close to the wind", "out of the sails' angles", "no forecast"
]
"""Why a plan's own boards can't be sailed so much later: what the wind then is to their tracks."""

AlternativeKind = Literal[
    "straight",
    "other board first",
    "without the pole",
    "poled all the way",
    "reaching all the way",
    "second best",
]
"""What a leg could be sailed by instead."""

Prefer = Literal["mean", "cautious"]
"""Which plan suits the members of an ensemble best: in the mean, or in the worst tenth."""

Value = float | tuple[float, float] | str | None
"""A number, a position (lat, lon), a name, or nothing: the sensor was cleared."""

DEAD_DOWNWIND_DEG = 170.0
"""Bow's angle to the true wind from which an accidental gybe is near. Common practice, no
source. [°]"""

DOWNWIND_CAUTION = (
    "Downwind, rig a preventer and handle the pole with the crew clipped on and the sails under "
    "control; an accidental gybe can injure or kill."
)
"""For wherever she may sail with the wind abaft the beam."""

CAUTIONS: tuple[str, ...] = (
    "Not for sole navigation. Official charts, depth, traffic, the collision regulations and "
    "local rules come first; none of these has been checked for you.",
    DOWNWIND_CAUTION,
    "Wind and stream will differ from what was entered. A plan is advice to a licensed or "
    "practised navigator, whose judgement decides.",
)
"""What every plan, sheet and panel carries."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point to be reached, as the user named it.

    Attributes
    ----------
    name : str
        Never empty: whoever reads a nameless mark gives it one.
    lat, lon : float
        [°], latitude -90 to 90, longitude in [-180, 180).
    description, comment, symbol, kind : str or None
        The user's ``desc``, ``cmt``, ``sym`` and ``type``, kept word for word.
    leave : "port", "starboard" or None
        The hand on which to leave the mark; None passes through it.
    leave_distance_nm : float
        How far off to leave it. [nm]
    rounding : bool or None
        Whether she goes round it, as a string drawn taut would touch it; None: where the
        course turns back at it.
    line, line_end : str and "port" or "starboard", or None
        Of which line or gate it is an end, and on which hand she then has it.
    extras : tuple
        Whatever else the source held for this point (foreign extensions, links,
        elevation …), opaque to the engine, put back by the exchange module that
        took it.
    """

    name: str
    lat: float
    lon: float
    description: str | None = None
    comment: str | None = None
    symbol: str | None = None
    kind: str | None = None
    leave: Side | None = None
    leave_distance_nm: float = 0.0
    rounding: bool | None = None
    line: str | None = None
    line_end: Side | None = None
    extras: tuple[Any, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteTexts:
    """What the user's route is called and says, word for word; None where it says nothing."""

    name: str | None = None
    description: str | None = None
    comment: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A start or finish line, or a gate, and where the plan passes it.

    Attributes
    ----------
    name : str
    kind : "start", "finish" or "gate"
    port, starboard : Mark
        Its ends, on the hand on which she has them.
    favoured : "port", "starboard" or None
        The end that is faster to pass; None where neither is.
    bias_deg : float or None
        By how much it lies off square to the wind, for start and finish. [°]
    gain_s : float or None
        What the favoured end gains on the other; None where that can't be passed. [s]
    """

    name: str
    kind: Literal["start", "finish", "gate"]
    port: Mark
    starboard: Mark
    favoured: Side | None = None
    bias_deg: float | None = None
    gain_s: float | None = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """A position, and the time of being there where one is known."""

    lat: float
    lon: float
    time: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPoint:
    """A place along a board and what holds there."""

    lat: float
    lon: float
    time: datetime
    heading_deg: float
    course_over_ground_deg: float
    twa_deg: float
    tws_kn: float
    awa_deg: float | None = None
    aws_kn: float | None = None
    boat_speed_kn: float | None = None
    leeway_deg: float | None = None
    twd_deg: float | None = None
    """All of these None in a plan that was written down without them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Manoeuvre:
    """What the crew does between two boards; its cost passes at its place."""

    kind: ManoeuvreKind
    lat: float
    lon: float
    time: datetime
    cost_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WindAndStream:
    """Wind and stream over the ground at one place and time, as the forecast gives them."""

    wind_from_deg: float
    wind_kn: float
    gust_kn: float | None = None
    set_deg: float | None = None
    """Where the stream sets to; None without one."""
    drift_kn: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FromMark:
    """Where a place lies from a mark, along the rhumb line."""

    mark: str
    bearing_deg: float
    distance_nm: float
    bearing_magnetic_deg: float | None = None
    """The same from magnetic north, by the variation at the place."""
    run_per_degree_nm: float | None = None
    """How far she runs, as she comes there, while the mark's bearing changes by a degree: with
    much, the bearing doesn't tell the place. None where she comes from elsewhere, or towards
    the mark itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What is met from one stop of a plan to the next: under one order.

    Angles and wind are the values at its start and, where they begin with `last`, at its end;
    speeds are the means along it, and where they begin with `first` or `last`, what log and
    plotter show there; None where that was not worked out.

    Attributes
    ----------
    log_at_nm : float
        What the log has run since the departure, where it begins. [nm]
    log_nm, distance_nm : float
        Its length through the water and over the ground. [nm]
    """

    log_at_nm: float
    log_nm: float
    distance_nm: float
    elapsed_h: float
    boat_speed_kn: float
    speed_over_ground_kn: float
    course_over_ground_deg: float
    last_course_over_ground_deg: float
    last_heading_deg: float
    first_boat_speed_kn: float | None = None
    last_boat_speed_kn: float | None = None
    first_speed_over_ground_kn: float | None = None
    last_speed_over_ground_kn: float | None = None
    last_heading_magnetic_deg: float | None = None
    last_heading_compass_deg: float | None = None
    leeway_deg: float | None = None
    water_track_deg: float | None = None
    """Heading turned to leeward by the leeway."""
    last_water_track_deg: float | None = None
    awa_deg: float | None = None
    aws_kn: float | None = None
    last_awa_deg: float | None = None
    last_aws_kn: float | None = None
    tws_kn: float | None = None
    twd_deg: float | None = None
    """From where it blows over the water."""
    last_twd_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What the helm holds from a time and place on, until the next order or the board's end.

    Nothing else happens under it. `heading_deg` and `twa_deg` are both what they are when
    it is given; the one that `steer` names is held. `point` is what the place is called, as
    `Board.point`; None for the first of a board, which is given where the board begins.
    """

    time: datetime
    lat: float
    lon: float
    steer: Steer
    heading_deg: float
    twa_deg: float
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    point: str | None = None
    from_mark: FromMark | None = None
    """Where it is given as seen from the leg's mark, where that was worked out."""
    weather: WindAndStream | None = None
    """Over the ground where and when it is given, where that was looked up."""
    stretch: Stretch | None = None
    """What is met under it, where that was worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleWork:
    """Where the crew begins to handle the pole before a board ends, still steering for its end.

    Attributes
    ----------
    takes_s : float
        [s]
    heading_deg : float
        What is steered there. [°]
    log_at_nm : float or None
        What the log has run by then, where that was worked out. [nm]
    from_mark : FromMark or None
        The place as seen from the leg's mark, where that was worked out.
    """

    time: datetime
    lat: float
    lon: float
    takes_s: float
    heading_deg: float
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    log_at_nm: float | None = None
    from_mark: FromMark | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleDown(PoleWork):
    """Where the crew begins to strike the pole, so that it is down when its board ends.

    What she runs meanwhile is of the board's own miles. She is steered no nearer to dead aft than
    `DEAD_DOWNWIND_DEG`: a yaw then brings no boom over on those who work.

    Attributes
    ----------
    counted : bool
        Whether the plan's times count it, as a manoeuvre of the board that follows. At the
        last mark none follows: there she may be so much later.
    up_deg : float
        By how much she comes up for it to `heading_deg`. [°]
    """

    counted: bool
    up_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleReady(PoleWork):
    """Where the crew begins to make the pole ready, so that it can be set where a board ends.

    As long before as setting it takes. None of a plan's times count it: she sails on meanwhile.
    Whether the preventer is rigged then too, the board's `crew` tells.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class PoleUp(PoleWork):
    """Where the crew begins to set the pole on the way to the first mark, so that it is up there.

    On the course with which the first board begins, at its mean speed. None of a plan's times
    count it, nor the way there.

    Attributes
    ----------
    crew : tuple of CrewStep
        What hands do, in order: it is begun before she bears away for it.
    """

    crew: tuple[CrewStep, ...] = ()


CrewStepKind = Literal[
    "rig_preventer",
    "ready_pole",
    "strike_pole",
    "headsail_over",
    "preventer_off",
    "ease_preventer",
    "tack",
    "gybe",
    "turn",
    "set_pole",
    "change_sails",
]
"""What hands do about a turn; "turn" is the bow's alone, boom and headsail on their side. The
preventer is off before the boom crosses, and eased off where it only comes in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewStep:
    """One piece of the hands' work about the place where a board ends.

    Attributes
    ----------
    time : datetime
        When it is begun at the earliest; each follows on the one before.
    side : "port", "starboard" or None
        To which side the pole, the headsail or the boom comes, or the bow turns; None where
        that is not asked.
    """

    kind: CrewStepKind
    time: datetime
    side: Side | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A stretch sailed on one tack with one sail set.

    Angles and wind are the values at the start, speeds the means along it;
    `points` holds what changes on the way. ``twa_deg`` and ``awa_deg`` are
    measured from the bow, 0 to 180.

    Attributes
    ----------
    manoeuvres : tuple of Manoeuvre
        What the crew does where it begins, in order, before the clock of the board runs.
    point : str or None
        What the place where it begins is called, such as "T1", by every output alike
        (`goosewing.turns`). None where that is a mark: it has its name already.
    """

    tack: Tack
    sail_set: str
    steer: Steer
    start: Fix
    end: Fix
    heading_deg: float
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    course_over_ground_deg: float
    twa_deg: float
    tws_kn: float
    awa_deg: float
    aws_kn: float
    boat_speed_kn: float
    speed_over_ground_kn: float
    leeway_deg: float
    heel_deg: float | None
    distance_nm: float
    log_nm: float
    elapsed_h: float
    points: tuple[BoardPoint, ...]
    twd_deg: float | None = None
    """Direction the wind over the water comes from, at the start."""
    poled: bool = False
    """Whether the headsail is held out on a pole."""
    engine: bool = False
    """Whether she is under engine; `sail_set` is "engine" then, the tack the wind's side."""
    orders: tuple[Order, ...] = ()
    """In changing wind, what is steered along it; the first at its start. Empty in a steady
    wind, where the one order is the board's own."""
    via: tuple[Fix, ...] = ()
    """Further places that a route needs: without them it would leave the track that is sailed
    by more than half a mile."""
    beyond_forecast: bool = False
    """Whether the last values of a forecast were held on for a part of it."""
    manoeuvres: tuple[Manoeuvre, ...] = ()
    point: str | None = None
    weather: WindAndStream | None = None
    """Over the ground at its start, where that was looked up."""
    from_mark: FromMark | None = None
    """Where its start lies from the leg's mark, where that was worked out."""
    stretch: Stretch | None = None
    """What is met from its start to the next stop: its end, or the next order along it."""
    sails_twa_deg: tuple[float, float] | None = None
    """True wind angles between which its sails are carried: of their table and sector. [°]"""
    pole_down: PoleDown | None = None
    """Where the pole is begun to be struck, if this board ends with it up and no next one
    carries it on."""
    pole_ready: PoleReady | None = None
    """Where the pole is begun to be made ready, if it is set where this board ends."""
    crew: tuple[CrewStep, ...] = ()
    """What hands do about the place where this board ends, in order; done by the time at which
    the next board starts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layline:
    """The line on which a mark can just be fetched; its points end at the mark."""

    mark: str
    tack: Tack
    sail_set: str
    course_over_ground_deg: float
    points: tuple[Fix, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """How near another way than the plan's passes to a danger.

    Attributes
    ----------
    name : str
        The danger's.
    distance_nm : float
        How far off she is where she is nearest. [nm]
    side : "port" or "starboard"
        On which hand she then has it.
    """

    name: str
    distance_nm: float
    side: Side


@dataclass(frozen=True, slots=True, kw_only=True)
class AlternativeBoard:
    """One board of what a leg could be sailed by instead.

    Its headings are what is steered first, None where that was not worked out.
    """

    tack: Tack
    sail_set: str
    twa_deg: float
    elapsed_h: float
    heading_deg: float | None = None
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """What else a leg could be sailed by, and what that costs.

    Attributes
    ----------
    kind : str
        Of all ways of this kind it is the fastest.
    added_min : float
        What the passage takes more than by the plan; less than zero where the plan does
        as it was asked to and not what is fastest. [min]
    elapsed_h : float
        Of the leg, manoeuvres included. [h]
    boards : tuple of AlternativeBoard
    manoeuvres : tuple of str
        In their order, those at the mark where the leg begins included.
    track : tuple of Fix
        By which places it leads, the leg's ends included; times unknown.
    near : tuple of Near
        Which dangers it passes, the nearest first, where that was worked out.
    """

    kind: AlternativeKind
    added_min: float
    elapsed_h: float
    boards: tuple[AlternativeBoard, ...]
    manoeuvres: tuple[ManoeuvreKind, ...] = ()
    track: tuple[Fix, ...] = ()
    near: tuple[Near, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """From one mark to the next."""

    origin: str
    destination: str
    elapsed_h: float
    straight_h: float | None
    saved_min: float | None
    bound_h: float | None
    boards: tuple[Board, ...]
    laylines: tuple[Layline, ...]
    reasons: tuple[str, ...] = ()
    """Why these boards, in sailors' words, a sentence each."""
    alternatives: tuple[Alternative, ...] = ()
    """What else it could be sailed by; none where that was not worked out."""

    @property
    def manoeuvres(self) -> tuple[Manoeuvre, ...]:
        """Those of its boards, in the order in which they are done."""
        return tuple(each for board in self.boards for each in board.manoeuvres)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivalBand:
    """When she arrives if she is as fast, or as slow, as the boat file's band allows.

    By the doubt in the boat alone; wind and stream as in the plan. None at an end where
    the passage can't be planned.
    """

    chance: float
    """How often at least the arrival lies within, if nothing else differs."""
    earliest: datetime | None
    latest: datetime | None
    shortest_h: float | None
    longest_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """Where she is at one time of the passage, and what holds there.

    Attributes
    ----------
    leg, board : int
        Which board of which leg she is on then, counted from 0.
    to_go_nm : float
        Along the boards of the plan to the last mark. [nm]
    log_nm : float
        What the log has run since the departure. [nm]
    from_mark : FromMark or None
        Where she then is as seen from the mark that the leg ends at.
    """

    time: datetime
    lat: float
    lon: float
    leg: int
    board: int
    heading_deg: float
    course_over_ground_deg: float
    weather: WindAndStream
    to_go_nm: float
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    log_nm: float | None = None
    from_mark: FromMark | None = None
    awa_deg: float | None = None
    aws_kn: float | None = None
    boat_speed_kn: float | None = None
    speed_over_ground_kn: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """Wind and stream over the ground at a place of the plan, at one time."""

    time: datetime
    weather: WindAndStream


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """What a place of the plan is like if she comes there later than planned.

    Attributes
    ----------
    point : str
        What the place is called: a mark or a turn.
    time : datetime
        When the plan has her there.
    delays_h : tuple of float
        How much later, the first 0. [h]
    weather : tuple of WindAndStream or None
        Over the ground at that place and each of these times; None where it is not known.
    """

    point: str
    lat: float
    lon: float
    time: datetime
    delays_h: tuple[float, ...]
    weather: tuple[WindAndStream | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Late:
    """The plan's own boards sailed from one of its marks or turns on, later than planned.

    Attributes
    ----------
    mark : str
        Where she is late: a mark, or the turn that is called so.
    delay_h : float
        By how much. [h]
    time : datetime or None
        When the plan has her there: on a closed course a mark's name comes round again.
    arrival : datetime or None
        At the last mark; None where one of the boards can't then be held under its sails, or
        the forecast ends.
    heading_deg, last_heading_deg : float or None
        What is then steered from there on to the next stop, at first and at last, so that the
        plan's own track is kept; never by the lee. None where it can't be. [°]
    twa_deg, last_twa_deg : float or None
        At which angles to the true wind that is. [°]
    speed_over_ground_kn : float or None
        The mean on that track to the next stop. [kn]
    until : str or None
        The next stop: a mark, or the turn that is called so; the place is the plan's.
    until_time : datetime or None
        When she then comes there.
    beside_nm : float or None
        How far beside the plan's track she then is, as her sails go no nearer to it; to
        starboard of it is positive. [nm]
    anew : WhatIf or None
        The passage planned anew from there, so much later; where the plan's tracks can't be
        kept from there on.
    reason : str or None
        Why there is no arrival.
    fails_at : str or None
        From which mark or turn on, where there is none.
    """

    mark: str
    delay_h: float
    arrival: datetime | None
    time: datetime | None = None
    heading_deg: float | None = None
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    last_heading_deg: float | None = None
    last_heading_magnetic_deg: float | None = None
    last_heading_compass_deg: float | None = None
    twa_deg: float | None = None
    last_twa_deg: float | None = None
    speed_over_ground_kn: float | None = None
    until: str | None = None
    until_time: datetime | None = None
    beside_nm: float | None = None
    anew: WhatIf | None = None
    reason: LateReason | None = None
    fails_at: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tide:
    """A high water of the tables that the stream was taken from."""

    port: str
    time: datetime
    range_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """Where she passes nearest to a danger that was kept clear of.

    Attributes
    ----------
    name : str
    lat, lon : float
        Where it lies. [°]
    time : datetime
        When she is nearest.
    distance_nm : float
        How far off she then is. [nm]
    bearing_deg : float
        How it then bears. [°]
    side : "port" or "starboard"
        On which hand she then has it.
    log_at_nm : float or None
        What the log has then run since the departure. [nm]
    course_over_ground_deg : float or None
        [°]
    """

    name: str
    lat: float
    lon: float
    time: datetime
    distance_nm: float
    bearing_deg: float
    side: Side
    bearing_magnetic_deg: float | None = None
    log_at_nm: float | None = None
    course_over_ground_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """Where and when something is begun."""

    lat: float
    lon: float
    time: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A change of tack or sails of a plan that was not kept; of course alone without kinds.

    Attributes
    ----------
    heading_deg : float or None
        What is steered first from there on. [°]
    mark : str or None
        The mark at which it is, also where she carries on.
    from_mark : FromMark or None
        Elsewhere, where it lies from the leg's mark.
    point : str or None
        What the plan calls the place, where it turns there itself, to a tenth of a mile.
    tack, sail_set, poled
        Of the board from there on; None where none begins.
    alters_to : "port", "starboard" or None
        To which hand her heading changes; None where it doesn't.
    comes_deg : float or None
        What is steered last before it, where that is known. [°]
    comes_from : Begun or None
        Where and when what was steered until then was begun: dials go by the variation there.
    keep_twa_deg : float or None
        The true wind angle that is kept, where that makes the heading swing. [°]
    crew : tuple of CrewStep
        What hands do about it, in order.
    """

    kinds: tuple[ManoeuvreKind, ...]
    lat: float
    lon: float
    time: datetime
    heading_deg: float | None = None
    heading_magnetic_deg: float | None = None
    heading_compass_deg: float | None = None
    mark: str | None = None
    from_mark: FromMark | None = None
    point: str | None = None
    tack: Tack | None = None
    sail_set: str | None = None
    poled: bool = False
    alters_to: Side | None = None
    comes_deg: float | None = None
    comes_magnetic_deg: float | None = None
    comes_compass_deg: float | None = None
    comes_from: Begun | None = None
    keep_twa_deg: float | None = None
    crew: tuple[CrewStep, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The same passage in another wind, or begun at another time.

    Attributes
    ----------
    wind_factor, shift_deg, delay_h : float
        What is other: the wind's speed, its direction (veered is positive), the departure.
    elapsed_h : float or None
        What the passage then takes; None where there is no plan, for `reason`. [h]
    same_boards : bool or None
        Whether the tacks and sail sets still follow in the plan's order.
    behind_nm : float or None
        The plan's own boards sailed in that wind: what then is left at the plan's hour of
        arrival; None where one of them can't be held. [nm]
    sequence : tuple of str
        The boards leg by leg, such as "port tack, main and jib", where they are others.
    turns : tuple of Turn
        Where she would tack, gybe, or change sails, and the marks on her way.
    arriving : tuple of CrewStep
        What hands do before the last mark and at it.
    off_track : str or None
        Why the plan's own boards can't be sailed on their tracks then, where `behind_nm` is None.
    first : Turn or None
        Where she departs, and what she then steers; None where there is no plan.
    near : tuple of Near
        Which dangers she then passes, the nearest first.
    same_tracks : bool or None
        Whether with the same boards every turn lies within half a mile of the plan's own.
    wind_from_deg, wind_kn : float or None
        What then blows over the ground where and when she leaves. [°] [kn]
    """

    wind_factor: float = 1.0
    shift_deg: float = 0.0
    delay_h: float = 0.0
    elapsed_h: float | None = None
    arrival: datetime | None = None
    same_boards: bool | None = None
    behind_nm: float | None = None
    sequence: tuple[str, ...] = ()
    turns: tuple[Turn, ...] = ()
    arriving: tuple[CrewStep, ...] = ()
    off_track: LateReason | None = None
    first: Turn | None = None
    near: tuple[Near, ...] = ()
    same_tracks: bool | None = None
    wind_from_deg: float | None = None
    wind_kn: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Of ten passages one is shorter than `p10`, half than `p50`, nine than `p90`. [h]."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetch:
    """The chance of reaching a mark without a turn more than planned, 0 to 1."""

    mark: str
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LaylineBand:
    """Where a mark can just be fetched for the central 80 % of shifts.

    Two lines that end at the mark; between them it is one time in ten to nine in ten.
    """

    mark: str
    tack: Tack
    sail_set: str
    backed: tuple[Fix, ...]
    """With the wind backed (anticlockwise) as far as the band goes."""
    veered: tuple[Fix, ...]

    @property
    def outline(self) -> tuple[Fix, ...]:
        """Round the band: along one edge to the mark, back along the other, and across."""
        return (*self.backed, *reversed(self.veered[:-1]), self.backed[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class LegRule:
    """When to turn on a shift, on one beat or run.

    Attributes
    ----------
    mark : str
    mean_wind_from_deg : float
        The direction from which shifts count. [° true]
    headed_deg : float or None
        Halfway, on the axis: turn when headed by more; None where no shift is worth a turn. [°]
    inside_nm : float
        Halfway: how far short of the layline she turns in the mean wind. [nm]
    expected_h, fixed_plan_h : float
        Mean time by the rule, and sailing on to the layline of the moment each time. [h]
    downwind : bool
        Whether it is a run, gybed.
    cone : tuple of Fix
        Round where either tack will do in the mean wind, and only a shift is worth a turn.
    """

    mark: str
    mean_wind_from_deg: float
    headed_deg: float | None
    inside_nm: float
    expected_h: float
    fixed_plan_h: float
    downwind: bool = False
    cone: tuple[Fix, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """What a shifty wind makes of a plan, from many drawn winds."""

    sigma_deg: float
    tau_min: float
    source: str
    """Where the two figures come from, in words."""
    elapsed_h: Spread
    """Sailed by the rules below."""
    winds_held: bool = False
    """Whether the wind changes, and that of each leg's beginning stands for all of the leg:
    then their middle is another reckoning than the plan's time."""
    fetch: tuple[Fetch, ...] = ()
    rules: tuple[LegRule, ...] = ()
    bands: tuple[LaylineBand, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberSailed:
    """One member of an ensemble: its own best plan, and the plan chosen sailed in its wind.

    Attributes
    ----------
    member : int
        The number its file gives it; from 1 on in the file's order where it gives none.
    elapsed_h : float or None
        Of its own best plan; None where it has none, for `reason`. [h]
    sailed_h : float or None
        Of the plan chosen, by way of its turning points in this member's wind; None where
        that can't be sailed, or the forecast ends. [h]
    regret_min : float or None
        By how much `sailed_h` is longer than the least known for this member.
    apart_nm : float or None
        How far its own track leads from the plan's at most, at equal times.
    sequence : tuple of str
        Its own boards leg by leg, such as "to B: port tack, main and jib".
    track : tuple of Fix
        Where its own boards begin, and where the last ends.
    """

    member: int
    elapsed_h: float | None = None
    sailed_h: float | None = None
    regret_min: float | None = None
    apart_nm: float | None = None
    sequence: tuple[str, ...] = ()
    track: tuple[Fix, ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What some members' best plans go over to where they part, or stay on."""

    board: str
    """Such as "starboard tack, main and jib"."""
    members: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Until when the best plans of all members are under the same tack and sails.

    Attributes
    ----------
    time : datetime
    lat, lon : float
        Where the plan then is. [°]
    choices : tuple of Choice
        What each does a little later, the most frequent first.
    """

    time: datetime
    lat: float
    lon: float
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EnsembleVerdict:
    """How a plan does in every member of an ensemble, and how it was chosen.

    Attributes
    ----------
    prefer : "mean" or "cautious"
        By the least mean, or the least mean of the worst tenth.
    chosen : int
        The number of the member whose own best plan this is.
    elapsed_h : Spread
        Of this plan, sailed in every member that allows it.
    mean_h, worst_tenth_h : float
        [h]
    own_h : Spread
        Of the members' own best plans.
    mean_regret_min, worst_regret_min : float
        Against knowing the member beforehand.
    apart_nm : float or None
        How far the members' tracks lead from this plan's at most.
    decision : Decision or None
        None where all agree to the end.
    each : tuple of MemberSailed
    """

    prefer: Prefer
    chosen: int
    elapsed_h: Spread
    mean_h: float
    worst_tenth_h: float
    own_h: Spread
    mean_regret_min: float
    worst_regret_min: float
    apart_nm: float | None
    decision: Decision | None
    each: tuple[MemberSailed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A passage over all marks: what every output reads."""

    boat: str
    departure: datetime
    arrival: datetime
    conditions: str = ""
    """Which wind and stream it was made for, in plain words."""
    elapsed_h: float
    distance_nm: float
    log_nm: float
    straight_h: float | None
    saved_min: float | None
    bound_h: float | None
    relaxed_h: float | None
    marks: tuple[Mark, ...]
    legs: tuple[Leg, ...]
    notices: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS
    pole_up: PoleUp | None = None
    """How the pole is set before the departure, where she begins with it up."""
    engine_h: float | None = None
    """Hours under engine; None where it was not to be used."""
    engine_litres: float | None = None
    """What they burn; None where that isn't known either."""
    hours: tuple[Hour, ...] = ()
    """The passage hour by hour, where that was looked up."""
    what_if: tuple[WhatIf, ...] = ()
    """What hangs on the forecast, where that was asked."""
    band: ArrivalBand | None = None
    """The arrival's spread by the boat's band; None where she has none."""
    chances: Chances | None = None
    """What a shifty wind makes of it; None where that wasn't asked."""
    ensemble: EnsembleVerdict | None = None
    """How it does in every member of an ensemble; None where that wasn't asked."""
    lines: tuple[Line, ...] = ()
    """Start and finish lines and gates, in the order in which they are passed."""
    route: RouteTexts = RouteTexts()
    """Of the route that the marks were taken from."""
    dangers: tuple[Mark, ...] = ()
    """Waypoints of the user's file that were kept clear of."""
    passed: tuple[Passed, ...] = ()
    """How she passes them, where that was worked out, in the order in which she does."""
    afterwards: tuple[Foreseen, ...] = ()
    """Wind and stream at the last mark from the arrival on, where they change with time."""
    later: tuple[Later, ...] = ()
    """The same at its marks and turns, if she comes there later than planned."""
    late: tuple[Late, ...] = ()
    """What becomes of the arrival, if she is late at a mark, where that was asked."""
    tides: tuple[Tide, ...] = ()
    """High waters about the passage, if its stream hangs on them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FromHere:
    """How the boat lies to one layline of the mark ahead.

    Attributes
    ----------
    state : str
        "short of it", "on it", "overstood" or "out of reach" (her other board
        never meets it).
    distance_nm, elapsed_h : float or None
        Along the other board to the layline, where she is short of it.
    overstood_nm : float or None
        How far beyond it she is, square to it.
    downwind : bool
        Whether the mark lies downwind: beyond the layline she then steers up for it.
    """

    mark: str
    tack: Tack
    sail_set: str
    state: str
    distance_nm: float | None = None
    elapsed_h: float | None = None
    overstood_nm: float | None = None
    downwind: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PoledFromHere:
    """How the boat lies to the sector from which a poled sail set reaches the mark.

    Attributes
    ----------
    state : str
        "inside", "not yet" (so far on another board she is), or "too far up" (the
        other board leads away from it).
    tack, by_sail_set, distance_nm, elapsed_h
        The board that leads there, and for how long; None unless "not yet".
    """

    mark: str
    sail_set: str
    state: str
    tack: Tack | None = None
    by_sail_set: str | None = None
    distance_nm: float | None = None
    elapsed_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaylineSheet:
    """The laylines of all marks."""

    boat: str
    laylines: tuple[Layline, ...]
    from_here: tuple[FromHere, ...] = ()
    poled_from_here: tuple[PoledFromHere, ...] = ()
    magnetic_courses_deg: tuple[float, ...] | None = None
    """Course over the ground of each line, from magnetic north, where a variation is given."""
    notices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """One time of departure, and what its passage would be like.

    Attributes
    ----------
    departure : datetime
        In UTC.
    reason : str or None
        Why there is no plan; all the rest is None then.
    arrival : datetime
    elapsed_h, saved_min : float or None
        As the plan has them. [h], [min]
    upwind_h, poled_h, engine_h : float
        Close-hauled; with the headsail on a pole; under engine. [h]
    strongest_wind_kn, strongest_gust_kn : float or None
        Over the ground; None where the source knows none. [kn]
    against_h : float
        Wind against a stream of more than 1 kn. [h]
    dead_downwind_h : float
        Under sail within 10° of straight before the wind. [h]
    night_h : float
        Between sunset and sunrise. [h]
    arrives_in_daylight : bool
    beyond_forecast_h : float
        With the last values of a forecast held on. [h]
    ends_too_soon : bool
        Whether values held on after the forecast's end would help.
    plan : Plan or None
    """

    departure: datetime
    arrival: datetime | None = None
    elapsed_h: float | None = None
    saved_min: float | None = None
    upwind_h: float | None = None
    poled_h: float | None = None
    engine_h: float | None = None
    strongest_wind_kn: float | None = None
    strongest_gust_kn: float | None = None
    against_h: float | None = None
    dead_downwind_h: float | None = None
    night_h: float | None = None
    arrives_in_daylight: bool | None = None
    beyond_forecast_h: float | None = None
    reason: str | None = None
    ends_too_soon: bool = False
    plan: Plan | None = None
