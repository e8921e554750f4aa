"""The passage sheet: one page to print, or to read on a telephone, without any network.

HTML by Jinja; the same page as PDF by WeasyPrint. Every figure is read from the plan.
"""

from __future__ import annotations

import io
from collections import defaultdict
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from goosewing import records
from goosewing.errors import InputError
from goosewing.foresight.on_the_way import REEFS
from goosewing.foresight.stretches import held_points
from goosewing.records import DEAD_DOWNWIND_DEG, DOWNWIND_CAUTION, PoleDown
from goosewing.report import graphs
from goosewing.report.picture import INK, PORT, STARBOARD, any_script, draw
from goosewing.turns import stops
from goosewing.units import nearest_minute
from goosewing.words.alternatives import (
    AlternativeLine,
    alternative_lines,
    longer_words,
    near_words,
)
from goosewing.words.chances import chances_lines
from goosewing.words.crew import (
    at_the_stop,
    beforehand,
    come_up_words,
    in_turn_words,
    steps_words,
    work_words,
)
from goosewing.words.ensembles import ensemble_lines
from goosewing.words.figures import (
    clock,
    heading_words,
    helm_words,
    hours_and_minutes,
    position_words,
    seconds_words,
    three_figures,
)
from goosewing.words.names import with_plain_names
from goosewing.words.on_the_way import (
    bears_words,
    delay_words,
    draws_slowly,
    ground_words,
    late_name,
    late_track_words,
    late_words,
    over_water_words,
    passed_words,
    place_words,
    stream_figures,
    tides_words,
    weather_words,
    wind_figures,
)
from goosewing.words.points import (
    BEYOND,
    POLE_UP,
    UNDER_ENGINE,
    YAW_DEG,
    Steering,
    abeam_words,
    altered_words,
    begins_poled,
    bow_words,
    done_words,
    err_words,
    goes_downwind,
    hold_words,
    leaving_words,
    runs_dead,
    spars_words,
    steering,
    stop_sentence,
    turned_words,
    without_strike,
    yaw_deg,
)
from goosewing.words.what_if import (
    added_minutes,
    advice_words,
    arriving_words,
    as_planned_words,
    behind_line,
    change_name,
    first_words,
    otherwise_words,
    turns_words,
    wind_there_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path

    from goosewing.boat.model import Boat
    from goosewing.hazards.areas import Hazards
    from goosewing.records import (
        Board,
        Hour,
        Passed,
        Plan,
        PoleUp,
        PoleWork,
        Stretch,
        WhatIf,
        WindAndStream,
    )
    from goosewing.turns import Stop

FORMATS = (".html", ".pdf")

TIDE = "Heights of tide are not considered, unless the notes name them: depths change with them."
"""A caution of its own: a sheet is what is in hand where a bar or a harbour is crossed."""

COLOURS = {"ink": INK, "rule": "#b9c1c9", "port": PORT, "starboard": STARBOARD}
"""Of the drawings beside the chart: written into each shape, as WeasyPrint gives a drawing none of
its page's rules. On a dark screen all drawings are turned round as a whole."""

CHART_INCHES = (8.6, 5.6)
LOW_CHART_INCHES, LOWEST_CHART_INCHES = (8.6, 3.8), (8.6, 2.6)
"""Paper's width without its margins is 7.3 inches: letters are a seventh smaller on it.

Lower where long tables share the two pages.
"""

LONG_TABLE = 6
"""Rows of orders beyond which the chart is low."""

THE_TURN = "the turn"
"""A turning point that has no name, of a plan that was never numbered."""

PREVENTER = "preventer rigged"
"""Said on every line that begins near dead downwind. Common practice, no source."""

BEFORE_BEARING_AWAY = "before bearing away"
"""When that is done, where she wasn't near dead downwind before."""

HERE_NM = 0.05
"""So near, a mark has no bearing that is worth a word. [nm]"""

MISSING = '{what} needs {package}: in Goosewing\'s folder, pip install ".[sheet]"'


class Order(NamedTuple):
    """A row of the orders: what is done at a stop, and how she then sails to the next.

    Lines of a cell stand one below the other. All that is sailed is empty at the last mark.
    """

    number: int | None
    """The board that begins here, counted over the passage; None along a board."""
    point: str
    utc: str
    local: str
    day: str
    """Where it is another than at the stop before."""
    todo: str
    place: str
    hand: str
    from_mark: str
    log_at: str
    by_log: bool = False
    """Whether the log tells the place better than the mark's bearing."""
    work: str = ""
    """What is steered while the pole is handled, and when the board itself begins."""
    sails: str = ""
    tack: str = ""
    spars: str = ""
    """Where boom and pole are with a pole set; and whether it lies beyond the forecast."""
    keep: str = ""
    """The angle that is kept, where it makes the heading swing: then this is the order."""
    err: str = ""
    """The preventer near dead downwind, and to which side the helm may err."""
    met: str = ""
    passes: tuple[str, ...] = ()
    """Which dangers she passes until the next stop."""
    steer: tuple[str, ...] = ()
    """On each dial what is steered first; the last is the helm's own."""
    swings: tuple[str, ...] = ()
    """And to where it swings until the next stop, such as ", later 110°T"."""
    angles: tuple[str, ...] = ()
    courses: tuple[str, ...] = ()
    speeds: tuple[str, ...] = ()
    miles: tuple[str, ...] = ()
    lasts: tuple[str, ...] = ()

    @property
    def beside(self) -> tuple[str, ...]:
        """What else is to be minded from here on, a line each."""
        return tuple(filter(None, (self.work, _joined(self.spars, self.err), *self.passes)))


def check_ending(path: Path) -> str:
    """Return a sheet's ending.

    Raises
    ------
    InputError
        If it is none of those that can be written, or a package that it needs is missing.
    """
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise InputError(f"a sheet must end in {' or '.join(FORMATS)}", where=str(path))
    _need("jinja2", "Jinja2", "a sheet")
    _need("matplotlib", "Matplotlib", "a sheet's chart")
    if ending == ".pdf":
        _need("weasyprint", "WeasyPrint", "a PDF sheet")
    return ending


def _need(module: str, package: str, what: str) -> None:
    from importlib.util import find_spec

    if find_spec(module) is None:
        raise InputError(MISSING.format(what=what, package=package))


def sheet_bytes(
    plan: Plan,
    boat: Boat,
    ending: str,
    *,
    hazards: Hazards | None = None,
    zone: tzinfo | None = None,
) -> bytes:
    """Make the passage sheet: the bytes of an HTML or PDF file.

    Parameters
    ----------
    plan : Plan
        Looked ahead (`goosewing.foresight.on_the_way.look_ahead`), or its sheet has no weather.
    boat : Boat
        For the polars that its boards were chosen from.
    ending : str
        As `check_ending` tells it.
    hazards : Hazards, optional
        Drawn on the chart.
    zone : tzinfo, optional
        Times are shown in it beside UTC.
    """
    page = format_sheet(plan, boat, hazards=hazards, zone=zone)
    return page.encode() if ending == ".html" else _as_pdf(page)


def _as_pdf(page: str) -> bytes:
    import logging

    # It tells of every rule of style for screens that paper has no use for.
    logging.getLogger("weasyprint").setLevel(logging.CRITICAL)
    from weasyprint import HTML

    made: bytes = HTML(string=page, url_fetcher=_nothing_fetched).write_pdf()
    return made


def _nothing_fetched(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a sheet fetches nothing, asked for {url}")


def format_sheet(
    plan: Plan,
    boat: Boat,
    *,
    hazards: Hazards | None = None,
    zone: tzinfo | None = None,
) -> str:
    """Return the sheet as HTML; see `sheet_bytes`."""
    from goosewing.report.pages import page

    shown = with_plain_names(plan)
    return page(
        "sheet.html",
        plan=shown,
        title=_title(shown),
        facts=_facts(shown, zone),
        chart=chart_svg(shown, hazards, zone, _chart_inches(shown)),
        orders=orders(shown, zone),
        dials=_dials(shown),
        zone=_zone_name(shown, zone),
        graph=graphs.time_graph(shown),
        hours=hour_rows(shown, zone),
        room=any(err_words(steering(b, n)) for b, n in _every_order(shown)),
        preventer_deg=DEAD_DOWNWIND_DEG,
        gusts=any(hour.weather.gust_kn is not None for hour in shown.hours),
        streams=any(hour.weather.set_deg is not None for hour in shown.hours),
        later=later_rows(shown, zone),
        delays=[delay_words(each) for each in shown.later[0].delays_h[1:]] if shown.later else (),
        afterwards=_afterwards(shown, zone),
        tides=tides_words(shown.tides, zone) if shown.tides else "",
        reasons=[(leg.destination, " ".join(leg.reasons)) for leg in shown.legs if leg.reasons],
        reefs=_reefs(shown),
        passed=[passed_words(each, zone) for each in shown.passed],
        what_if=_what_if(shown, zone),
        polars=[(each, graphs.polar_words(each)) for each in graphs.polars(shown, boat)],
        alternatives=_alternatives(shown),
        other_first=any(
            each.kind == "other board first" for leg in shown.legs for each in leg.alternatives
        ),
        downwind_poled=any(board.poled for leg in shown.legs for board in leg.boards),
        hangs=(*ensemble_lines(shown), *filter(None, (behind_line(shown),)), *chances_lines(shown)),
        spoken=spoken(shown),
        cautions=(*_cautions(shown), TIDE),
        size=graphs,
        colours=COLOURS,
    )


def _chart_inches(plan: Plan) -> tuple[float, float]:
    long = len(orders(plan)) > LONG_TABLE
    if plan.what_if or plan.later:
        return LOWEST_CHART_INCHES if long else LOW_CHART_INCHES
    return LOW_CHART_INCHES if long else CHART_INCHES


def chart_svg(
    plan: Plan,
    hazards: Hazards | None,
    zone: tzinfo | None = None,
    inches: tuple[float, float] = CHART_INCHES,
) -> str:
    """Draw the plan and return the picture as an SVG element."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=inches, layout="constrained")
    FigureCanvasAgg(figure)
    buffer = io.StringIO()
    # Equal plans give equal files.
    with any_script(), rc_context({"svg.hashsalt": "goosewing"}):
        draw(figure, plan, hazards, framed=False, zone=zone)
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    text = buffer.getvalue()
    element = text[text.index("<svg") :]
    words = "Chart of the passage: told in words under the orders"
    return element.replace("<svg", f'<svg role="img" aria-label="{words}"', 1)


# ---- what stands on it -------------------------------------------------------------------------


def _title(plan: Plan) -> str:
    return f"{plan.boat}: {' – '.join(mark.name for mark in plan.marks)}"


def _facts(plan: Plan, zone: tzinfo | None) -> list[tuple[str, str]]:
    facts = [
        ("Departure", _moment(plan.departure, zone)),
        ("Arrival", _moment(plan.arrival, zone)),
        ("Takes", hours_and_minutes(plan.elapsed_h)),
        ("Over the ground", f"{plan.distance_nm:.1f} nm"),
        ("By log", f"{plan.log_nm:.1f} nm"),
    ]
    if plan.saved_min is not None:
        facts.append(("Against straight", _saved(plan.saved_min)))
    if plan.engine_h is not None:
        facts.append(("Under engine", hours_and_minutes(plan.engine_h)))
    return facts


def _saved(minutes: float) -> str:
    if abs(minutes) < 0.5:
        return "as long"
    return f"{abs(minutes):.0f} min {'shorter' if minutes > 0 else 'longer'}"


def _moment(time: datetime, zone: tzinfo | None) -> str:
    minute = nearest_minute(time)
    words = f"{minute:%Y-%m-%d} {clock(time)}"
    if zone is None:
        return words
    local = minute.astimezone(zone)
    day = "" if local.date() == minute.date() else f"{local:%Y-%m-%d} "
    return f"{words} ({day}{local:%H:%M %Z})"


def _zone_name(plan: Plan, zone: tzinfo | None) -> str:
    return "" if zone is None else f"{plan.departure.astimezone(zone):%Z}"


def _cautions(plan: Plan) -> list[str]:
    """Leave out what is of no use on a passage that never has the wind aft."""
    downwind = goes_downwind(plan)
    return [each for each in plan.cautions if downwind or each != DOWNWIND_CAUTION]


def _reefs(plan: Plan) -> str:
    """Say that reefs are hers to take, where no notice of strong wind says so already."""
    sails = any(not board.engine for leg in plan.legs for board in leg.boards)
    return REEFS if sails and REEFS not in plan.notices else ""


def _every_order(plan: Plan) -> list[tuple[Board, int]]:
    return [
        (board, nth)
        for leg in plan.legs
        for board in leg.boards
        for nth in range(max(1, len(board.orders)))
    ]


def _dials(plan: Plan) -> tuple[bool, bool]:
    """Whether magnetic and compass headings are known."""
    boards = [board for leg in plan.legs for board in leg.boards]
    return (
        any(board.heading_magnetic_deg is not None for board in boards),
        any(board.heading_compass_deg is not None for board in boards),
    )


def orders(plan: Plan, zone: tzinfo | None = None) -> list[Order]:
    """List what is done and held from stop to stop, the arrival last.

    A pole that is to be down at a stop, or made ready for it, has a line of its own at the time
    when that is begun.
    """
    rows: list[tuple[datetime, Order]] = []
    near = _near(plan)
    number = 0
    for before, stop in pairwise((None, *stops(plan))):
        assert stop is not None
        time = stop.time or plan.departure
        number += stop.board is not None and stop.order is None
        on = None if before is None else before.board
        row = _order(stop, time, zone, number, on)
        row = row._replace(passes=tuple(_passes(each, zone) for each in near[time]))
        rows += [
            (begun.time, _beforehand(stop, begun, on, zone))
            for begun in (stop.pole_down, stop.pole_ready)
            if begun is not None
        ]
        rows.append((time, row))
    # An order along the board may come while the pole is struck.
    rows.sort(key=lambda each: each[0])
    first = [] if plan.pole_up is None else _before_leaving(plan, plan.pole_up, zone)
    return _dated([*first, *rows], plan.departure)


def _dated(rows: Sequence[tuple[datetime, Order]], departure: datetime) -> list[Order]:
    """Name the day where it is another than in the line before."""
    days = [nearest_minute(time).date() for time in (departure, *(time for time, _ in rows))]
    return [
        row if today == before else row._replace(day=f"{today}")
        for (_, row), (before, today) in zip(rows, pairwise(days), strict=True)
    ]


def _before_leaving(plan: Plan, up: PoleUp, zone: tzinfo | None) -> list[tuple[datetime, Order]]:
    """Say what is begun on the way to the first mark, so that the pole is up there."""
    mark, tack = plan.marks[0].name, plan.legs[0].boards[0].tack
    held = helm_words(up.heading_deg, up.heading_magnetic_deg, up.heading_compass_deg)
    setting = [each for each in up.crew if each.kind == "set_pole"]
    ready = [each for each in up.crew if each.kind != "set_pole"]
    away = bow_words(records.OTHER_SIDE[tack], tack)
    takes = seconds_words(up.takes_s)
    row = _before(
        mark, up.time, zone,
        todo=f"{away} to {held}, {steps_words(setting)} ({takes})",
        place=position_words(up.lat, up.lon),
        from_mark="" if up.from_mark is None else bears_words(up.from_mark),
        work=f"done by {mark} ({_times(plan.departure, zone)}): times begin there, log at 0",
    )  # fmt: skip
    rows = [(up.time, row)]
    if ready:
        begins = ready[0].time
        first = _before(
            mark, begins, zone,
            todo=f"{steps_words(ready)} ({takes})",
            work=f"on {tack} tack, on her own course there; done by {_times(up.time, zone)}",
        )  # fmt: skip
        rows.insert(0, (begins, first))
    return rows


def _before(
    name: str,
    begins: datetime,
    zone: tzinfo | None,
    *,
    todo: str,
    work: str,
    place: str = "",
    from_mark: str = "",
    log_at: str = "",
    by_log: bool = False,
) -> Order:
    """Make the row of what is begun before a stop, on the way there."""
    return Order(
        number=None, point=f"Before {name}", utc=clock(begins), local=_local(begins, zone), day="",
        todo=todo, place=place, hand="", from_mark=from_mark, log_at=log_at, by_log=by_log,
        work=work,
    )  # fmt: skip


def _beforehand(stop: Stop, begun: PoleWork, on: Board | None, zone: tzinfo | None) -> Order:
    """Say what is begun before a stop, on the board that ends there."""
    at, there = stop.name or THE_TURN, stop.time or begun.time
    steps = steps_words(beforehand(stop.crew, begun))
    up = come_up_words(begun)
    seen = begun.from_mark
    # Straight for a mark its bearing never changes.
    ahead = seen is not None and seen.run_per_degree_nm is None
    place = "" if seen is None else place_words(seen)
    return _before(
        at, begun.time, zone,
        todo=f"{', then '.join(filter(None, (up, steps)))} ({seconds_words(begun.takes_s)})",
        place=position_words(begun.lat, begun.lon),
        from_mark=f"{place} (dead ahead; no fix: by log)" if ahead else place,
        log_at="" if begun.log_at_nm is None else f"{begun.log_at_nm:.1f}",
        by_log=ahead or draws_slowly(seen),
        work=_joined(hold_words(begun, on), f"done by {at} ({_times(there, zone)}{_late(begun)})"),
    )  # fmt: skip


def _late(begun: PoleWork) -> str:
    """Say by how much later it may be there, as no time of the plan has that work."""
    if isinstance(begun, PoleDown) and not begun.counted:
        return f"; if she slows, up to {seconds_words(begun.takes_s)} later"
    return ""


def _local(time: datetime, zone: tzinfo | None) -> str:
    return "" if zone is None else f"{nearest_minute(time).astimezone(zone):%H:%M}"


def _near(plan: Plan) -> defaultdict[datetime, list[Passed]]:
    """List under each stop's time the dangers that she is nearest to until the next."""
    times = [stop.time or plan.departure for stop in stops(plan)]
    found: defaultdict[datetime, list[Passed]] = defaultdict(list)
    for each in plan.passed:
        found[max((time for time in times if time <= each.time), default=times[0])].append(each)
    return found


def _passes(each: Passed, zone: tzinfo | None) -> str:
    off = f"{each.distance_nm:.1f} nm off to {each.side}"
    return f"passes {each.name} {off} at {_times(each.time, zone)}"


def _order(stop: Stop, time: datetime, zone: tzinfo | None, number: int, on: Board | None) -> Order:
    held = stop.order or stop.board
    seen = None if held is None else held.from_mark
    row = Order(
        number=None if stop.board is None or stop.order is not None else number,
        point=stop.name or "",
        utc=clock(time),
        local=_local(time, zone),
        day="",
        todo=_todo(stop),
        place=position_words(stop.lat, stop.lon),
        hand="" if abeam_words(stop, on) else _hand(stop),
        from_mark="" if seen is None else place_words(seen),
        log_at=_log_at(stop),
        by_log=draws_slowly(seen),
    )
    if stop.board is None or held is None:
        return row
    return row._replace(**_held(stop, stop.board), **_sailed(stop, stop.board, held, on, zone))


def _log_at(stop: Stop) -> str:
    """What the log has run at a stop; at the last mark, what it ran in all."""
    held = stop.order or stop.board
    if held is not None and held.stretch is not None:
        return f"{held.stretch.log_at_nm:.1f}"
    run = None if stop.before is None else stop.before.stretch
    return "" if run is None else f"{run.log_at_nm + run.log_nm:.1f}"


def _todo(stop: Stop) -> str:
    """Say what is done at a stop, and how long it takes."""
    told = [*_done(stop), *([POLE_UP] if begins_poled(stop) else [])]
    words = ", ".join(told) or (_on(stop) if stop.leg and not stop.last else "")
    cost_s = sum(each.cost_s for each in without_strike(stop).manoeuvres)
    if cost_s:
        words = f"{words} ({seconds_words(cost_s)})"
    if stop.mark is None:
        return words
    reached = "arrive" if stop.last else ""
    down = "" if stop.pole_down is None else "the pole down"
    steps = at_the_stop(stop)
    luffs = "come up" if any(each.kind == "ease_preventer" for each in steps) else ""
    hands = (down, luffs, steps_words(steps)) if stop.last else ()
    return ", ".join(filter(None, (leaving_words(stop.mark), reached, *hands, words)))


def _done(stop: Stop) -> list[str]:
    """Say what is done at a stop itself: a pole's striking was ordered on its own line."""
    left = without_strike(stop)
    if _bears_away_first(stop):
        return [in_turn_words(stop)]
    if left is stop or left.manoeuvres:
        return done_words(left, helm_only=True)
    return [words] if (words := in_turn_words(stop)) else []


def _bears_away_first(stop: Stop) -> bool:
    """Whether the bow turns for a pole that is then set: that is as much an order as the pole."""
    kinds = [each.kind for each in at_the_stop(stop)]
    return "turn" in kinds and "set_pole" in kinds


def _on(stop: Stop) -> str:
    """Say how she goes on at a mark where nothing else is done."""
    held = stop.order or stop.board
    words = "alter course" if held is None else altered_words(stop.before, held, helm_only=True)
    return "carry on" if words == "alter course" else words


def _hand(stop: Stop) -> str:
    """Say so where a mark is passed for which no hand was given."""
    if stop.mark is None or stop.mark.leave is not None or stop.last or not stop.leg:
        return ""
    return "pass either side: none was given"


def _held(stop: Stop, board: Board) -> dict[str, Any]:
    """Say what the helm holds from a stop on, cell by cell."""
    then = steering(board, stop.nth)
    held = stop.order or board
    kept = then.keep_twa_deg
    ends = held.stretch if kept is not None else None
    last = (None,) * 3 if ends is None else (
        ends.last_heading_deg, ends.last_heading_magnetic_deg, ends.last_heading_compass_deg,
    )  # fmt: skip
    first = then.heading_deg, then.heading_magnetic_deg, then.heading_compass_deg
    dials = [each for each in zip("TMC", first, last, strict=True) if each[1] is not None]
    steer, swings = zip(*(_dial(*each) for each in dials), strict=True)
    return {
        "tack": board.tack,
        "keep": "" if kept is None else f"TWA {_angle(kept, then)}°",
        "steer": steer,
        "swings": swings,
    }


def _angle(kept_deg: float, then: Steering) -> str:
    """Write the angle that is kept; dead aft, which no helm holds, as what she may yaw within."""
    if then.lower_deg is None or then.lower_deg >= YAW_DEG / 2.0:
        return f"{kept_deg:.0f}"
    low, high = yaw_deg(then)
    return f"{low:.0f}–{high:.0f}"


def _dial(letter: str, first_deg: float | None, last_deg: float | None) -> tuple[str, str]:
    """Write what a dial shows from a stop to the next, as in "099°" and ", later 110°T"."""
    first = three_figures(first_deg or 0.0)
    if last_deg is None or three_figures(last_deg) == first:
        return f"{first}{letter}", ""
    return first, f", later {three_figures(last_deg)}{letter}"


def _sailed(
    stop: Stop, board: Board, held: Board | records.Order, on: Board | None, zone: tzinfo | None
) -> dict[str, Any]:
    """Say how she is sailed from a stop on, cell by cell."""
    stretch = held.stretch
    cells: dict[str, Any] = {
        "sails": UNDER_ENGINE if board.engine else f"{board.tack} tack, {board.sail_set}",
        "spars": _joined(
            spars_words(board) if stop.order is None else None,
            BEYOND if board.beyond_forecast else None,
        ),
        "err": _joined(_preventer(stop, board, held), err_words(steering(board, stop.nth))),
        "work": _work(stop, on, zone) if stop.order is None else "",
        "met": _met(held),
    }
    if stretch is None:
        return cells
    return cells | {
        "angles": () if board.engine else _angles(held_points(board)[stop.nth], stretch),
        "courses": (
            _through_water(stretch),
            _over_ground(stretch),
        ),
        "speeds": _speeds(stretch),
        "miles": (f"{stretch.log_nm:.1f}", f"{stretch.distance_nm:.1f}"),
        "lasts": (
            hours_and_minutes(_lasts_h(stop, board, stretch)),
            *(f"from {begins}".rsplit(" ", 1) if (begins := _begins(stop, board, zone)) else ()),
        ),
    }


def _preventer(stop: Stop, board: Board, held: Board | records.Order) -> str | None:
    """Say that a preventer is rigged, and when; where the pole is set its order of work says it."""
    if not runs_dead(board, held):
        return None
    before = stop.before
    if any(each.kind == "set_pole" for each in stop.manoeuvres):
        return None
    ordered = any(each.kind == "rig_preventer" for each in stop.crew)
    if before is None or before.twa_deg >= DEAD_DOWNWIND_DEG or ordered:
        return PREVENTER
    return f"{PREVENTER} {BEFORE_BEARING_AWAY}"


def _speeds(stretch: Stretch) -> tuple[str, str]:
    """Write what log and plotter show where a stretch begins and ends, else on the mean."""
    each = (
        (stretch.boat_speed_kn, stretch.first_boat_speed_kn, stretch.last_boat_speed_kn),
        (
            stretch.speed_over_ground_kn,
            stretch.first_speed_over_ground_kn,
            stretch.last_speed_over_ground_kn,
        ),
    )
    log, over = (
        "–".join(dict.fromkeys(f"{kn:.1f}" for kn in (first, last) if kn is not None))
        or f"{mean:.1f}"
        for mean, first, last in each
    )
    return log, over


def _through_water(stretch: Stretch) -> str:
    """Write the course through the water, and to where it turns until the next stop."""
    first, last = (
        None if deg is None else three_figures(deg)
        for deg in (stretch.water_track_deg, stretch.last_water_track_deg)
    )
    return "" if first is None else _from_to(first, last)


def _over_ground(stretch: Stretch) -> str:
    """Write the course over the ground, and to where it turns until the next stop."""
    each = stretch.course_over_ground_deg, stretch.last_course_over_ground_deg
    return _from_to(*(three_figures(deg) for deg in each))


def _from_to(first: str, last: str | None) -> str:
    """Write a value as a line begins and, where that is printed otherwise, as it ends."""
    return first if last is None or last == first else f"{first}–{last}"


def _angles(points: Sequence[records.BoardPoint], stretch: Stretch) -> tuple[str, ...]:
    first, *_, last = points
    angles = [_from_to(f"{first.twa_deg:.0f}", f"{last.twa_deg:.0f}") + "°"]
    if stretch.awa_deg is not None and stretch.aws_kn is not None:
        awa, aws = stretch.last_awa_deg, stretch.last_aws_kn
        angles += [
            _from_to(f"{stretch.awa_deg:.0f}", None if awa is None else f"{awa:.0f}") + "°",
            _from_to(f"{stretch.aws_kn:.0f}", None if aws is None else f"{aws:.0f}") + " kn",
        ]
    return tuple(angles)


def _work(stop: Stop, on: Board | None, zone: tzinfo | None) -> str:
    """Say what hands do in order, when that begins, and by when she is on the new heading.

    `on`: the board on which she comes.
    """
    steps = in_turn_words(stop, zone)
    left = without_strike(stop).manoeuvres
    alone = [each.kind for each in at_the_stop(stop)] == ["turn"]
    if _bears_away_first(stop) or (not left and (stop.pole_down or alone)):
        # It is the order itself: it isn't told twice.
        steps = ""
    place = abeam_words(stop, on)
    if place is None and stop.pole_down is not None:
        place = "turn at the place, not beyond"
    return _joined(steps, place, work_words(stop, zone))


def _joined(*words: str | None) -> str:
    return "; ".join(filter(None, words))


def _begins(stop: Stop, board: Board, zone: tzinfo | None) -> str:
    """Say when a board itself begins, where what is done before it takes minutes."""
    begins = board.start.time
    if not stop.manoeuvres or begins is None or stop.time is None:
        return ""
    return "" if clock(begins) == clock(stop.time) else _times(begins, zone)


def _lasts_h(stop: Stop, board: Board, stretch: Stretch) -> float:
    """Return how long a line lasts between the times that are printed. [h]."""
    begins = stop.time if stop.order is not None else board.start.time
    if begins is None:
        return stretch.elapsed_h
    ends = begins + timedelta(hours=stretch.elapsed_h)
    first, last = (nearest_minute(t) for t in (begins, ends))
    return (last - first) / timedelta(hours=1)


def _met(held: Board | records.Order) -> str:
    """Say which wind and stream there are: over the ground, and what the sails have of it."""
    if held.weather is None:
        return ""
    wind, *stream = weather_words(held.weather)
    said = f"ground {wind}"
    water = held.stretch
    if stream and water is not None and water.twd_deg is not None and water.tws_kn is not None:
        said += f", {over_water_words(water.twd_deg, water.tws_kn)}"
    return "; ".join((said, *stream))


class IfRow(NamedTuple):
    """One change of what a plan hangs on."""

    change: str
    arrival: str
    longer: str
    turns: str
    """Whether the boards are the plan's, and how she is sailed; or why there is no plan."""


def _what_if(plan: Plan, zone: tzinfo | None) -> list[IfRow]:
    """List what the plan hangs on, and how she goes on where she is late for its tracks."""
    late = [(late_name(each), each.anew) for each in plan.late if each.anew is not None]
    return [
        IfRow(
            name,
            "" if each.arrival is None else _times(each.arrival, zone),
            "" if (more := added_minutes(each, plan)) is None else longer_words(more),
            _what_turns(each, plan, zone, begins=at >= len(plan.what_if)),
        )
        for at, (name, each) in enumerate(
            (*((change_name(each), each) for each in plan.what_if), *late)
        )
    ]


def _planned_then(each: WhatIf, plan: Plan, zone: tzinfo | None) -> tuple[str, ...]:
    """Say in figures what is other than planned, how she begins, and whether that is other."""
    board = plan.legs[0].boards[0] if plan.legs[0].boards else None
    leaves = each.first is not None and each.delay_h
    other = otherwise_words(each.first, board)
    # Where the plan has no sails at first none can be as they are there.
    unlike = other or board is None or board.engine
    return (
        f"leaving {_times(each.first.time, zone)}" if each.first is not None and leaves else "",
        wind_there_words(each),
        other,
        advice_words(each),
        (first_words if unlike else as_planned_words)(each.first) or "",
    )


def _what_turns(each: WhatIf, plan: Plan, zone: tzinfo | None, *, begins: bool) -> str:
    """Say how she is sailed; where she is late under way, from when on."""
    if each.elapsed_h is None:
        return f"can't be planned: {each.reason}"
    said = (
        *(_begun_anew(each, zone) if begins else _planned_then(each, plan, zone)),
        turns_words(each.turns, zone) if each.turns else "no turns",
        arriving_words(each.arriving, plan.marks[-1].name, zone),
        near_words(each.near),
    )
    return "; ".join(filter(None, said))


def _begun_anew(each: WhatIf, zone: tzinfo | None) -> tuple[str, ...]:
    """Say how she goes on under way, unless that is her first turn, told as one."""
    first = each.first
    if first is None or (each.turns and each.turns[0].time == first.time):
        return (advice_words(each),)
    return advice_words(each), f"{_times(first.time, zone)} {first_words(first, 'stay on') or ''}"


def _times(time: datetime, zone: tzinfo | None) -> str:
    if zone is None:
        return clock(time)
    return f"{clock(time)} {nearest_minute(time).astimezone(zone):%H:%M}"


class HourRow(NamedTuple):
    """Where she is at one time, and what holds there."""

    time: str
    day: str
    position: str
    mark: str = ""
    steer: str = ""
    apparent: str = ""
    course: str = ""
    speeds: str = ""
    log: str = ""
    wind: str = ""
    gust: str = ""
    stream: str = ""
    to_go: str = ""


def hour_rows(plan: Plan, zone: tzinfo | None) -> list[HourRow]:
    """List the passage hour by hour."""
    rows = [_hour_row(hour, zone) for hour in plan.hours]
    days = [nearest_minute(t).date() for t in (plan.departure, *(h.time for h in plan.hours))]
    return [
        row if today == before else row._replace(day=f"{today}")
        for row, (before, today) in zip(rows, pairwise(days), strict=True)
    ]


def _afterwards(plan: Plan, zone: tzinfo | None) -> str:
    """Say what wind and stream are at the last mark after she is there."""
    last = nearest_minute(plan.arrival).date()
    said = []
    for each in plan.afterwards:
        if each.time > plan.arrival:
            today = nearest_minute(each.time).date()
            day = "" if today == last else f"{today} "
            last = today
            told = ", ".join(weather_words(each.weather))
            said.append(f"{day}{_times(each.time, zone)} {told}")
    return "; ".join(said)


def _hour_row(hour: Hour, zone: tzinfo | None) -> HourRow:
    awa, aws = hour.awa_deg, hour.aws_kn
    through, over = hour.boat_speed_kn, hour.speed_over_ground_kn
    return HourRow(
        time=_times(hour.time, zone),
        day="",
        position=position_words(hour.lat, hour.lon),
        mark=_mark_ahead(hour.from_mark),
        steer=heading_words(hour.heading_deg, hour.heading_magnetic_deg, hour.heading_compass_deg),
        apparent="" if awa is None or aws is None else f"{awa:.0f}° {aws:.0f}",
        course=three_figures(hour.course_over_ground_deg),
        speeds="" if through is None or over is None else f"{through:.1f} {over:.1f}",
        log="" if hour.log_nm is None else f"{hour.log_nm:.1f}",
        to_go=f"{hour.to_go_nm:.1f}",
        **_forecast(hour.weather),
    )


def _mark_ahead(seen: records.FromMark | None) -> str:
    if seen is None:
        return ""
    return bears_words(seen) if seen.distance_nm >= HERE_NM else f"{seen.mark} reached"


def _forecast(here: WindAndStream) -> dict[str, str]:
    return {
        "wind": wind_figures(here),
        "gust": "" if here.gust_kn is None else f"{here.gust_kn:.0f}",
        "stream": stream_figures(here),
    }


class LaterRow(NamedTuple):
    """A place of the plan, and what it is like on time and late."""

    point: str
    time: str
    then: tuple[tuple[str, str, str, str], ...]
    """What is steered, how her track is then kept to the next stop, wind and stream, and when she
    is at the last mark, delay by delay."""


def later_rows(plan: Plan, zone: tzinfo | None) -> list[LaterRow]:
    """List what marks and turns become if she is late there; on time they are as ordered.

    Of the last mark it is told what it is like afterwards.
    """
    blows = len({wind_figures(here) for here in _every_later(plan)}) > 1
    flows = any(here.set_deg is not None for here in _every_later(plan))
    late = {(each.mark, each.time, each.delay_h): each for each in plan.late}
    leaving = {each.delay_h: each for each in plan.what_if if each.elapsed_h is not None}
    return [
        LaterRow(
            each.point,
            _times(each.time, zone),
            tuple(
                ("", "", "", f'not yet left: see "{change_name(leaving[delay])}" below')
                if each.time == plan.departure and delay in leaving
                else (
                    *_kept_late(late.get((each.point, each.time, delay)), zone),
                    "" if here is None else _figures(here, blows=blows, flows=flows),
                    ""
                    if (found := late.get((each.point, each.time, delay))) is None
                    else late_words(found, zone),
                )
                for delay, here in zip(each.delays_h[1:], each.weather[1:], strict=True)
            ),
        )
        for each in plan.later
        if (each.point, each.time, each.delays_h[-1]) in late or not late
    ]


def _every_later(plan: Plan) -> list[WindAndStream]:
    return [here for each in plan.later for here in each.weather if here is not None]


def _figures(here: WindAndStream, *, blows: bool, flows: bool) -> str:
    said = [f"wind {wind_figures(here)} kn"] if blows else []
    if not flows:
        return "; ".join(said)
    stream = stream_figures(here)
    return "; ".join([*said, "no stream" if stream == "none" else f"sets {stream} kn"])


def _kept_late(found: records.Late | None, zone: tzinfo | None) -> tuple[str, str]:
    """Write by the helm's dial what is steered first and last, and how that keeps the track."""
    if found is None or found.heading_deg is None or found.last_heading_deg is None:
        return "", ""
    first = helm_words(found.heading_deg, found.heading_magnetic_deg, found.heading_compass_deg)
    last = helm_words(
        found.last_heading_deg, found.last_heading_magnetic_deg, found.last_heading_compass_deg
    )
    steer = first if first == last else f"{first[:4]}, later {last}"
    return steer, late_track_words(found, zone)


def _alternatives(plan: Plan) -> list[tuple[str, list[AlternativeLine]]]:
    return [
        (f"{leg.origin} to {leg.destination}", alternative_lines(leg))
        for leg in plan.legs
        if leg.alternatives
    ]


def spoken(plan: Plan) -> list[str]:
    """Tell the passage in sentences, one a stop, for whoever hears it read."""
    said = [_said(stop, plan) for stop in stops(plan)]
    steps = () if plan.pole_up is None else plan.pole_up.crew
    if not steps:
        return said
    return [
        f"Before {plan.marks[0].name}, from {clock(steps[0].time)}: {steps_words(steps)}.",
        *said,
    ]


def _begun(stop: Stop) -> list[str]:
    """Say what hands do before they come to a stop, and from when."""
    works = [each for each in (stop.pole_down, stop.pole_ready) if each is not None]
    return [f"{steps_words(beforehand(stop.crew, each))} from {clock(each.time)}" for each in works]


def _said(stop: Stop, plan: Plan) -> str:
    place = f"{stop.name or 'turn'}, {position_words(stop.lat, stop.lon)}"
    begins = f"{clock(stop.time or plan.departure)}: {place}"
    board = stop.board
    if board is None:
        left = [steps_words(at_the_stop(stop))] if stop.crew else []
        return f"{begins}: {', '.join(filter(None, [*_begun(stop), 'arrival', *left]))}."
    parts = [*_begun(stop), stop_sentence(stop, plan.departure, struck=False)]
    parts += filter(None, (turned_words(stop),))
    if stop.order is None:
        parts += [
            *filter(None, (ground_words(board),)),
            *([] if board.weather is None else weather_words(board.weather)),
            f"{board.distance_nm:.1f} nm in {hours_and_minutes(board.elapsed_h)}",
        ]
    return f"{begins}: {'; '.join(parts)}."
