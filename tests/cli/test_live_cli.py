"""`goosewing live` on the command line: refusals in one line, a log played, a clean end."""

from __future__ import annotations

import json
import math
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from itertools import pairwise
from pathlib import Path
from threading import Timer

import gpxpy
import pytest
import shapely

from goosewing.exchange.nmea.routes import checksum
from goosewing.live.alone.overlay import NAME

SAMPLES = Path(__file__).parents[2] / "sample_routes"
BASE = ("--marks", "marks.gpx", "--boat", "brisvik/boat.toml")


@pytest.fixture(autouse=True)
def _own_memory(monkeypatch, tmp_path_factory):
    """What is kept for a restart is no test's business but its own."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))


@pytest.fixture
def log(desk):
    """The first ten minutes of the sample log, and its marks."""
    lines = (SAMPLES / "brisvik_log.nmea").read_bytes().splitlines(keepends=True)
    (desk / "log.nmea").write_bytes(b"".join(lines[:600]))
    shutil.copy(SAMPLES / "afternoon.gpx", desk / "marks.gpx")
    return desk / "log.nmea"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (BASE, "--nmea SOURCE is needed"),
        (("--nmea", "tcp://nowhere", *BASE), "tcp://HOST:PORT"),
        (("--nmea", "none.nmea", *BASE), "no such file"),
        (("--nmea", "/dev/null", *BASE), "is a device: write serial:"),
        (("--nmea", "log.nmea", "--nmea", "udp://:1234", *BASE), "played alone"),
        (("--nmea", "udp://:1234", "--replay", "1", *BASE), "--replay is for a log"),
        (("--nmea", "log.nmea", "--replay", "-1", *BASE), "--replay must be"),
        (("--nmea", "log.nmea", "--boat", "brisvik/boat.toml"), "--marks MARKS.gpx is needed"),
        (("--nmea", "log.nmea", "--marks", "marks.gpx"), "--boat FILE is needed"),
        (("--nmea", "log.nmea", *BASE, "--next", "Nowhere"), "no mark is called 'Nowhere'"),
        (("--nmea", "log.nmea", *BASE, "--send", "udp://:10"), "udp://HOST:PORT"),
        (("--nmea", "udp://:1234", *BASE, "--send-steering"), "needs --send"),
        (
            ("--nmea", "log.nmea", *BASE, "--send", "udp://127.0.0.1:9", "--send-steering"),
            "can't be used when replaying a log",
        ),
        (("--nmea", "log.nmea", *BASE, "--talker", "gps"), "a talker is two capitals"),
        (("--nmea", "log.nmea", *BASE, "--variation", "x"), "variation"),
        (("--nmea", "log.nmea", *BASE, "--margin", "90"), "--margin must be"),
        (("--nmea", "log.nmea", *BASE, "--hazards", "none.gpx"), "none.gpx: no such file"),
        (("--nmea", "log.nmea", *BASE, "--clearance", "0.3"), "--clearance needs --hazards"),
        (("--nmea", "log.nmea", *BASE, "--gpx-dir", "marks.gpx"), "can't make the folder"),
    ],
)
@pytest.mark.usefixtures("log")
def test_what_makes_no_sense_is_refused_in_one_line(run, arguments, words):
    ran = run("live", *arguments)
    assert ran.code == 2
    assert words in ran.err
    assert ran.err.count("\n") == 1
    assert ran.err.startswith("goosewing: ")


@pytest.mark.usefixtures("log")
def test_serial_without_its_extra(run, monkeypatch):
    monkeypatch.setitem(sys.modules, "serial", None)
    ran = run("live", "--nmea", "serial:/dev/ttyUSB0", *BASE)
    assert ran.code == 2
    assert 'pip install ".[serial]"' in ran.err


@pytest.mark.usefixtures("log")
def test_a_port_that_is_taken(run):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        ran = run("live", "--nmea", f"udp://127.0.0.1:{taken.getsockname()[1]}", *BASE)
    assert ran.code == 2
    assert "can't listen on" in ran.err.splitlines()[-1]


def test_a_log_is_played_and_the_overlay_is_there(run, log):
    ran = run("live", "--nmea", "log.nmea", "--replay", "0", *BASE, "--gpx-dir", "overlay")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0].startswith("  Not for sole navigation.")
    assert "  Sends nothing that an autopilot follows." in lines
    assert any("New plan (a new route): 2 boards to Dan" in line for line in lines)
    assert any("T1 now: onto port tack." in line and line.startswith("! ") for line in lines)
    assert lines[-1] == "  The log has ended: 600 sentences."
    # Without a terminal the status is a line when its words change, and no more.
    shown = [line.partition("|")[0] for line in ran.err.splitlines()]
    assert all(one != two for one, two in pairwise(shown))
    assert shown[0].startswith("- WAITING ")
    read = gpxpy.parse((log.parent / "overlay" / NAME).read_text(encoding="utf-8"))
    assert read.routes[0].points[-1].name == "Hed"


@pytest.mark.usefixtures("log")
def test_the_next_mark_is_the_one_named(run):
    ran = run("live", "--nmea", "log.nmea", "--replay", "0", *BASE, "--next", "Hed")
    assert "to Hed" in ran.out
    assert "to Dan" not in ran.out


@pytest.mark.usefixtures("log")
def test_a_slower_boat_takes_longer(run):
    def first(*more: str) -> str:
        ran = run("live", "--nmea", "log.nmea", "--replay", "0", *BASE, *more)
        return next(line for line in ran.out.splitlines() if "New plan" in line)

    assert first() != first("--performance", "0.8")


@pytest.mark.long
def test_it_keeps_clear_of_a_reef(run, log):
    def way() -> shapely.LineString:
        read = gpxpy.parse((log.parent / "overlay" / NAME).read_text(encoding="utf-8"))
        return shapely.LineString([(p.longitude, p.latitude) for p in read.routes[0].points])

    words = ("--nmea", "log.nmea", "--replay", "0", *BASE, "--gpx-dir", "overlay")
    assert run("live", *words).code == 0
    # Over the corner where she turns onto the second board.
    lon, lat = way().coords[1]
    reef = shapely.box(lon - 0.01, lat - 0.005, lon + 0.01, lat + 0.005)
    (log.parent / "reef.geojson").write_text(shapely.to_geojson(reef))
    ran = run("live", *words, "--hazards", "reef.geojson", "--coast")
    assert ran.code == 0
    assert "not for navigation" in ran.out
    assert not way().intersects(reef.buffer(-1e-4))


# ---- as a process -----------------------------------------------------------------------------


def started(folder, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", "from goosewing_cli.main import run; run()", "live", *arguments],
        cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip


def wait_for(what, within_s: float = 60.0) -> None:
    ends = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < ends
        time.sleep(0.05)


ENDINGS = [("SIGINT", 130), ("SIGTERM", 0), ("SIGHUP", 0)]
"""Of these the last comes when a terminal is closed."""


@pytest.mark.skipif(sys.platform == "win32", reason="no such signals")
@pytest.mark.usefixtures("log")
@pytest.mark.parametrize(("ending", "code"), ENDINGS)
def test_it_ends_cleanly_when_it_is_told_to(desk, ending, code):
    process = started(desk, "--nmea", "log.nmea", "--replay", "5", *BASE, "--gpx-dir", "overlay")
    try:
        file = desk / "overlay" / NAME
        wait_for(lambda: file.exists() and "<rte>" in file.read_text(encoding="utf-8"))
        process.send_signal(getattr(signal, ending))
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == code, err
    assert "Traceback" not in err
    assert out.startswith("  Not for sole navigation.")
    assert len(gpxpy.parse(file.read_text(encoding="utf-8")).routes) == 1
    assert [path.name for path in file.parent.iterdir()] == [NAME]


def up_to(process: subprocess.Popen[str], words: str) -> str:
    """Read what it prints up to the line with these words, within a minute."""
    lines = [""]
    assert process.stdout is not None
    late = Timer(60.0, process.kill)
    late.start()
    while words not in lines[-1]:
        lines.append(process.stdout.readline())
        assert lines[-1], "".join(lines)
    late.cancel()
    return "".join(lines)


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="no such signals")
def test_a_link_that_is_not_there_is_waited_for_and_its_socket_closed(desk, log):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = started(desk, "--nmea", f"tcp://127.0.0.1:{port}", *BASE)
    try:
        with socket.socket() as server:
            server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            server.bind(("127.0.0.1", port))
            said = up_to(process, "is not there")
            server.listen()
            server.settimeout(30)
            connection, _ = server.accept()
            connection.settimeout(20)
            connection.sendall(log.read_bytes()[:300])
            said += up_to(process, "is there")
            process.send_signal(signal.SIGINT)
            assert connection.recv(10) == b""
            connection.close()
        out, err = process.communicate(timeout=20)
        out = said + out
    finally:
        process.kill()
    assert process.returncode == 130
    assert out.count("is not there") == 1
    assert out.count(f"tcp://127.0.0.1:{port} is there.") == 1
    assert "Traceback" not in err


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="no pairs of terminals")
@pytest.mark.usefixtures("log")
def test_at_a_terminal_enter_acknowledges_and_the_status_is_one_line():
    import pty

    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        server.settimeout(60)
        port = server.getsockname()[1]
        child, terminal = pty.fork()
        if child == 0:
            code = "from goosewing_cli.main import run; run()"
            words = [sys.executable, "-c", code, "live", "--nmea", f"tcp://127.0.0.1:{port}", *BASE]
            os.execv(sys.executable, words)
        connection, _ = server.accept()
        seen, said, due, ends = b"", False, 0.0, time.monotonic() + 180
        second, begun = 0, time.monotonic()
        while b"T1 acknowledged" not in seen and time.monotonic() < ends:
            if time.monotonic() >= begun + second:
                connection.sendall(_on_starboard_tack(second))
                second += 1
            seen += _so_far(terminal)
            if b"T1 now" in seen:
                due = due or time.monotonic()
                # Nobody presses within a blink of its falling due; that is not taken.
                if not said and time.monotonic() > due + 4.0:
                    said = bool(os.write(terminal, b"\n"))
        os.kill(child, signal.SIGINT)
        _, status = os.waitpid(child, 0)
        connection.close()
        os.close(terminal)
    assert b"T1 acknowledged" in seen, seen
    assert b"\r" in seen
    assert b"\x1b[K" in seen
    assert os.waitstatus_to_exitcode(status) == 130


def _on_starboard_tack(second: int) -> bytes:
    """What she sends once a second as the log begins: she stands on past the tack that is due."""
    lon = 24.0 - 5.5 / 3600.0 / math.cos(math.radians(56.72)) * second
    clock = f"05{second // 60:02d}{second % 60:02d}.00"
    bodies = (
        f"GPRMC,{clock},A,5643.2000,N,012{lon:07.4f},E,5.50,270.0,120627,4.5,E,A",
        "HCHDG,266.0,,,4.5,E",
        "VWVHW,,T,266.0,M,5.80,N,,K",
        "WIMWV,29.5,R,15.29,N,A",
    )
    return "".join(f"${body}*{checksum(body)}\r\n" for body in bodies).encode()


def _so_far(terminal: int) -> bytes:
    ready, _, _ = select.select([terminal], [], [], 0.05)
    return os.read(terminal, 65536) if ready else b""


@pytest.mark.long
@pytest.mark.usefixtures("log")
def test_the_panel_shows_it_and_takes_the_acknowledgement(desk):
    process = started(desk, "--nmea", "log.nmea", "--replay", "1", *BASE, "--panel", "0")
    try:
        assert process.stdout is not None
        url = ""
        while not url:
            line = process.stdout.readline()
            assert line, process.communicate()
            url = line.partition("The panel: ")[2].strip()
        assert url.startswith("http://127.0.0.1:")
        wait_for(lambda: (asked(f"{url}api/panel")["next"] or {}).get("awaiting"))
        panel = asked(f"{url}api/panel")
        assert panel["next"]["point"] == "T1"
        assert panel["route"]["next"] == "Dan"
        assert [route["id"] for route in asked(f"{url}api/routes")] == ["marks"]
        asked(f"{url}api/acknowledge", {"point": "T1"})
        while "T1 acknowledged" not in line:
            line = process.stdout.readline()
            assert line
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 130


def asked(url: str, body: object = None):
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(url, data, {"Content-Type": "application/json"})
    with urllib.request.urlopen(request, timeout=20) as answer:
        return json.loads(answer.read())
