"""Links that drop, wait, and come back: real sockets on this machine, a pair of terminals."""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
from collections.abc import Callable
from contextlib import contextmanager

import pytest

from goosewing.errors import InputError
from goosewing.exchange.nmea import wires
from goosewing.exchange.nmea.routes import format_rte, format_wpl
from goosewing.exchange.nmea.wires import Address, Listener, Sender, parse_address, parse_receiver

LINE = b"$GPHDT,274.07,T*03\r\n"


@pytest.fixture(autouse=True)
def in_haste(monkeypatch):
    """Tests don't wait as long as a boat does."""
    monkeypatch.setattr(wires, "LOOK_S", 0.05)
    monkeypatch.setattr(wires, "LONGEST_WAIT_S", 0.1)
    real = threading.Event.wait
    monkeypatch.setattr(
        threading.Event, "wait", lambda self, s=None: real(self, s and min(s, 0.05))
    )


def until(what: Callable[[], object], within_s: float = 60.0) -> None:
    ends = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < ends, "waited in vain"
        time.sleep(0.01)


class Ear:
    def __init__(self) -> None:
        self.data = b""
        self.told: list[str] = []

    def hear(self, data: bytes) -> None:
        self.data += data


@contextmanager
def listening(address: Address):
    ear = Ear()
    link = Listener(address, ear.hear, ear.told.append)
    link.start()
    try:
        yield ear
    finally:
        link.end()
        assert not link._thread.is_alive()


def served(port: int = 0) -> socket.socket:
    server = socket.socket()
    server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    server.bind(("127.0.0.1", port))
    server.listen()
    server.settimeout(10)
    return server


def tcp(port: int) -> Address:
    return Address(kind="tcp", host="127.0.0.1", port=port)


def free_port() -> int:
    with served() as server:
        return int(server.getsockname()[1])


# ---- what is written on the command line ----------------------------------------------------


def test_addresses():
    assert parse_address("tcp://10.0.0.1:10110") == Address(kind="tcp", host="10.0.0.1", port=10110)
    assert parse_address("udp://:2000") == Address(kind="udp", port=2000)
    assert parse_address("udp://[::1]:2000").host == "::1"
    assert parse_address("serial:/dev/ttyUSB0") == Address(kind="serial", path="/dev/ttyUSB0")
    for text in (
        "serial:/dev/serial/by-id/usb-a:b:38400",
        "serial:/dev/serial/by-id/usb-a:b@38400",
    ):
        assert parse_address(text) == Address(
            kind="serial", path="/dev/serial/by-id/usb-a:b", baud=38400
        )
    assert parse_address("serial:COM3").path == "COM3"
    assert parse_address("log.nmea") == Address(kind="file", path="log.nmea")


@pytest.mark.parametrize(
    "text",
    ["", " ", "tcp://host", "tcp:host:1", "tcp://:1", "tcp://host:0", "tcp://host:70000",
     "tcp://host:1/x", "udp://host", "serial:", "serial::4800", "serial:/dev/x:4801",
     "http://host:1", "tcp://[::1:10"],
)  # fmt: skip
def test_addresses_that_are_none(text):
    with pytest.raises(InputError, match="expected"):
        parse_address(text)


@pytest.mark.parametrize("text", ["udp://:2000", "file.nmea", "tcp://host"])
def test_receivers_that_are_none(text):
    with pytest.raises(InputError, match="expected"):
        parse_receiver(text)


def test_a_log_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        wires.check(Address(kind="file", path=str(tmp_path / "none")))
    with pytest.raises(InputError, match="is a folder"):
        wires.check(Address(kind="file", path=str(tmp_path)))
    with pytest.raises(InputError, match="is a device: write serial:"):
        wires.check(Address(kind="file", path="/dev/null"))


def test_serial_without_its_extra_is_told_at_once(monkeypatch):
    monkeypatch.setitem(sys.modules, "serial", None)
    with pytest.raises(InputError, match="pip install"):
        wires.check(parse_address("serial:/dev/ttyUSB0"))


# ---- TCP ---------------------------------------------------------------------------------------


def test_a_connection_that_drops_comes_back_and_is_told_once_each():
    with served() as server, listening(tcp(server.getsockname()[1])) as ear:
        for _ in range(2):
            connection, _ = server.accept()
            connection.sendall(LINE)
            until(lambda: ear.data.endswith(LINE))
            connection.close()
        connection, _ = server.accept()
        connection.sendall(LINE)
        until(lambda: ear.data == LINE * 3)
        connection.close()
    gone = [words for words in ear.told if "dropped" in words]
    assert len(gone) in (2, 3)
    assert sum("is there." in words for words in ear.told) == 2


def test_a_server_that_is_not_there_is_tried_until_it_is():
    port = free_port()
    with listening(tcp(port)) as ear:
        until(lambda: ear.told)
        time.sleep(0.4)  # Several tries, one word.
        assert len(ear.told) == 1
        assert "is not there" in ear.told[0]
        with served(port) as server:
            connection, _ = server.accept()
            connection.sendall(LINE)
            until(lambda: ear.data == LINE)
            connection.close()
    assert ear.told[1].endswith("is there.")


def test_a_server_that_opens_and_shuts_is_told_once():
    with served() as server, listening(tcp(server.getsockname()[1])) as ear:
        for _ in range(4):
            server.accept()[0].close()
    assert len(ear.told) == 1


def test_a_name_that_means_nothing_is_tried_again():
    with listening(Address(kind="tcp", host="no-such-host.invalid", port=1)) as ear:
        until(lambda: ear.told)
    assert "is not there" in ear.told[0]


def test_the_wait_between_tries_grows_to_ten_seconds_and_no_more(monkeypatch):
    monkeypatch.undo()
    waits: list[float] = []

    class Ending(threading.Event):
        def wait(self, timeout=None):
            waits.append(timeout)
            if len(waits) == 8:
                self.set()
            return True

    link = Listener(tcp(free_port()), print, lambda _: None)
    link._ending = Ending()
    link._run()
    assert waits == [1.0, 2.0, 4.0, 8.0, 10.0, 10.0, 10.0, 10.0]


# ---- UDP -----------------------------------------------------------------------------------------


def test_datagrams_from_several_senders_with_or_without_their_line_ends():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with listening(Address(kind="udp", host="127.0.0.1", port=port)) as ear:
        for data in (LINE.strip(), LINE, LINE * 2):
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
                out.sendto(data, ("127.0.0.1", port))
        until(lambda: ear.data.count(LINE) == 4)


def test_a_port_in_use_is_refused_at_once():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        address = Address(kind="udp", host="127.0.0.1", port=taken.getsockname()[1])
        with pytest.raises(InputError, match="can't listen on"):
            Listener(address, print, print)


# ---- serial --------------------------------------------------------------------------------------


@pytest.fixture
def terminals():
    if sys.platform == "win32":
        pytest.skip("no pairs of terminals here")
    import tty

    ours, theirs = os.openpty()
    tty.setraw(theirs)
    yield ours, os.ttyname(theirs)
    for handle in (ours, theirs):
        os.close(handle)


def test_a_serial_line(terminals):
    ours, device = terminals
    with listening(Address(kind="serial", path=device)) as ear:
        # What is written before the line is opened is lost: again, until it is heard.
        until(lambda: (os.write(ours, LINE), time.sleep(0.05), LINE in ear.data)[2])


def test_a_serial_device_that_is_not_plugged_in_is_waited_for(tmp_path, terminals):
    ours, device = terminals
    plug = tmp_path / "ttyUSB0"
    with listening(Address(kind="serial", path=str(plug))) as ear:
        until(lambda: ear.told)
        plug.symlink_to(device)
        until(lambda: (os.write(ours, LINE), LINE in ear.data)[1])
        until(lambda: len(ear.told) == 2)
    assert "is not there" in ear.told[0]


def test_sentences_down_a_serial_line_are_no_faster_than_it_carries(terminals):
    ours, device = terminals
    sender = Sender(Address(kind="serial", path=device, baud=4800), print, pace=1000.0)
    sender.route([format_wpl(57.5, 11.3, f"A{n}") for n in range(10)])
    begun = time.monotonic()
    sender.start()
    data = b""
    while data.count(b"\n") < 10:
        data += os.read(ours, 4096)
    took = time.monotonic() - begun
    sender.end()
    # 4800 baud carry 480 bytes a second (start bit, eight bits, stop bit).
    assert took > 0.8 * (len(data) - 40) / 480.0


# ---- sending -----------------------------------------------------------------------------------


def received(connection: socket.socket, lines: int) -> list[str]:
    connection.settimeout(10)
    data = b""
    while data.count(b"\n") < lines:
        more = connection.recv(4096)
        assert more, data
        data += more
    return data.decode("ascii").splitlines()


def test_a_route_is_sent_again_after_a_break():
    told: list[str] = []
    route = [format_wpl(57.5, 11.3, "A"), *format_rte(["A"], "1")]
    with served() as server:
        sender = Sender(tcp(server.getsockname()[1]), told.append, pace=1000.0)
        sender.start()
        sender.route(route)
        for _ in range(2):
            connection, _ = server.accept()
            assert received(connection, 2) == [each.strip() for each in route]
            connection.close()
        sender.end()
    assert sum("dropped" in words for words in told) in (1, 2)  # The second may go unseen.


def test_without_advice_a_route_is_not_sent_again_until_there_is_some():
    route = [format_wpl(57.5, 11.3, "A"), *format_rte(["A"], "1")]
    with served() as server:
        sender = Sender(tcp(server.getsockname()[1]), print, pace=1000.0)
        sender.start()
        assert not sender.route(route)
        connection, _ = server.accept()
        received(connection, 2)
        sender.hold(True)
        connection.close()
        connection, _ = server.accept()
        connection.settimeout(0.5)
        with pytest.raises(TimeoutError):
            connection.recv(4096)
        sender.hold(False)
        assert received(connection, 2) == [each.strip() for each in route]
        assert sender.route(())
        connection.close()
        connection, _ = server.accept()
        connection.settimeout(0.5)
        with pytest.raises(TimeoutError):
            connection.recv(4096)
        sender.end()
        connection.close()


def test_steering_data_come_before_a_route_and_only_the_newest():
    with served() as server:
        sender = Sender(tcp(server.getsockname()[1]), print, pace=1000.0)
        sender.route([format_wpl(57.5, 11.3, f"A{n}") for n in range(20)])
        sender.steer(["$OLD\r\n"])
        sender.steer(["$NEW\r\n"])
        sender.start()
        connection, _ = server.accept()
        found = received(connection, 21)
        sender.end()
        connection.close()
    assert found[0] == "$NEW"
    assert "$OLD" not in found


def test_a_new_route_takes_the_place_of_what_is_unsent():
    with served() as server:
        sender = Sender(tcp(server.getsockname()[1]), print, pace=50.0)
        sender.start()
        sender.route([format_wpl(57.5, 11.3, f"A{n}") for n in range(500)])
        connection, _ = server.accept()
        received(connection, 3)
        sender.route(["$LAST\r\n"])
        begun = time.monotonic()
        while "$LAST" not in received(connection, 1):
            assert time.monotonic() - begun < 5.0
        sender.end()
        connection.close()


def test_what_is_to_be_steered_last_is_still_sent_at_the_end():
    with served() as server:
        sender = Sender(tcp(server.getsockname()[1]), print, pace=1000.0)
        sender.start()
        connection, _ = server.accept()
        sender.steer(["$A\r\n", "$B\r\n", "$C\r\n"])
        sender.end()
        assert received(connection, 3) == ["$A", "$B", "$C"]
        assert connection.recv(10) == b""  # And closed.
        connection.close()


def test_datagrams_go_out():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as plotter:
        plotter.bind(("127.0.0.1", 0))
        plotter.settimeout(10)
        sender = Sender(parse_receiver(f"udp://127.0.0.1:{plotter.getsockname()[1]}"), print)
        sender.start()
        sender.route(["$A\r\n"])
        assert plotter.recv(100) == b"$A\r\n"
        sender.end()
