"""`goosewing live`: the running service, for plotters that speak NMEA 0183 or read GPX."""

from __future__ import annotations

import os
import signal
import sys
import threading
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from goosewing_cli import hazards_options, inputs
from goosewing_cli.declared import command, option
from goosewing_cli.planning import WIPE_REST, columns

if TYPE_CHECKING:
    from collections.abc import Callable

    from goosewing.exchange.nmea.wires import Address
    from goosewing.hazards.chart import Chart
    from goosewing.live.alone.watch import Post, Setup
    from goosewing.live.core.state import Desk, Route
    from goosewing.live.panel.counter import WatchCounter
    from goosewing.marks.from_here import Marks

BELL = "\a"


class WindFrom(StrEnum):
    """Which wind is taken where instruments give both."""

    true = "true"
    apparent = "apparent"


@command(help="Keep plan, laylines and turning points true under way.")
def live(
    nmea: Annotated[
        list[str] | None,
        option(
            "--nmea",
            metavar="SOURCE",
            help="Instruments: tcp://HOST:PORT, udp://[HOST]:PORT, serial:DEVICE[:BAUD]; "
            "repeatable. Or a recorded log: its name.",
        ),
    ] = None,
    replay: Annotated[
        float | None,
        option(
            "--replay",
            metavar="SPEED",
            help="Of a log: 1 as it was, 10 ten times as fast, 0 as fast as can be.",
        ),
    ] = None,
    marks: Annotated[
        Path | None,
        option("--marks", metavar="MARKS.gpx", help="The route to be sailed."),
    ] = None,
    boat: inputs.BoatFile = None,
    source: inputs.SourceOfMarks = None,
    route: inputs.RouteName = None,
    next_mark: inputs.NextMark = None,
    leave: inputs.LeaveTexts = None,
    gpx_dir: Annotated[
        Path | None,
        option(
            "--gpx-dir",
            metavar="DIR",
            help="Rewrite goosewing-overlay.gpx here with each new plan.",
        ),
    ] = None,
    send: Annotated[
        str | None,
        option(
            "--send",
            metavar="TARGET",
            help="Send each plan as WPL and RTE: tcp://HOST:PORT, udp://HOST:PORT, "
            "serial:DEVICE[:BAUD].",
        ),
    ] = None,
    send_steering: Annotated[
        bool,
        option(
            "--send-steering",
            help="Send RMB, XTE and BWC as well, once a second: an autopilot may follow them.",
        ),
    ] = False,
    talker: Annotated[
        str, option("--talker", metavar="ID", help="Who speaks in the sentences.")
    ] = "GP",
    variation: Annotated[
        str | None,
        option(
            "--variation",
            metavar="DEG|model",
            help="For a magnetic heading where no instrument gives it; east is positive.",
        ),
    ] = None,
    wind_from: Annotated[
        WindFrom, option("--wind-source", help="Which wind, where instruments give both.")
    ] = WindFrom.true,
    performance: inputs.PerformanceFactor = None,
    margin: inputs.MarginDegrees = 0.0,
    hazards: hazards_options.HazardFiles = None,
    safe_depth: hazards_options.SafeDepth = None,
    tide: Annotated[
        str | None,
        option("--tide", metavar="METRES", help="Height of tide over charted depths: the lowest."),
    ] = None,
    coast: hazards_options.UseCoast = False,
    clearance: hazards_options.Clearance = 0.0,
    dangers: hazards_options.Dangers = hazards_options.DangerChoice.said,
    danger_distance: hazards_options.DangerDistance = hazards_options.USUAL_NM,
    stand_by: Annotated[
        str,
        option("--stand-by", metavar="MINUTES", help="Minutes before a turn to say stand by: 5,1."),
    ] = "5,1",
    shifts: Annotated[
        str | None,
        option(
            "--shifts",
            metavar="SIGMA/TAU|auto",
            help="Shifty wind, such as 5/10 (degrees, minutes): plan for its mean, and say when a "
            "shift is worth a turn.",
        ),
    ] = None,
    state: Annotated[
        Path | None,
        option(
            "--state",
            metavar="FILE",
            help="Where marks passed and sails set are kept for a restart "
            "(default: under-way.json in ~/.local/state/goosewing; a replay keeps nothing).",
        ),
    ] = None,
    panel: Annotated[
        int | None,
        option("--panel", metavar="PORT", help="Serve the panel for a browser here."),
    ] = None,
    panel_host: Annotated[
        str,
        option("--panel-host", metavar="ADDRESS", help="For other devices aboard."),
    ] = "127.0.0.1",
) -> None:
    """Keep plan, laylines and turning points true under way."""
    from dataclasses import replace

    from goosewing.errors import InputError

    addresses = _addresses(nmea or [], replay)
    if panel is None and panel_host != "127.0.0.1":
        raise InputError("--panel-host is for the panel: give --panel PORT as well")
    if panel is not None and not 0 <= panel <= 65535:
        raise InputError(f"--panel must be a port, 1 to 65535 (0: any that is free), got {panel}")
    desk = _desk(boat, performance, margin, wind_from)
    if marks is None:
        raise InputError("--marks MARKS.gpx is needed: the route to be sailed")
    desk = replace(desk, rules=replace(desk.rules, stand_by_s=_stand_by_s(stand_by)))
    if shifts is not None:
        desk = replace(desk, shifts=_shifts(shifts))
    apart = dangers is not hazards_options.DangerChoice.none
    read = inputs.read_marks(marks, source, route, leave=leave or [], dangers_apart=apart)
    noted = hazards_options.Noted(read.waypoints, marks, dangers, danger_distance)
    tide_m = hazards_options.tide_always_m(tide, "live")
    chart = hazards_options.read_chart(hazards, safe_depth, coast, clearance, tide_m=tide_m)
    if chart is None and tide_m is not None:
        raise InputError("--tide needs --hazards FILE, a chart cell, to keep clear of")
    desk = _with_chart(desk, hazards_options.chart_with_dangers(chart, noted, read.marks))
    files = inputs.files_read(boat, marks, *(hazards or []), *_logs(addresses))
    _check_outputs(gpx_dir, state, files)
    setup = _setup(
        desk,
        _route(marks, read, next_mark),
        gpx_dir=gpx_dir,
        files=files,
        receiver=_receiver(send, steers=send_steering, replayed=addresses[0].kind == "file"),
        steers=send_steering,
        talker=talker,
        variation=variation,
        state=_state_file(state, replayed=addresses[0].kind == "file"),
    )
    speed = 1.0 if replay is None else replay
    _run(setup, addresses, speed, panel=panel, panel_host=panel_host)


# ---- what was asked for -------------------------------------------------------------------


def _addresses(texts: list[str], replay: float | None) -> tuple[Address, ...]:
    from goosewing.errors import InputError
    from goosewing.exchange.nmea import wires

    if not texts:
        raise InputError(f"--nmea SOURCE is needed: {wires.WAYS_IN}")
    found = tuple(wires.parse_address(text) for text in texts)
    for each in found:
        wires.check(each)
    logs = [each for each in found if each.kind == "file"]
    if logs and len(found) > 1:
        raise InputError("a log is played alone: one --nmea FILE and no other")
    if replay is not None and not logs:
        raise InputError("--replay is for a log: --nmea FILE")
    if replay is not None and not 0.0 <= replay <= 100_000.0:
        raise InputError(f"--replay must be 0 to 100000, got {replay:g}")
    return found


def _logs(addresses: tuple[Address, ...]) -> list[Path]:
    return [Path(each.path) for each in addresses if each.kind == "file"]


def _desk(boat: Path | None, performance: float | None, margin: float, wind_from: WindFrom) -> Desk:
    from goosewing.errors import InputError
    from goosewing.live.core.state import Desk

    if not 0.0 <= margin <= 45.0:
        raise InputError(f"--margin must be 0 to 45 degrees, got {margin:g}")
    crew = inputs.load_boat(boat, performance)
    return Desk(boat=crew, margin_deg=margin, wind_paths=wind_from.value)


def _with_chart(desk: Desk, chart: Chart | None) -> Desk:
    """Take the chart along, and say once what is to be known about it."""
    from dataclasses import replace

    if chart is None:
        return desk
    for line in chart.notices:
        click.echo(line)
    return replace(desk, chart=chart)


def _route(path: Path, read: Marks, next_mark: str | None) -> Route:
    from goosewing.live.core.state import Route
    from goosewing.marks import from_here as sorting

    for line in read.notices:
        click.echo(line)
    at = min(1, len(read.marks) - 1)
    if next_mark is not None:
        at = len(read.marks) - len(sorting.from_next(read.marks, next_mark).marks)
    resume = next_mark is None
    marks = sorting.named_apart(read.marks)
    return Route(id="marks", name=path.stem, marks=marks, next=at, resume=resume)


def _shifts(text: str) -> str:
    """Check how far and how long the wind wanders, for the hour when it is needed."""
    from goosewing.shifts.model import parse_shifts

    parse_shifts(text, 10.0)
    return text


def _stand_by_s(text: str) -> tuple[float, ...]:
    from goosewing.errors import InputError

    try:
        minutes = [float(each) for each in text.split(",") if each.strip()]
    except ValueError:
        minutes = [-1.0]
    if not all(0.1 <= each <= 60.0 for each in minutes):
        raise InputError(f"--stand-by must be minutes from 0.1 to 60, such as 5,1; got {text!r}")
    return tuple(60.0 * each for each in sorted(set(minutes), reverse=True))


def _state_file(named: Path | None, *, replayed: bool) -> Path | None:
    """Return where what was passed is kept: nowhere for a replay, unless it is named."""
    if named is not None or replayed:
        return named
    home = os.environ.get("XDG_STATE_HOME")
    folder = Path(home) if home else Path.home() / ".local" / "state"
    return folder / "goosewing" / "under-way.json"


def _receiver(text: str | None, *, steers: bool, replayed: bool) -> Address | None:
    from goosewing.errors import InputError
    from goosewing.exchange.nmea import wires

    if steers and text is None:
        raise InputError("--send-steering needs --send TARGET")
    if steers and replayed:
        raise InputError("--send-steering can't be used when replaying a log")
    if text is None:
        return None
    address = wires.parse_receiver(text)
    wires.check(address)
    return address


def _setup(
    desk: Desk,
    route: Route,
    *,
    gpx_dir: Path | None,
    files: list[Path],
    receiver: Address | None,
    steers: bool,
    talker: str,
    variation: str | None,
    state: Path | None,
) -> Setup:
    from dataclasses import replace

    from goosewing.exchange.nmea.routes import format_sentence
    from goosewing.live.alone.watch import Setup

    format_sentence(talker, "RTE", [])
    model: Any = None
    if variation is not None:
        given = inputs.load_variation(variation)
        if isinstance(given, float):
            desk = replace(desk, variation_deg=given)
        else:
            model = given
    if gpx_dir is not None:
        inputs.ensure_folder(gpx_dir)
    return Setup(
        desk=desk, route=route, overlay=gpx_dir, inputs=tuple(files), receiver=receiver,
        steers=steers, talker=talker, variation=model, state=state,
    )  # fmt: skip


def _check_outputs(gpx_dir: Path | None, state: Path | None, files: list[Path]) -> None:
    """Refuse now what must not be overwritten under way; in the usual places nothing is refused."""
    from goosewing.live.alone.overlay import NAME
    from goosewing.live.memory_file import check_content, copy_of

    written = [] if gpx_dir is None else [gpx_dir / NAME]
    written += [] if state is None else [state, copy_of(state)]
    inputs.check_outputs(written, files, makes_folder=True)
    if state is not None:
        check_content(state)


# ---- running --------------------------------------------------------------------------------


def _run(
    setup: Setup,
    addresses: tuple[Address, ...],
    speed: float,
    *,
    panel: int | None,
    panel_host: str,
) -> None:
    from goosewing.live.alone import watch as afloat

    show = Terminal()
    post = afloat.Post()
    _cautions(setup, show)
    server, counter = _panel(setup, post, panel, panel_host, show)
    _listen_to_keys(post, show)
    before = {number: signal.signal(number, _asked_to_end) for number in _endings()}
    try:
        if addresses[0].kind == "file":
            watch = afloat.play(
                setup, addresses[0].path, show, speed=speed, post=post, counter=counter
            )
            show.wipe()
            show.line(f"The log has ended: {watch.counts.words}.")
        else:
            afloat.sail(setup, addresses, show, post=post, counter=counter)
    except SystemExit:
        return
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        show.wipe()
        if server is not None:
            server.close()


def _endings() -> list[signal.Signals]:
    """Signals of whoever ends it, or closes its terminal: what was sent must not stand then."""
    names = ("SIGTERM", "SIGHUP", "SIGBREAK")
    return [getattr(signal, name) for name in names if hasattr(signal, name)]


def _asked_to_end(*_: object) -> None:
    raise SystemExit(0)


def _cautions(setup: Setup, show: Terminal) -> None:
    from goosewing.records import CAUTIONS

    for line in CAUTIONS:
        show.line(line)
    if setup.steers:
        show.line(
            "Sends steering data (RMB, XTE, BWC): an autopilot may follow them. They stay with a "
            "tack, gybe, pole or turning point until you acknowledge it.", "warn",
        )  # fmt: skip
    elif setup.receiver is not None:
        show.line("Sends the plan as a route; nothing that an autopilot follows by itself.")
    else:
        show.line("Sends nothing that an autopilot follows.")


def _panel(
    setup: Setup, post: Post, port: int | None, host: str, show: Terminal
) -> tuple[Any, WatchCounter | None]:
    """Serve the panel, if it is wanted; to other devices by a token, which stands in its URL."""
    if port is None:
        return None, None
    from dataclasses import replace

    from goosewing.live.panel.counter import WatchCounter
    from goosewing.live.panel.server import serve

    # Begun anew at the panel: from the first mark on.
    route = replace(setup.route, next=min(1, len(setup.route.marks) - 1))
    counter = WatchCounter(post.put, lambda: (route,))
    server = serve(counter, host=host, port=port)
    show.line(f"The panel: {server.url}")
    return server, counter


def _listen_to_keys(post: Post, show: Terminal) -> None:
    """Let Enter, or a and Enter, say that a turn has been seen to; only at a terminal."""
    if not _has_keys():
        return
    from goosewing.live.alone.watch import SeenTo

    show.line("Enter acknowledges a turn; Ctrl-C ends.")

    def listen(put: Callable[[Any], None]) -> None:
        for line in sys.stdin:
            if line.strip().casefold() in ("", "a"):
                put(SeenTo())

    threading.Thread(target=listen, args=(post.put,), name="keys", daemon=True).start()


def _has_keys() -> bool:
    """Whether somebody can type: at a terminal, and not in its background."""
    if not sys.stdin or not sys.stdin.isatty():
        return False
    # One that reads from the background is stopped by the system.
    try:
        return os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp()
    except (AttributeError, OSError):  # No such groups here.
        return True


class Terminal:
    """Lines for good on standard output, the status in one line on standard error."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._rewrites = sys.stderr.isatty()
        self._shown = ""

    def line(self, text: str, severity: str = "normal") -> None:
        """Tell something, for good."""
        mark = {"warn": "! ", "alert": "* "}.get(severity, "  ")
        with self._lock:
            self._wipe()
            bell = BELL if severity == "warn" and self._rewrites else ""
            print(f"{mark}{text}{bell}", flush=True)
            self._again()

    def status(self, words: Callable[[], str], *, changed: bool) -> None:
        """Rewrite the status line; without a terminal, a line when it is another state."""
        with self._lock:
            if self._rewrites:
                self._shown = words()
                self._again()
            elif changed:
                print(f"- {words()}", file=sys.stderr, flush=True)

    def wipe(self) -> None:
        """Take the status line away."""
        with self._lock:
            self._wipe()
            self._shown = ""

    def _wipe(self) -> None:
        if self._rewrites and self._shown:
            print(f"\r{WIPE_REST}", end="", file=sys.stderr, flush=True)

    def _again(self) -> None:
        if self._rewrites and self._shown:
            text = self._shown[: columns() - 1]
            print(f"\r{text}{WIPE_REST}", end="", file=sys.stderr, flush=True)
