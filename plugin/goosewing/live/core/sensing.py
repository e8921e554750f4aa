"""From the readings to what is so: place, heading, speed, wind over the water, stream.

True wind over the water comes from the instruments' true wind, or from the apparent
wind with boat speed, heading and leeway. The stream is what is left of the velocity
over the ground when the velocity through the water, leeway included, is taken away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from goosewing.boat.model import STEERAGE_KN, leeway_angle, sailing
from goosewing.earth import local_plane
from goosewing.live.core import stream_filter
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import (
    damped,
    from_deg,
    strength_kn,
    towards_deg,
    turned_deg,
    vector,
    wind_tau_s,
)
from goosewing.live.core.readings import GROUPS, choose, fresh
from goosewing.live.core.state import (
    Average,
    Event,
    Place,
    Sample,
    Sense,
    SinceName,
    State,
)

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk
    from goosewing.records import Tack

PAIR_S = 3.0
"""Angle and speed of one wind come within this time of each other. [s]"""

GUST_TAU_S = 5.0
"""Averaging of the wind that is held against the sail sets' limits. [s]"""

MAKING_WAY_KN = 1.0
"""Faster than this, a position has to move."""

COURSE_FOR_HEADING_KN, COURSE_NO_LONGER_KN = 1.5, 1.0
"""From the first speed on the course over ground stands in for a missing heading; once it
does, down to the second: about one speed it would come and go with every wave."""

COURSE_HELD_S = 10.0
"""So long slower, and the course is held as it was: it wanders where she hardly moves."""

BOW_TAU_S = 8.0
"""Averaging of where the bow points: longer than a wave, shorter than a turn. [s]"""

LOST_BOW_S = 15.0

SETTLES_S = 20.0
"""After a turn, until log and course over the ground are those of the new heading. [s]"""

MADE_TAU_S = 60.0
"""Averaging of the velocity over the ground that times ahead are told by. [s]"""

LEAST_LOGGED_KN = 0.5

HEARD_S = 10.0
"""So long the wind is heard before a turn is told by it. Of one second's wind and an unknown stream
plans of a watch begun anew led ten degrees aside; by then the wind's mean is within two. [s]"""

STREAM_WITHIN_S = 40.0
"""So long a stream is waited for that log and compass could tell. [s]"""

STRONGEST_STREAM_KN = 8.0
"""More than this is a log or compass at fault. [kn]."""

COURSE, WATER_COURSE = "course over ground", "course through the water"
"""Where a heading is from that no compass gives; the second where the stream is known."""

DEAD_ASTERN_DEG = 165.0
DEAD_AHEAD_DEG = 15.0
"""Between these angles off the bow the wind tells the tack."""


@dataclass(frozen=True, slots=True)
class SourceWind:
    """The wind over the water by one source."""

    east_kn: float
    north_kn: float
    seen_s: float
    how: str


def sensed(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Work out, from the readings, what is so at this moment."""
    state, events = _placed(state, desk)
    state = _turning(_standing(_steered(state, desk)), desk)
    state, more = _winded(state, desk)
    state = _made(_streamed(state, desk), desk)
    return _tacked(state), [*events, *more]


# ---- small help ---------------------------------------------------------------------


def apart_nm(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    """Return how far two places lie apart, in nautical miles."""
    return local_plane.towards(lat1, lon1, lat2, lon2).distance_nm


def lasting(state: State, name: SinceName, holds: bool) -> tuple[State, float]:
    """Note since when a condition holds without a break; return for how many seconds."""
    begun = getattr(state.since, name)
    if holds and begun is not None:
        return state, state.now_s - begun
    if not holds and begun is None:
        return state, 0.0
    times = {name: state.now_s if holds else None}
    return replace(state, since=replace(state.since, **times)), 0.0


def _believed(state: State, desk: Desk, name: str, within_s: float) -> tuple[State, Sample | None]:
    group = GROUPS[name]
    candidates = fresh(state, name, within_s)
    source = choose(state, group, {k: s.seen_s for k, s in candidates.items()}, desk.prefer)
    if source is None:
        return state, None
    if state.chosen.get(group) != source:
        state = replace(state, chosen={**state.chosen, group: source})
    return state, candidates[source]


# ---- place -----------------------------------------------------------------------------


def _placed(state: State, desk: Desk) -> tuple[State, list[Event]]:
    state, sample = _believed(state, desk, "position", desk.rules.position_stale_s)
    if sample is None or (state.place and sample.seen_s <= state.place.seen_s):
        return state, []
    lat, lon = sample.value
    lon = (lon + 180.0) % 360.0 - 180.0
    place = state.place
    if place is None or not _jumps(state, desk, lat, lon, sample.seen_s):
        moved = place is None or (lat, lon) != (place.lat, place.lon)
        since = sample.seen_s if moved or place is None else place.moved_s
        return replace(
            state, place=Place(lat=lat, lon=lon, seen_s=sample.seen_s, moved_s=since)
        ), []
    return _doubted(state, desk, lat, lon, sample.seen_s)


def _jumps(state: State, desk: Desk, lat: float, lon: float, seen_s: float) -> bool:
    place = state.place
    assert place is not None
    within = desk.rules.jump_nm + desk.rules.fastest_kn * (seen_s - place.seen_s) / 3600.0
    return apart_nm(place.lat, place.lon, lat, lon) > within


def _doubted(
    state: State, desk: Desk, lat: float, lon: float, seen_s: float
) -> tuple[State, list[Event]]:
    """Hold a far-off position in doubt until it has stayed there long enough."""
    place = state.place
    assert place is not None
    doubt = place.doubted
    stays = doubt is not None and (
        apart_nm(doubt[0], doubt[1], lat, lon)
        <= desk.rules.jump_nm + desk.rules.fastest_kn * (seen_s - doubt[2]) / 3600.0
    )
    if doubt is None or not stays:
        return replace(state, place=replace(place, doubted=(lat, lon, seen_s))), []
    if seen_s - doubt[2] < desk.rules.believed_s:
        return state, []
    far = apart_nm(place.lat, place.lon, lat, lon)
    words = f"The position jumped by {far:.1f} nm and stays there: planning from the new one."
    event = Event(
        time_s=seen_s, kind="position_jumped", message=words, severity="alert",
        values={"distance_nm": far},
    )  # fmt: skip
    new = Place(lat=lat, lon=lon, seen_s=seen_s, moved_s=seen_s)
    return replace(state, place=new, nearest_nm=None, wanted="the position jumped"), [event]


def frozen(state: State, desk: Desk) -> bool:
    """Whether the position has stood still for a while in which she made way."""
    since = state.since.standing
    return since is not None and state.now_s - since >= desk.rules.frozen_s


def _standing(state: State) -> State:
    """Note since when the position has stood still although she makes way."""
    place, sense = state.place, state.sense
    speed = sense.ground_speed_kn
    if speed is None and sense.speed_from == "log":
        speed = sense.boat_speed_kn
    makes_way = speed is not None and speed > MAKING_WAY_KN
    still = place is not None and place.moved_s < place.seen_s
    state, _ = lasting(state, "standing", makes_way and still)
    return state


# ---- heading and speed ---------------------------------------------------------------------


def _steered(state: State, desk: Desk) -> State:
    rules = desk.rules
    state, log = _believed(state, desk, "stw_kn", rules.log_stale_s)
    state, over = _believed(state, desk, "sog_kn", rules.course_stale_s)
    state, course = _believed(state, desk, "cog_deg", rules.course_stale_s)
    over_kn = None if over is None else float(over.value)
    course_deg = None if course is None else float(course.value) % 360.0
    state, heading, where = _heading(state, desk, course_deg, over_kn)
    return replace(
        state,
        sense=Sense(
            heading_deg=heading,
            heading_from=where,
            boat_speed_kn=None if log is None else float(log.value),
            speed_from="" if log is None else "log",
            course_deg=course_deg,
            ground_speed_kn=over_kn,
            sails=_sails(state),
        ),
    )


def _heading(
    state: State, desk: Desk, course_deg: float | None, over_kn: float | None
) -> tuple[State, float | None, str]:
    within = desk.rules.heading_stale_s
    state, true = _believed(state, desk, "heading_deg", within)
    if true is not None:
        return state, float(true.value) % 360.0, "compass"
    state, magnetic = _believed(state, desk, "heading_magnetic_deg", within)
    variation = variation_deg(state, desk)
    if magnetic is not None and variation is not None:
        return state, (float(magnetic.value) + variation) % 360.0, "compass"
    through = _through_water(state, desk, course_deg, over_kn)
    if through is None:
        return _by_course(state, course_deg, over_kn, COURSE)
    return _by_course(state, _bow_deg(state, through), math.hypot(*through), WATER_COURSE)


def _through_water(
    state: State, desk: Desk, course_deg: float | None, over_kn: float | None
) -> tuple[float, float] | None:
    """Return her way over the ground less the stream; None where one of them is not known. [kn]."""
    stream = stream_kn(state, desk)
    if course_deg is None or over_kn is None or stream is None:
        return None
    over = vector(course_deg, over_kn)
    return over[0] - stream[0], over[1] - stream[1]


def _bow_deg(state: State, through: tuple[float, float]) -> float:
    """Return where her bow points by her way through the water, and her leeway. [°]."""
    side = {"starboard": 1.0, "port": -1.0, None: 0.0}[state.tack]
    return (towards_deg(*through) + side * state.sense.leeway_deg) % 360.0


def _by_course(
    state: State, course_deg: float | None, speed_kn: float | None, where: str
) -> tuple[State, float | None, str]:
    """Let the course stand in for the heading, while she goes fast enough by it."""
    before = state.sense
    stood_in = before.heading_from in (COURSE, WATER_COURSE)
    least = COURSE_NO_LONGER_KN if stood_in else COURSE_FOR_HEADING_KN
    fast = speed_kn is not None and speed_kn >= least
    state, slow_s = lasting(state, "slow", not fast)
    if fast and course_deg is not None:
        return state, course_deg, where
    if stood_in and course_deg is not None and slow_s < COURSE_HELD_S:
        return state, before.heading_deg, where
    return state, None, ""


def variation_deg(state: State, desk: Desk) -> float | None:
    """Return the newest variation of any age: it changes by the year; else the one configured."""
    held = state.readings.get("variation_deg", {})
    if not held:
        return desk.variation_deg
    return float(max(held.values(), key=lambda sample: sample.seen_s).value)


def _sails(state: State) -> tuple[str, ...]:
    found = [
        str(max(held.values(), key=lambda s: s.seen_s).value)
        for name, held in sorted(state.readings.items())
        if name.startswith("sail:") and held
    ]
    return tuple(name for name in found if name)


# ---- wind ----------------------------------------------------------------------------------


def _winded(state: State, desk: Desk) -> tuple[State, list[Event]]:
    rules = desk.rules
    state = _speed_over_ground(state, desk)
    leeway = _leeway(state, desk)
    state = replace(state, sense=replace(state.sense, leeway_deg=leeway))
    winds = _winds(state, desk)
    source = choose(state, "wind", {k: w.seen_s for k, w in winds.items()}, desk.prefer)
    state, events = _agreeing(state, desk, winds, source)
    if source is None:
        return _speed_by_polar(state, desk), events
    now = winds[source]
    if state.chosen.get("wind") != source:
        state = replace(state, chosen={**state.chosen, "wind": source})
    before = state.wind
    if before is not None and now.seen_s - before.seen_s > rules.wind_stale_s:
        before = None  # What blew before the silence is no part of an average.
    strength = math.hypot(now.east_kn, now.north_kn)
    tau = wind_tau_s(strength if before is None else strength_kn(before), rules.wind_tau_s)
    state = replace(
        state,
        wind=damped(before, now.east_kn, now.north_kn, max(now.seen_s, _seen(before)), tau),
        gusting=damped(
            None if before is None else state.gusting,
            strength, 0.0, max(now.seen_s, _seen(before)), GUST_TAU_S,
        ),
        sense=replace(state.sense, wind=(now.east_kn, now.north_kn), wind_from=now.how),
    )  # fmt: skip
    return _speed_by_polar(state, desk), events


def _seen(average: Average | None) -> float:
    return -math.inf if average is None else average.seen_s


def _winds(state: State, desk: Desk) -> dict[str, SourceWind]:
    """Return the wind over the water by every source that gives one."""
    sources = {
        source
        for name in ("aws_kn", "tws_kn", "ground_wind_kn")
        for source in state.readings.get(name, {})
    }
    ways = [_true_wind, _apparent_wind, _wind_over_ground]
    if desk.wind_paths == "apparent":
        ways = [_apparent_wind, _true_wind, _wind_over_ground]
    found = {}
    for source in sorted(sources):
        for way in ways:
            wind = way(state, desk, source)
            if wind is not None:
                found[source] = wind
                break
    return found


def _pair(
    state: State, desk: Desk, source: str, angle: str, speed: str
) -> tuple[float, float, float] | None:
    """Angle, speed and time of two values that one source gave together and lately."""
    a = state.readings.get(angle, {}).get(source)
    s = state.readings.get(speed, {}).get(source)
    if a is None or s is None or abs(a.seen_s - s.seen_s) > PAIR_S:
        return None
    seen = min(a.seen_s, s.seen_s)
    if state.now_s - seen > min(desk.rules.wind_stale_s, 5.0):
        return None
    return float(a.value), float(s.value), max(a.seen_s, s.seen_s)


def _true_wind(state: State, desk: Desk, source: str) -> SourceWind | None:
    heading = state.sense.heading_deg
    on_bow = _pair(state, desk, source, "twa_deg", "tws_kn")
    if on_bow is not None and heading is not None:
        return _from(heading + on_bow[0], on_bow[1], on_bow[2], "true wind")
    direct = _pair(state, desk, source, "twd_deg", "tws_kn")
    if direct is not None:
        return _from(*direct, "true wind")
    magnetic = _pair(state, desk, source, "twd_magnetic_deg", "tws_kn")
    variation = variation_deg(state, desk)
    if magnetic is not None and variation is not None:
        return _from(magnetic[0] + variation, magnetic[1], magnetic[2], "true wind")
    return None


def _apparent_wind(state: State, desk: Desk, source: str) -> SourceWind | None:
    """Take the boat's own wind, along her water track, from the apparent wind."""
    heading = state.sense.heading_deg
    felt = _pair(state, desk, source, "awa_deg", "aws_kn")
    if felt is None or heading is None:
        return None
    awa, aws, seen = felt
    east, north = vector(heading + awa + 180.0, aws)
    speed, how = state.sense.boat_speed_kn, "apparent wind"
    if speed is None:
        speed, how = _polar_speed(desk, state, awa, aws), "apparent wind and polar"
    track = heading - math.copysign(state.sense.leeway_deg, awa)
    boat_east, boat_north = vector(track, speed)
    return SourceWind(east + boat_east, north + boat_north, seen, how)


def felt(state: State, desk: Desk) -> tuple[float, float] | None:
    """Return the apparent wind as measured, angle signed; of the source believed, if it has one."""
    sources = sorted(state.readings.get("aws_kn", {}))
    believed = [name for name in (state.chosen.get("wind"),) if name in sources]
    for source in [*believed, *sources]:
        pair = _pair(state, desk, source, "awa_deg", "aws_kn")
        if pair is not None:
            return pair[0], pair[1]
    return None


def _wind_over_ground(state: State, desk: Desk, source: str) -> SourceWind | None:
    heading = state.sense.heading_deg
    found = _pair(state, desk, source, "ground_wind_deg", "ground_wind_kn")
    if found is None or heading is None:
        return None
    wind = _from(heading + found[0], found[1], found[2], "wind over ground")
    stream = stream_kn(state, desk)
    if stream is None:
        return wind
    return replace(wind, east_kn=wind.east_kn - stream[0], north_kn=wind.north_kn - stream[1])


def _from(direction_deg: float, speed_kn: float, seen_s: float, how: str) -> SourceWind:
    east, north = vector(direction_deg + 180.0, speed_kn)
    return SourceWind(east, north, seen_s, how)


def _agreeing(
    state: State, desk: Desk, winds: dict[str, SourceWind], source: str | None
) -> tuple[State, list[Event]]:
    """Tell when two sources have disagreed for long enough, and when they agree again."""
    other = _dissenter(desk, winds, source)
    state, for_s = lasting(state, "disagree", other is not None)
    told = state.told.disagree
    if other is not None and source is not None and not told and for_s >= desk.rules.disagree_s:
        words = f"{_said(source, winds)}, but {_said(other, winds)}: {source} is believed."
        event = Event(
            time_s=state.now_s, kind="sources_disagree", message=words, severity="alert",
            values={"believed": source, "other": other},
        )  # fmt: skip
        return replace(state, told=replace(state.told, disagree=words)), [event]
    if other is None and told and len(winds) > 1:
        words = "The wind's sources agree again."
        event = Event(time_s=state.now_s, kind="sources_agree", message=words)
        return replace(state, told=replace(state.told, disagree=None)), [event]
    return state, []


def _dissenter(desk: Desk, winds: dict[str, SourceWind], source: str | None) -> str | None:
    if source is None:
        return None
    one = winds[source]
    for name in sorted(winds):
        two = winds[name]
        speeds = math.hypot(one.east_kn, one.north_kn), math.hypot(two.east_kn, two.north_kn)
        turn = turned_deg(from_deg(two.east_kn, two.north_kn), from_deg(one.east_kn, one.north_kn))
        turned = abs(turn) > desk.rules.disagree_deg and min(speeds) > desk.rules.disagree_kn
        if turned or abs(speeds[0] - speeds[1]) > desk.rules.disagree_kn:
            return name
    return None


def _said(source: str, winds: dict[str, SourceWind]) -> str:
    wind = winds[source]
    direction = round(from_deg(wind.east_kn, wind.north_kn)) % 360
    return (
        f"{source} says wind from {direction:03d}° {math.hypot(wind.east_kn, wind.north_kn):.0f} kn"
    )


# ---- leeway, and the polar in the log's place -------------------------------------------------


def carried(state: State) -> str | None:
    """Return the sail set she is under: as reported, as the crew has it, or as the plan has it."""
    if state.sense.sails:
        return state.sense.sails[0]
    if state.sail_set is not None:
        return state.sail_set
    if state.planned is None:
        return None
    boards = state.planned.plan.legs[0].boards
    return boards[state.planned.board_at(state.board)].sail_set


def _index(desk: Desk, name: str | None) -> int:
    names = [sails.name for sails in desk.boat.sail_sets]
    return names.index(name) if name in names else 0


def _on_bow(state: State) -> tuple[float, float] | None:
    """Damped wind angle, signed, and speed."""
    heading, wind = state.sense.heading_deg, state.wind
    if heading is None or wind is None:
        return None
    return turned_deg(from_deg(wind.east_kn, wind.north_kn), heading), strength_kn(wind)


def by_polar(desk: Desk, name: str | None, twa_deg: float, tws_kn: float) -> Any:
    """How she goes by her tables, at one wind, limits left aside; None outside them."""
    at = _index(desk, name)
    polar = desk.boat.sail_sets[at].polar
    if not polar.first_twa_deg <= twa_deg <= polar.last_twa_deg or tws_kn > polar.last_tws_kn:
        return None
    return sailing(desk.boat, at, twa_deg, tws_kn)


def _leeway(state: State, desk: Desk) -> float:
    """Leeway as measured, or by heel and speed; positive to leeward. [°]."""
    measured = fresh(state, "leeway_deg", desk.rules.log_stale_s)
    if measured:
        return abs(float(max(measured.values(), key=lambda s: s.seen_s).value))
    wind = _on_bow(state)
    if wind is None:
        return 0.0
    sails = by_polar(desk, carried(state), abs(wind[0]), wind[1])
    if sails is None:
        return 0.0
    speed = state.sense.boat_speed_kn
    if speed is None or speed < STEERAGE_KN:
        return float(sails.leeway_deg)
    model = desk.boat.leeway
    return float(leeway_angle(sails.heel_deg, speed, model.coefficient, model.largest_deg))


def _polar_speed(desk: Desk, state: State, awa_deg: float, aws_kn: float) -> float:
    """Find the boat speed at which polar and apparent wind agree, by halving the change."""
    speed = 0.0
    for _ in range(12):
        fore = aws_kn * math.cos(math.radians(awa_deg)) - speed
        abeam = aws_kn * math.sin(math.radians(awa_deg))
        twa, tws = abs(math.degrees(math.atan2(abeam, fore))), math.hypot(fore, abeam)
        sails = by_polar(desk, carried(state), twa, tws)
        if sails is None:
            return speed
        speed += 0.5 * (float(sails.boat_speed_kn) - speed)
    return speed


def _speed_over_ground(state: State, desk: Desk) -> State:
    """Without a log, take the stream as it was last known from the velocity over the ground.

    It wanders by some tenths of a knot in an hour, her tables differ from what she does by as much
    at once: by them the wind, made of the apparent one, would turn by degrees as the log falls out.
    """
    sense = state.sense
    if sense.boat_speed_kn is not None:
        return state
    through = _through_water(state, desk, sense.course_deg, sense.ground_speed_kn)
    if through is None:
        return state
    sense = replace(sense, boat_speed_kn=math.hypot(*through), speed_from="ground")
    return replace(state, sense=sense)


def _speed_by_polar(state: State, desk: Desk) -> State:
    """Without a log, and without a stream, let the tables say how fast she goes."""
    wind = _on_bow(state)
    if state.sense.boat_speed_kn is not None or wind is None:
        return state
    sails = by_polar(desk, carried(state), abs(wind[0]), wind[1])
    if sails is None:
        return state
    speed = float(sails.boat_speed_kn)
    return replace(state, sense=replace(state.sense, boat_speed_kn=speed, speed_from="polar"))


# ---- stream ---------------------------------------------------------------------------------


def _streamed(state: State, desk: Desk) -> State:
    """Take what log, compass and ground speed say of the stream, or what is measured of it."""
    sense = state.sense
    if _tells_stream(sense):
        if swinging(state, desk) or (sense.boat_speed_kn or 0.0) < LEAST_LOGGED_KN:
            return state
        return _from_log(state)
    return _measured_stream(state, desk)


def _tells_stream(sense: Sense) -> bool:
    """Whether her way through the water and over the ground are both measured."""
    through = sense.speed_from == "log" and sense.heading_from == "compass"
    return through and sense.course_deg is not None and sense.ground_speed_kn is not None


def _from_log(state: State) -> State:
    sense = state.sense
    assert sense.heading_deg is not None
    assert sense.boat_speed_kn is not None
    assert sense.course_deg is not None
    assert sense.ground_speed_kn is not None
    over = vector(sense.course_deg, sense.ground_speed_kn)
    wind = _on_bow(state)
    side = 0.0 if wind is None else math.copysign(1.0, wind[0])
    through = vector(sense.heading_deg - side * sense.leeway_deg, sense.boat_speed_kn)
    if math.hypot(over[0] - through[0], over[1] - through[1]) > STRONGEST_STREAM_KN:
        return state
    return replace(state, stream=stream_filter.sailed(state.stream, over, through, state.now_s))


def _turning(state: State, desk: Desk) -> State:
    """Note when she last turned: log and compass then disagree with what is over the ground.

    The bow's swing in a seaway is no turn: what is looked at is where it points on average.
    """
    heading, before = state.sense.heading_deg, state.steered
    if heading is None:
        return replace(state, steered=None)
    if before is not None and state.now_s - before.seen_s > LOST_BOW_S:
        before = None
    now = damped(before, *vector(heading, 1.0), state.now_s, BOW_TAU_S)
    state = replace(state, steered=now)
    if before is None or now.seen_s == before.seen_s:
        return state
    turn = turned_deg(
        towards_deg(now.east_kn, now.north_kn), towards_deg(before.east_kn, before.north_kn)
    )
    if abs(turn) / (now.seen_s - before.seen_s) > desk.rules.swinging_deg_s:
        return replace(state, since=replace(state.since, swung=state.now_s))
    return state


def swinging(state: State, _: Desk) -> bool:
    """Whether she has turned lately."""
    swung = state.since.swung
    return swung is not None and state.now_s - swung < SETTLES_S


def _measured_stream(state: State, desk: Desk) -> State:
    within = desk.rules.current_stale_s
    state, setting = _believed(state, desk, "set_deg", within)
    state, drift = _believed(state, desk, "drift_kn", within)
    if setting is None or drift is None:
        return state
    seen = max(setting.seen_s, drift.seen_s)
    if state.stream is not None and seen <= state.stream.seen_s:
        return state
    given = vector(float(setting.value), float(drift.value))
    return replace(state, stream=stream_filter.told(state.stream, given, seen))


def stream_kn(state: State, desk: Desk) -> tuple[float, float] | None:
    """Return the stream, *towards* east and north, for all that asks; None if not known. [kn]."""
    stream = state.stream
    if stream is None or stream_filter.doubt_kn(stream, state.now_s) > desk.rules.stream_doubt_kn:
        return None
    return stream.east_kn, stream.north_kn


def heard(state: State, desk: Desk) -> bool:
    """Whether wind and stream have been heard for long enough to turn by what they say.

    So after a start, and after a silence. A stream that nothing measures is not waited for, nor
    for long one that can't be told, as while she turns.
    """
    if state.wind is None:
        return False
    for_s = state.now_s - state.wind.since_s
    hidden = _tells_stream(state.sense) and stream_kn(state, desk) is None
    return for_s >= (STREAM_WITHIN_S if hidden else HEARD_S)


def stream_doubt_kn(state: State, desk: Desk) -> float | None:
    """Return the standard deviation of the stream where it is known worst; None if not known."""
    if state.stream is None or stream_kn(state, desk) is None:
        return None
    return stream_filter.doubt_kn(state.stream, state.now_s)


def _made(state: State, desk: Desk) -> State:
    """Average her velocity over the ground, for times ahead that do not jump.

    While she turns, and gathers way again, it tells nothing of what is to come.
    """
    track, before = ground_track(state), state.course_made
    if track is None:
        return state if before is None else replace(state, course_made=None)
    turns = swinging(state, desk)
    made = damped(None if turns else before, *track, state.now_s, MADE_TAU_S)
    return replace(state, course_made=made)


def off_bow_deg(state: State) -> float | None:
    """Return the true wind's angle off the bow, signed, both averaged; None if not known. [°]."""
    bow, wind = state.steered, state.wind
    if bow is None or wind is None or state.now_s - wind.seen_s > LOST_BOW_S:
        return None
    heading = towards_deg(bow.east_kn, bow.north_kn)
    return turned_deg(from_deg(wind.east_kn, wind.north_kn), heading)


def _tacked(state: State) -> State:
    """Note the tack she is on, once the wind has told it for ten seconds."""
    wind = _on_bow(state)
    side: Tack | None = None
    if wind is not None and DEAD_AHEAD_DEG <= abs(wind[0]) <= DEAD_ASTERN_DEG:
        side = "starboard" if wind[0] > 0.0 else "port"
    state, port_s = lasting(state, "on_port", side == "port")
    state, starboard_s = lasting(state, "on_starboard", side == "starboard")
    if side is not None and (max(port_s, starboard_s) >= 10.0 or state.tack is None):
        state = replace(state, tack=side)
    return state


def ground_track(state: State) -> tuple[float, float] | None:
    """Return her velocity over the ground, *towards* east and north; None where unknown. [kn]."""
    sense = state.sense
    if sense.course_deg is not None and sense.ground_speed_kn is not None:
        return vector(sense.course_deg, sense.ground_speed_kn)
    return None


def wind_airs(state: State, desk: Desk) -> tuple[float, float, float, float]:
    """Return the damped wind's direction and speed, and the stream's components."""
    assert state.wind is not None
    east, north = stream_kn(state, desk) or (0.0, 0.0)
    return (
        from_deg(state.wind.east_kn, state.wind.north_kn), strength_kn(state.wind), east, north,
    )  # fmt: skip
