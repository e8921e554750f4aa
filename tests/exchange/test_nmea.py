"""Sentences against published ones, pynmea2, and stand-ins for the wires."""

from __future__ import annotations

import os
import socket
import threading
import time

import pynmea2
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from pynmea2.nmea_utils import dm_to_sd

from goosewing.errors import InputError
from goosewing.exchange.handheld.routes import PRESETS, Contents, Point, Route, fit
from goosewing.exchange.nmea.routes import (
    LONGEST,
    checksum,
    clean_name,
    format_contents,
    format_latitude,
    format_longitude,
    format_routes,
    format_rte,
    format_sentence,
    format_wpl,
)
from goosewing.exchange.nmea.wires import Address, parse_target, send, transmit

# Published in gpsd's "NMEA Revealed" (www/NMEA.adoc, commit 46977fa), its daemon logs and
# pynmea2 1.19.0's tests; checksums recomputed and right.
PUBLISHED = """\
$GPWPL,4917.16,N,12310.64,W,003*65
$GPWPL,5128.62,N,00027.58,W,EGLL*59
$GPRTE,2,1,c,0,PBRCPK,PBRTO,PTELGR,PPLAND,PYAMBU,PPFAIR,PWARRN,PMORTL,PLISMR*73
$GPRTE,2,2,c,0,PCRESY,GRYRIE,GCORIO,GWERR,GWESTG,7FED*34
$GPRTE,2,1,c,0,ABC,DEF*03
$GPRTE,1,1,c,0*07
$GPXTE,A,A,4.07,L,N*6D
$WIMWD,302.4,T,289.6,M,10.5,N,5.4,M*6F
$IIMWV,271.0,R,000.2,N,A*3B
$GPHDT,274.07,T*03
$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68
""".splitlines()

# The same document prints these with a checksum that is wrong; in brackets the right one.
WRONG = [
    ("$GPBWC,081837,,,,,,T,,M,,N*13", "3F"),
    ("$GPBWC,220516,5130.02,N,00046.34,W,213.8,T,218.0,M,0004.6,N,EGLM*11", "21"),
    ("$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*0B", "20"),
]


def parts(line):
    """Address and fields of a sentence."""
    return line[1:].split("*")[0].split(",")


@pytest.mark.parametrize("line", PUBLISHED)
def test_published_sentences_prove_right(line):
    body = line[1:-3]
    assert checksum(body) == line[-2:]
    address, *fields = parts(line)
    assert format_sentence(address[:-3], address[-3:], fields) == line + "\r\n"


@pytest.mark.parametrize(("line", "right"), WRONG)
def test_where_a_checksum_is_printed_wrong_ours_is_right(line, right):
    assert checksum(line[1:-3]) == right != line[-2:]


def test_waypoints_as_published():
    # Two decimals of a minute, as those receivers wrote them.
    vancouver = format_wpl(49 + 17.16 / 60, -(123 + 10.64 / 60), "003", decimals=2)
    assert vancouver == PUBLISHED[0] + "\r\n"
    heathrow = format_wpl(51 + 28.62 / 60, -27.58 / 60, "EGLL", decimals=2)
    assert heathrow == PUBLISHED[1] + "\r\n"


def test_routes_as_published():
    names = [*parts(PUBLISHED[2])[5:], *parts(PUBLISHED[3])[5:]]
    written = format_rte(names, "0", names_per_sentence=9)
    assert written == (PUBLISHED[2] + "\r\n", PUBLISHED[3] + "\r\n")
    assert len(written[0]) == 81
    assert format_rte([], "0") == (PUBLISHED[5] + "\r\n",)
    assert all(len(parts(line)) <= 13 for line in format_rte(names, "0"))


@pytest.mark.parametrize(
    ("lat", "expected"),
    [
        (57.508333333, ("5730.5000", "N")),
        (-0.5, ("0030.0000", "S")),
        (59.99999999, ("6000.0000", "N")),
        (56 + 59.99996 / 60, ("5700.0000", "N")),
        (56 + 59.99994 / 60, ("5659.9999", "N")),
        (-1e-9, ("0000.0000", "N")),
        (90.0, ("9000.0000", "N")),
        (-90.0, ("9000.0000", "S")),
    ],
)
def test_minutes_carry_into_degrees(lat, expected):
    assert format_latitude(lat) == expected


def test_longitudes():
    assert format_longitude(-123.18533333) == ("12311.1200", "W")
    assert format_longitude(9.0) == ("00900.0000", "E")
    assert format_longitude(180.0) == ("18000.0000", "W")
    assert format_longitude(179.99999999) == ("18000.0000", "E")


@pytest.mark.parametrize("lat", [90.1, -91.0, float("nan"), float("inf")])
def test_bad_latitudes_are_refused(lat):
    with pytest.raises(InputError):
        format_latitude(lat)


NAMES = st.text(min_size=1, max_size=12).filter(lambda each: bool(clean_name(each)))


@given(st.lists(NAMES, max_size=60), NAMES, st.integers(1, 12))
def test_any_route_is_whole_and_short_enough(names, route, most):
    # Transliteration may make one sign many; such a name fits no sentence.
    assume(all(len(clean_name(each)) <= 20 for each in [*names, route]))
    lines = format_rte(names, route, names_per_sentence=most)
    read = [pynmea2.parse(line, check=True) for line in lines]
    assert all(len(line.encode("ascii")) <= LONGEST and line.endswith("\r\n") for line in lines)
    # pynmea2 calls the total num_in_seq and the number sen_num.
    assert [int(each.sen_num) for each in read] == list(range(1, len(lines) + 1))
    assert {int(each.num_in_seq) for each in read} == {len(lines)}
    found = [name for line in lines for name in parts(line)[5:]]
    assert found == [clean_name(each) for each in names]


@pytest.mark.parametrize("length", range(1, 21))
@pytest.mark.parametrize("count", [1, 9, 90, 900])
def test_any_number_of_sentences_stays_short_enough(length, count):
    # From ten sentences on, total and number take a byte more in every one of them.
    lines = format_rte(["N" * length] * count, "0", names_per_sentence=100)
    assert sum(len(parts(line)) - 5 for line in lines) == count
    # And none could have held one name more, its number written as wide as the total.
    spare = len(str(len(lines))) - 1
    assert all(len(line) + 1 + length + spare > LONGEST for line in lines[:-1])


@given(st.floats(-90, 90), st.floats(-180, 180), NAMES)
def test_any_waypoint_parses_back(lat, lon, name):
    assume(len(clean_name(name)) <= 30)
    line = format_wpl(lat, lon, name)
    read = pynmea2.parse(line, check=True)
    assert len(line) <= LONGEST
    read_lat = dm_to_sd(read.lat) * (1 if read.lat_dir == "N" else -1)
    read_lon = dm_to_sd(read.lon) * (1 if read.lon_dir == "E" else -1)
    # Half of the last decimal of a minute.
    assert read_lat == pytest.approx(lat, abs=0.5e-4 / 60 + 1e-9)
    assert (read_lon - lon + 180) % 360 - 180 == pytest.approx(0, abs=0.5e-4 / 60 + 1e-9)
    assert read.waypoint_id == clean_name(name)


@given(st.text())
def test_no_reserved_sign_is_left_in_a_name(text):
    clean = clean_name(text)
    assert not set(clean) & set(",*$!\\^~\r\n")
    assert clean.isascii()


def test_a_fitted_file_goes_out_whole():
    route = Route(name="Kattegat", points=tuple(
        Point(lat=56 + at / 50, lon=11.0, name=f"Tack {at}") for at in range(1, 41)))  # fmt: skip
    contents = fit(Contents(routes=(route,)), PRESETS["small"]).contents
    lines = format_contents(contents, talker="II")
    for line in lines:
        pynmea2.parse(line, check=True)
    kinds = [parts(line)[0][-3:] for line in lines]
    assert kinds.count("WPL") == 40
    assert kinds == sorted(kinds, reverse=True)
    assert {parts(line)[0][:-3] for line in lines} == {"II"}


def test_two_places_of_one_name_are_refused():
    points = (Point(lat=57.0, lon=11.0, name="A"), Point(lat=58.0, lon=11.0, name="a"))
    with pytest.raises(InputError, match='two places are called "a"'):
        format_routes([Route(name="R", points=points)])


@pytest.mark.parametrize("talker", ["", "G", "gp", "GPS", "1P", "$P"])
def test_bad_talkers_are_refused(talker):
    with pytest.raises(InputError, match="talker"):
        format_wpl(57.0, 11.0, "A", talker=talker)


@pytest.mark.parametrize("name", ["", "  ", "*,*"])
def test_names_with_nothing_left_are_refused(name):
    with pytest.raises(InputError, match="can stand in a sentence"):
        format_wpl(57.0, 11.0, name)


def test_a_name_too_long_for_any_sentence_is_refused():
    with pytest.raises(InputError, match="82 bytes at most"):
        format_rte(["A", "B" * 70], "0")


# Sending -------------------------------------------------------------------------------------

LINES = format_rte([f"T{at}" for at in range(30)], "KATT", names_per_sentence=4)


class Watch:
    """A clock that only sleeping moves."""

    def __init__(self) -> None:
        self.now = 0.0

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        assert seconds > 0
        self.now += seconds


class Recorder:
    """A port that takes sentences, up to a number."""

    def __init__(self, watch: Watch, takes: int = 1000) -> None:
        self.watch, self.takes = watch, takes
        self.taken: list[tuple[float, bytes]] = []

    def write(self, data: bytes) -> None:
        if len(self.taken) >= self.takes:
            raise OSError("pulled out")
        self.taken.append((self.watch.now, data))

    def read(self) -> bytes:
        return b""

    def finish(self) -> None:
        pass

    def close(self) -> None:
        pass


@pytest.mark.parametrize(("pace", "rate"), [(10.0, None), (2.0, 480.0), (1000.0, 480.0)])
def test_no_sentence_comes_before_its_time(pace, rate):
    watch = Watch()
    port = Recorder(watch)
    transmit(LINES, port, words="P", pace=pace, bytes_per_second=rate, sleep=watch.sleep,
             clock=watch.clock)  # fmt: skip
    assert b"".join(data for _, data in port.taken).decode() == "".join(LINES)
    for (before, data), (after, _) in zip(port.taken, port.taken[1:], strict=False):
        needed = max(1 / pace, len(data) / rate if rate else 0.0)
        assert after - before == pytest.approx(needed)


@pytest.mark.parametrize("takes", [0, 3])
def test_a_port_that_goes_away_is_said(takes):
    watch = Watch()
    with pytest.raises(InputError) as caught:
        transmit(LINES, Recorder(watch, takes), words="the port", sleep=watch.sleep,
                 clock=watch.clock)  # fmt: skip
    assert f"went away (pulled out) after {takes} of {len(LINES)} sentences" in str(caught.value)
    assert "nothing is claimed sent" in str(caught.value)


def test_to_a_file_at_once(tmp_path):
    send(LINES, parse_target(str(tmp_path / "r.nmea")))
    assert (tmp_path / "r.nmea").read_bytes() == "".join(LINES).encode()
    with pytest.raises(InputError, match="is an input"):
        send(LINES, parse_target(str(tmp_path / "r.nmea")), inputs=[tmp_path / "r.nmea"])


def test_over_tcp():
    received = bytearray()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def receive() -> None:
            connection, _ = server.accept()
            with connection:
                while data := connection.recv(100):
                    received.extend(data)

        thread = threading.Thread(target=receive)
        thread.start()
        send(LINES, parse_target(f"tcp://127.0.0.1:{server.getsockname()[1]}"), pace=1000)
        thread.join(5)
    assert received.decode() == "".join(LINES)


@pytest.mark.parametrize("taken", [1, len(LINES)], ids=["early", "before the last is read"])
def test_a_tcp_end_that_closes_is_noticed(taken):
    with socket.create_server(("127.0.0.1", 0)) as server:

        def receive() -> None:
            connection, _ = server.accept()
            with connection:
                # Closing with bytes unread is what resets the connection.
                connection.recv(sum(map(len, LINES[:taken])) - 5, socket.MSG_WAITALL)
                time.sleep(0.05)

        thread = threading.Thread(target=receive)
        thread.start()
        with pytest.raises(InputError, match="nothing is claimed sent"):
            send(LINES, parse_target(f"tcp://127.0.0.1:{server.getsockname()[1]}"), pace=50)
        thread.join(5)


def test_as_datagrams():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(5.0)
        send(LINES, parse_target(f"udp://127.0.0.1:{receiver.getsockname()[1]}"), pace=1000)
        assert [receiver.recv(100).decode() for _ in LINES] == list(LINES)


def test_nobody_listening_is_said():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(InputError, match=f"can't open tcp://127.0.0.1:{port}: "):
        send(LINES, parse_target(f"tcp://127.0.0.1:{port}"))


def test_down_a_serial_line():
    pytest.importorskip("serial")
    master, slave = os.openpty()
    try:
        watch = Watch()
        target = parse_target(f"serial:{os.ttyname(slave)}:4800")
        send(LINES, target, pace=1000, sleep=watch.sleep, clock=watch.clock)
        received = os.read(master, 100_000)
        while len(received) < sum(map(len, LINES)):
            received += os.read(master, 100_000)
    finally:
        os.close(master)
        os.close(slave)
    assert received.decode() == "".join(LINES)
    # 4800 baud carries 480 bytes a second, whatever pace was asked for.
    assert watch.now == pytest.approx(len(received) / 480.0, rel=0.05)


def test_a_serial_port_that_is_pulled_out():
    pytest.importorskip("serial")
    master, slave = os.openpty()
    name = os.ttyname(slave)
    os.close(slave)
    waits = []

    def sleep(_: float) -> None:
        waits.append(1)
        if len(waits) == 3:
            os.close(master)

    with pytest.raises(InputError, match=rf"{name} went away .* after 3 of {len(LINES)} sentences"):
        send(LINES, parse_target(f"serial:{name}"), sleep=sleep, clock=lambda: 0.0)


def test_a_serial_port_that_is_not_there(tmp_path):
    pytest.importorskip("serial")
    with pytest.raises(InputError, match=r"can't open .*No such file"):
        send(LINES, parse_target(f"serial:{tmp_path}/ttyX"))


@pytest.mark.parametrize(
    "text",
    ["", "tcp://", "tcp://host", "tcp://host:0", "tcp://host:99999", "tcp://:10", "tcp:host:10",
     "tcp://host:10/x", "serial:", "serial:@4800", "serial:/dev/tty@", "serial:/dev/tty@4801",
     "serial:/dev/tty@fast", "serial:/dev/tty:4801", "udp://:10110", "http://host:1"],
)  # fmt: skip
def test_bad_targets_are_refused(text):
    with pytest.raises(InputError, match="expected"):
        parse_target(text)


def test_targets():
    assert parse_target("tcp://[::1]:10110") == Address(kind="tcp", host="::1", port=10110)
    assert parse_target("udp://255.255.255.255:10110").kind == "udp"
    assert parse_target("serial:COM3") == Address(kind="serial", path="COM3", baud=4800)
    assert parse_target("serial:/dev/ttyUSB0:38400").baud == 38400
    assert parse_target("serial:/dev/ttyUSB0@38400").baud == 38400
    assert parse_target("route.nmea") == Address(kind="file", path="route.nmea")


@pytest.mark.parametrize("pace", [0.0, -1.0, float("nan"), 1e9])
def test_bad_paces_are_refused(pace):
    with pytest.raises(InputError, match="pace"):
        send(LINES, parse_target("serial:x"), pace=pace)
