"""The passage sheet: one page to print, or to read on a telephone, without any network.

HTML by Jinja; the same page as PDF by WeasyPrint. Every figure is read from the plan.
"""

from __future__ import annotations

import io
from datetime import timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from goosewing.errors import InputError
from goosewing.report import graphs
from goosewing.report.picture import INK, PORT, STARBOARD, any_script, draw
from goosewing.turns import stops
from goosewing.words.alternatives import AlternativeLine, added_words, alternative_lines
from goosewing.words.chances import chances_lines
from goosewing.words.ensembles import ensemble_lines
from goosewing.words.figures import (
    clock,
    heading_words,
    hours_and_minutes,
    position_words,
    seconds_words,
    three_figures,
)
from goosewing.words.names import with_plain_names
from goosewing.words.on_the_way import bears_words, ground_words, weather_words
from goosewing.words.points import (
    BEYOND,
    POLE_UP,
    UNDER_ENGINE,
    angle_words,
    begins_poled,
    done_words,
    keep_words,
    leaving_words,
    spars_words,
    steering,
    stop_sentence,
)
from goosewing.words.what_if import advice_words, behind_line, change_name, turns_words

if TYPE_CHECKING:
    from datetime import datetime, tzinfo
    from pathlib import Path

    from goosewing.boat.model import Boat
    from goosewing.hazards.areas import Hazards
    from goosewing.records import Board, Hour, Plan, WhatIf
    from goosewing.turns import Stop

FORMATS = (".html", ".pdf")

TIDE = "Heights of tide are not considered, unless the notes name them: depths change with them."
"""A caution of its own: a sheet is what is in hand where a bar or a harbour is crossed."""

COLOURS = {"ink": INK, "rule": "#b9c1c9", "port": PORT, "starboard": STARBOARD}
"""Of the drawings beside the chart: written into each shape, as WeasyPrint gives a drawing none of
its page's rules. On a dark screen all drawings are turned round as a whole."""

CHART_INCHES = (7.3, 5.0)

MISSING = '{what} needs {package}: in Goosewing\'s folder, pip install ".[sheet]"'


class Order(NamedTuple):
    """A row of the orders: what is done at a stop, and how she then sails.

    Empty where nothing is to be told: at the last mark, and of a board's own figures where
    only another order is given along it.
    """

    number: int | None
    point: str
    utc: str
    local: str
    day: str
    todo: str
    place: str
    from_mark: str
    log_at: str
    sails: str = ""
    beside: str = ""
    tack: str = ""
    true: str = ""
    magnetic: str = ""
    compass: str = ""
    apparent: str = ""
    apparent_kn: str = ""
    course: str = ""
    boat_speed: str = ""
    ground_speed: str = ""
    log: str = ""
    distance: str = ""
    lasts: str = ""


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
        chart=chart_svg(shown, hazards, zone),
        orders=orders(shown, zone),
        dials=_dials(shown),
        zone=_zone_name(shown, zone),
        graph=graphs.time_graph(shown),
        hours=[_hour_cells(hour, zone) for hour in shown.hours],
        what_if=_what_if(shown, zone),
        polars=[(each, graphs.polar_words(each)) for each in graphs.polars(shown, boat)],
        alternatives=_alternatives(shown),
        hangs=(*ensemble_lines(shown), *filter(None, (behind_line(shown),)), *chances_lines(shown)),
        spoken=spoken(shown),
        cautions=(*shown.cautions, TIDE),
        size=graphs,
        colours=COLOURS,
        drifts=any(
            f"{board.log_nm:.1f}" != f"{board.distance_nm:.1f}"
            for leg in shown.legs
            for board in leg.boards
        ),
    )


def chart_svg(plan: Plan, hazards: Hazards | None, zone: tzinfo | None = None) -> str:
    """Draw the plan and return the picture as an SVG element."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=CHART_INCHES, layout="constrained")
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
    words = f"{time + timedelta(seconds=30):%Y-%m-%d} {clock(time)}"
    if zone is None:
        return words
    return f"{words} ({(time + timedelta(seconds=30)).astimezone(zone):%Y-%m-%d %H:%M %Z})"


def _zone_name(plan: Plan, zone: tzinfo | None) -> str:
    return "" if zone is None else f"{plan.departure.astimezone(zone):%Z}"


def _dials(plan: Plan) -> tuple[bool, bool]:
    """Whether magnetic and compass headings are known."""
    boards = [board for leg in plan.legs for board in leg.boards]
    return (
        any(board.heading_magnetic_deg is not None for board in boards),
        any(board.heading_compass_deg is not None for board in boards),
    )


def orders(plan: Plan, zone: tzinfo | None = None) -> list[Order]:
    """List what is done and held from stop to stop, the arrival last.

    Wind and stream are told where they are others than at the stop before.
    """
    rows: list[Order] = []
    day, wind, log_nm = (plan.departure + timedelta(seconds=30)).date(), "", 0.0
    for stop in stops(plan):
        time = stop.time or plan.departure
        today = (time + timedelta(seconds=30)).date()
        met = _wind_words(stop)
        new = Told(
            number=sum(row.number is not None for row in rows) + 1,
            day="" if today == day else f"{today}",
            wind=met if met != wind else "",
            log_nm=None if stop.order is not None else log_nm,
        )
        rows.append(_order(stop, new, time, zone))
        day, wind = today, met or wind
        log_nm += 0.0 if stop.board is None or stop.order is not None else stop.board.log_nm
    return rows


class Told(NamedTuple):
    """What of a row hangs on the rows before."""

    number: int
    day: str
    wind: str
    log_nm: float | None
    """What the log has run since the departure; None along a board."""


def _wind_words(stop: Stop) -> str:
    board = stop.board
    if board is None or board.weather is None or stop.order is not None:
        return ""
    return "; ".join(weather_words(board.weather))


def _order(stop: Stop, new: Told, time: datetime, zone: tzinfo | None) -> Order:
    local = "" if zone is None else f"{(time + timedelta(seconds=30)).astimezone(zone):%H:%M}"
    own = stop.order or stop.board
    seen = None if own is None else own.from_mark
    where = Order(
        number=None if stop.board is None or stop.order is not None else new.number,
        point=stop.name or "",
        utc=clock(time),
        local=local,
        day=new.day,
        todo=_todo(stop),
        place=position_words(stop.lat, stop.lon),
        from_mark="" if seen is None else bears_words(seen),
        log_at="" if new.log_nm is None else f"{new.log_nm:.1f}",
    )
    if stop.board is None:
        return where
    sailed = {} if stop.order else _sailed(stop.board, new)
    return where._replace(**{**_held(stop.board, stop), **sailed})


def _todo(stop: Stop) -> str:
    """Say what is done at a stop, and how long it takes."""
    told = [*done_words(stop), *([POLE_UP] if begins_poled(stop) else [])]
    words = ", ".join(told) or ("carry on" if stop.leg and not stop.last else "")
    cost_s = sum(each.cost_s for each in stop.manoeuvres)
    if cost_s:
        words = f"{words} ({seconds_words(cost_s)})"
    if stop.mark is None:
        return words
    reached = "arrive" if stop.last else ""
    return ", ".join(filter(None, (leaving_words(stop.mark), reached, words)))


def _held(board: Board, stop: Stop) -> dict[str, Any]:
    """Say what the helm holds from a stop on, cell by cell."""
    then = steering(board, stop.nth)
    magnetic, compass = (
        "" if each is None else three_figures(each)
        for each in (then.heading_magnetic_deg, then.heading_compass_deg)
    )
    kept = "" if then.keep_twa_deg is None else keep_words(then.keep_twa_deg)
    return {
        "tack": board.tack,
        "beside": kept,
        "true": three_figures(then.heading_deg),
        "magnetic": magnetic,
        "compass": compass,
    }


def _sailed(board: Board, new: Told) -> dict[str, Any]:
    """Say how a board that begins is sailed, cell by cell."""
    sails = UNDER_ENGINE if board.engine else f"{board.tack} tack, {board.sail_set}"
    beside = (
        spars_words(board), angle_words(board), BEYOND if board.beyond_forecast else None, new.wind,
    )  # fmt: skip
    return {
        "sails": sails,
        "beside": "; ".join(filter(None, beside)),
        "apparent": "" if board.engine else f"{board.awa_deg:.0f}°",
        "apparent_kn": "" if board.engine else f"{board.aws_kn:.0f} kn",
        "course": three_figures(board.course_over_ground_deg),
        "boat_speed": f"{board.boat_speed_kn:.1f}",
        "ground_speed": f"{board.speed_over_ground_kn:.1f}",
        "log": f"{board.log_nm:.1f}",
        "distance": f"{board.distance_nm:.1f}",
        "lasts": hours_and_minutes(board.elapsed_h),
    }


class IfRow(NamedTuple):
    """One change of what a plan hangs on."""

    change: str
    arrival: str
    longer: str
    boards: str
    turns: str


def _what_if(plan: Plan, zone: tzinfo | None) -> list[IfRow]:
    return [
        IfRow(
            change_name(each),
            "" if each.arrival is None else _times(each.arrival, zone),
            "" if each.elapsed_h is None else added_words(60.0 * (each.elapsed_h - plan.elapsed_h)),
            _what_boards(each),
            _what_turns(each, plan),
        )
        for each in plan.what_if
    ]


def _what_turns(each: WhatIf, plan: Plan) -> str:
    if each.turns:
        return turns_words(each.turns, plan.marks)
    return "" if each.elapsed_h is None else "none"


def _what_boards(each: WhatIf) -> str:
    if each.elapsed_h is None:
        return f"can't be planned: {each.reason}"
    return "; ".join(each.sequence) or advice_words(each)


def _times(time: datetime, zone: tzinfo | None) -> str:
    if zone is None:
        return clock(time)
    return f"{clock(time)} {(time + timedelta(seconds=30)).astimezone(zone):%H:%M}"


def _hour_cells(hour: Hour, zone: tzinfo | None) -> tuple[str, ...]:
    here = hour.weather
    still = here.set_deg is None or here.drift_kn < 0.05
    return (
        _times(hour.time, zone),
        position_words(hour.lat, hour.lon),
        heading_words(hour.heading_deg, hour.heading_magnetic_deg, hour.heading_compass_deg),
        three_figures(hour.course_over_ground_deg),
        f"{three_figures(here.wind_from_deg)} {here.wind_kn:.0f} kn",
        "" if here.gust_kn is None else f"{here.gust_kn:.0f}",
        "none" if still else f"{three_figures(here.set_deg or 0.0)} {here.drift_kn:.1f} kn",
        f"{hour.to_go_nm:.1f}",
    )


def _alternatives(plan: Plan) -> list[tuple[str, list[AlternativeLine]]]:
    return [
        (f"{leg.origin} to {leg.destination}", alternative_lines(leg))
        for leg in plan.legs
        if leg.alternatives
    ]


def spoken(plan: Plan) -> list[str]:
    """Tell the passage in sentences, one a stop, for whoever hears it read."""
    return [_said(stop, plan) for stop in stops(plan)]


def _said(stop: Stop, plan: Plan) -> str:
    place = f"{stop.name or 'turn'}, {position_words(stop.lat, stop.lon)}"
    begins = f"{clock(stop.time or plan.departure)}: {place}"
    board = stop.board
    if board is None:
        return f"{begins}: arrival."
    parts = [stop_sentence(stop, plan.departure)]
    if stop.order is None:
        parts += [
            *filter(None, (ground_words(board),)),
            *([] if board.weather is None else weather_words(board.weather)),
            f"{board.distance_nm:.1f} nm in {hours_and_minutes(board.elapsed_h)}",
        ]
    return f"{begins}: {'; '.join(parts)}."
