"""The own panel server attacked: by strangers' pages, by neighbours, by nonsense."""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path
from typing import Any

import pytest

from goosewing.errors import InputError, NoPlanError
from goosewing.live.panel.counter import Refusal
from goosewing.live.panel.guard import Guard, RefusedError
from goosewing.live.panel.server import PanelServer, outward, page_folder, serve
from panel_counters import SmallCounter
from signalk_host import listeners

READ = ("/", "/main.js", "/api/panel", "/api/polar", "/api/plan", "/api/routes", "/api/export/gpx")
META = '<meta name="goosewing-api" content="/signalk/v1/api/goosewing">'


class Answer:
    def __init__(self, got: http.client.HTTPResponse) -> None:
        self.code = got.status
        self.headers = {k.lower(): v for k, v in got.getheaders()}
        self.raw = got.read()

    @property
    def json(self) -> Any:
        return json.loads(self.raw)


def ask(
    server: PanelServer,
    path: str,
    *,
    method: str = "GET",
    headers: dict[str, str] | None = None,
    body: bytes | None = None,
) -> Answer:
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    with closing(line):
        line.request(method, path, body, headers or {})
        return Answer(line.getresponse())


def order(server: PanelServer, name: str, body: Any = None, **headers: str) -> Answer:
    kind = {
        "Content-Type": "application/json",
        **{k.replace("_", "-"): v for k, v in headers.items()},
    }
    raw = json.dumps({} if body is None else body).encode()
    return ask(server, f"/api/{name}", method="POST", headers=kind, body=raw)


def raw(server: PanelServer, text: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        line.sendall(text)
        said = b""
        while more := line.recv(65536):
            said += more
        return said


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    room = tmp_path_factory.mktemp("page")
    (room / "secret.txt").write_text("of nobody's business")
    folder = room / "public"
    (folder / "parts").mkdir(parents=True)
    (folder / "index.html").write_text(f"<!doctype html>{META}<title>Page</title>")
    (folder / "main.js").write_text("export {}")
    (folder / "parts" / "one.css").write_text("p {}")
    (folder / "link.txt").symlink_to(room / "secret.txt")
    return folder


@pytest.fixture
def counter() -> SmallCounter:
    return SmallCounter()


@pytest.fixture
def server(counter: SmallCounter, pages: Path) -> Iterator[PanelServer]:
    with serve(counter, port=0, pages=pages) as running:
        yield running
    counter.held.set()


@pytest.fixture
def locked(counter: SmallCounter, pages: Path) -> Iterator[PanelServer]:
    """One that is open to the boat's network, hence asks for a token."""
    with serve(counter, host="0.0.0.0", port=0, pages=pages) as running:
        yield running


# ---- what it serves --------------------------------------------------------------------------


def test_page_reads_its_documents_here(server):
    page = ask(server, "/")
    assert (page.code, page.headers["content-type"]) == (200, "text/html; charset=utf-8")
    assert b'<meta name="goosewing-api" content="/api">' in page.raw
    assert ask(server, "/index.html").raw == page.raw
    script = ask(server, "/main.js")
    assert script.headers["content-type"].startswith("text/javascript")
    assert ask(server, "/parts/one.css").headers["content-type"].startswith("text/css")


def test_documents_are_the_counters(server, counter):
    counter.shown = {"format": "goosewing.panel/1", "state": "advising", "words": "Ærø 048°"}
    answer = ask(server, "/api/panel")
    assert answer.headers["content-type"].startswith("application/json")
    assert answer.json == counter.shown
    assert ask(server, "/api/polar").json is None
    assert ask(server, "/api/plan").json is None
    assert ask(server, "/api/routes").json == counter.routes()


def test_coast_of_a_box(server, counter):
    answer = ask(server, "/api/coast?south=56&west=12&north=57.5&east=13")
    assert answer.json["credit"] == "nobody"
    assert counter.boxes == [(56.0, 12.0, 57.5, 13.0)]


@pytest.mark.parametrize(
    "query",
    [
        "",
        "south=56&west=12&north=57",
        "south=a&west=12&north=57&east=13",
        "south=57&west=12&north=56&east=13",
        "south=nan&west=12&north=57&east=13",
        "south=-inf&west=12&north=57&east=13",
        "south=56&west=12&north=91&east=13",
        "south=56&west=-1e9&north=57&east=13",
    ],
)
def test_box_that_is_none(server, counter, query):
    answer = ask(server, f"/api/coast?{query}")
    assert (answer.code, answer.json["state"]) == (400, "FAILED")
    assert counter.boxes == []


def test_export_is_saved_as_a_file(server):
    answer = ask(server, "/api/export/gpx")
    assert answer.raw.decode() == "<gpx>Ærø</gpx>"
    assert answer.headers["content-disposition"] == 'attachment; filename="goosewing-plan.gpx"'
    assert answer.headers["content-type"] == "application/gpx+xml; charset=utf-8"
    refused = ask(server, "/api/export/handheld")
    assert (refused.code, refused.json["message"]) == (409, "there is no plan")
    assert ask(server, "/api/export/exe").code == 404


def test_orders_reach_the_counter(server, counter):
    answer = order(server, "plan", {"routeId": "a"})
    assert answer.json == {"state": "COMPLETED", "statusCode": 200, "name": "Afternoon"}
    order(server, "acknowledge", {"point": "T1"})
    order(server, "clear")
    assert counter.ordered == [
        ("plan", {"routeId": "a"}),
        ("acknowledge", {"point": "T1"}),
        ("clear", {}),
    ]


def test_order_that_is_refused(server, counter):
    counter.fault = Refusal(404, "there is no route x")
    answer = order(server, "plan", {"routeId": "x"})
    assert answer.code == 404
    assert answer.json == {"state": "FAILED", "statusCode": 404, "message": "there is no route x"}


def test_there_is_no_host_to_activate_in(server, counter):
    assert order(server, "activate").code == 404
    assert counter.ordered == []


# ---- a page of another origin ----------------------------------------------------------------

FOREIGN_HOSTS = [
    "evil.example",
    "evil.example:{port}",
    "127.0.0.1",
    "127.0.0.1:1",
    "127.0.0.1:{port}.evil.example",
    "localhost.evil.example:{port}",
    "2130706433:{port}",
    "",
]


@pytest.mark.parametrize("named", FOREIGN_HOSTS)
@pytest.mark.parametrize("path", ["/", "/api/panel"])
def test_a_name_that_was_pointed_here(server, named, path):
    answer = ask(server, path, headers={"Host": named.format(port=server.port)})
    assert answer.code in (400, 403)
    assert b"goosewing.panel" not in answer.raw


@pytest.mark.parametrize("named", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
def test_our_own_names(server, named):
    headers = {"Host": f"{named}:{server.port}", "Origin": f"http://{named}:{server.port}"}
    assert ask(server, "/api/panel", headers=headers).code == 200


def test_two_hosts_or_none(server):
    ours = b"Host: 127.0.0.1:%d\r\n" % server.port
    for heads in (b"", ours + b"Host: evil.example\r\n", b"Host: evil.example\r\n" + ours):
        said = raw(server, b"GET /api/panel HTTP/1.1\r\n" + heads + b"Connection: close\r\n\r\n")
        assert said.split()[1] in (b"400", b"403")
        assert b"goosewing.panel" not in said


@pytest.mark.parametrize("path", READ)
@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://127.0.0.1:{port}"},
        {"Origin": "http://localhost:{port}"},  # ours, but not the one that was asked
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_another_page_reads_nothing(server, path, headers):
    filled = {k: v.format(port=server.port) for k, v in headers.items()}
    answer = ask(server, path, headers=filled)
    assert (answer.code, answer.json["state"]) == (403, "FAILED")


@pytest.mark.parametrize("path", READ)
def test_our_own_page_reads(server, path):
    ours = {"Origin": f"http://127.0.0.1:{server.port}", "Sec-Fetch-Site": "same-origin"}
    assert ask(server, path, headers=ours).code == 200


def test_another_page_orders_nothing(server, counter):
    assert order(server, "clear", Origin="http://evil.example").code == 403
    assert order(server, "clear", Sec_Fetch_Site="same-site").code == 403
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "",
                 "text/plain;application/json", "application/jsonp"):  # fmt: skip
        answer = ask(
            server, "/api/clear", method="POST", headers={"Content-Type": kind}, body=b"{}"
        )
        assert answer.code == 415, kind
    for path in ("/api/clear", "/api/plan?routeId=a", "/api/acknowledge?point=T1"):
        ask(server, path)
        ask(server, path, method="HEAD")
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
        assert ask(server, "/api/clear", method=method).code in (404, 405)
    assert counter.ordered == []


@pytest.mark.parametrize("path", [*READ, "/api/nothing", "/nothing", "/api/coast"])
@pytest.mark.parametrize("method", ["GET", "POST", "OPTIONS"])
def test_headers_of_every_answer(server, path, method):
    asked = {"Access-Control-Request-Method": "POST", "Origin": f"http://127.0.0.1:{server.port}"}
    for headers in ({}, asked, {"Origin": "http://evil.example"}):
        got = ask(server, path, method=method, headers=headers).headers
        assert not [name for name in got if name.startswith("access-control")]
        policy = got["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert got["x-frame-options"] == "DENY"
        assert got["x-content-type-options"] == "nosniff"
        assert got["referrer-policy"] == "no-referrer"
        assert got["cross-origin-resource-policy"] == "same-origin"
        assert "Python" not in got["server"]
        if path.startswith("/api"):
            assert got["cache-control"] == "no-store"


# ---- nonsense --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/../secret.txt",
        "/parts/../../secret.txt",
        "/..%2fsecret.txt",
        "/%2e%2e/secret.txt",
        "/..%5csecret.txt",
        "//etc/passwd",
        "/%2fetc%2fpasswd",
        "/parts/..%2f..%2fsecret.txt",
        "/link.txt",
        "/parts",
        "/parts/",
        "/main.js%00",
        "/api/../main.js",
        "/api/export/..%2f..%2fplan",
    ],
)
def test_no_path_leads_out_of_the_page(server, path):
    answer = ask(server, path)
    assert answer.code in (400, 404)
    assert b"business" not in answer.raw
    assert b"root:" not in answer.raw


@pytest.mark.parametrize(
    "body",
    [b"{", b"[]", b"3", b'"plan"', b"null", b"\xff\xfe", b"[" * 60000, b'{"a": 1} x'],
)
def test_order_that_is_no_object(server, counter, body):
    headers = {"Content-Type": "application/json"}
    answer = ask(server, "/api/plan", method="POST", headers=headers, body=body)
    assert answer.code == 400
    assert "\n" not in answer.json["message"]
    assert counter.ordered == []


def test_order_without_end(server, counter):
    large = b'{"routeId": "' + b"a" * 70_000 + b'"}'
    headers = {"Content-Type": "application/json"}
    answer = ask(server, "/api/plan", method="POST", headers=headers, body=large)
    assert (answer.code, answer.json["message"]) == (413, "an order of more than 64 kB")
    assert counter.ordered == []


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (ZeroDivisionError("secret detail"), 500, "a fault in the engine (ZeroDivisionError)"),
        (InputError("the wind is missing"), 400, "the wind is missing"),
        (NoPlanError("no way there"), 400, "no way there"),
        (Refusal(503, "two\nlines"), 503, "two lines"),
        (Refusal(200, "odd"), 500, "odd"),
    ],
)
def test_counter_in_trouble(server, counter, fault, code, said):
    counter.fault = fault
    for answer in (
        ask(server, "/api/panel"),
        ask(server, "/api/export/gpx"),
        order(server, "clear"),
    ):
        assert answer.code == code
        assert answer.json == {"state": "FAILED", "statusCode": code, "message": said}
    counter.fault = None
    assert ask(server, "/api/panel").code == 200


def test_figures_that_are_none_are_not_told(server, counter):
    counter.shown = {"figures": {"vmg_kn": float("nan")}}
    assert ask(server, "/api/panel").code == 500


@pytest.mark.parametrize(
    "text",
    [
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
        b"GET\r\n\r\n",
        b"\0" * 9000 + b"\r\n\r\n",
    ],
)
def test_what_is_no_request(server, text):
    said = raw(server, text)
    assert b"Traceback" not in said
    assert b"site-packages" not in said
    assert ask(server, "/api/panel").code == 200


def test_the_slow_and_the_hung_hold_up_nobody(server, counter):
    counter.held.clear()
    here = ("127.0.0.1", server.port)
    with ExitStack() as lines:
        for text in (
            b"GET /api/panel HTT",
            b"POST /api/plan HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Type: application/json\r\n"
            b"Content-Length: 900\r\n\r\n{" % server.port,
            b"GET /api/coast?south=56&west=12&north=57&east=13 HTTP/1.1\r\n"
            b"Host: 127.0.0.1:%d\r\n\r\n" % server.port,
            b"GET /api/export/gpx HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n" % server.port,
        ):
            for _ in range(3):  # Of one address more than some are not let in at all.
                lines.enter_context(socket.create_connection(here, timeout=30)).sendall(text)
        begun = time.monotonic()
        for _ in range(5):
            assert ask(server, "/api/panel").code == 200
        assert time.monotonic() - begun < 2.0
    counter.held.set()


def test_it_ends_at_once_whoever_hangs(counter, pages):
    running = serve(counter, port=0, pages=pages)
    with socket.create_connection(("127.0.0.1", running.port), timeout=30) as line:
        line.sendall(b"POST /api/plan HTTP/1.1\r\n")
        begun = time.monotonic()
        running.close()
        running.close()
        assert time.monotonic() - begun < 2.0
        # Cut, and not left lying until somebody collects it.
        with suppress(ConnectionResetError):
            assert line.recv(1) == b""
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", running.port), timeout=1)


# ---- where it listens, and for whom ----------------------------------------------------------


def own_listeners(port: int) -> list[str]:
    return [line for line in listeners(os.getpid()) if line.endswith(f":{port:04X}")]


def test_it_listens_on_this_machine_only(server):
    assert own_listeners(server.port) == [f"tcp 0100007F:{server.port:04X}"]
    assert server.url == f"http://127.0.0.1:{server.port}/"
    assert server.token is None


def test_the_same_port_again(counter, pages):
    with serve(counter, port=0, pages=pages) as first:
        port = first.port
        with pytest.raises(InputError, match=f"^port {port} is taken") as told:
            serve(counter, port=port, pages=pages)
        assert "\n" not in str(told.value)
    with serve(counter, port=port, pages=pages) as again:
        assert ask(again, "/api/panel").code == 200


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"port": 70000}, "port: expected 0 to 65535, got 70000"),
        ({"port": 0, "host": "203.0.113.9"}, "no interface '203.0.113.9'"),
        ({"port": 0, "host": "no such name"}, "no interface 'no such name'"),
        ({"port": 0, "token": "short"}, "token: expected 16"),
        ({"port": 0, "token": "ø" * 20}, "token: expected 16"),
    ],
)
def test_what_cant_be_served(counter, pages, how, said):
    with pytest.raises(InputError) as told:
        serve(counter, pages=pages, **how)
    assert str(told.value).startswith(said)
    assert "\n" not in str(told.value)


def test_a_folder_that_is_no_page(counter, tmp_path):
    with pytest.raises(InputError, match=r"index\.html"):
        serve(counter, port=0, pages=tmp_path)
    (tmp_path / "index.html").write_text("<!doctype html>")
    with pytest.raises(InputError, match="goosewing-api"):
        serve(counter, port=0, pages=tmp_path)


def test_another_interface_asks_for_a_token(locked):
    assert len(locked.token) >= 32
    assert locked.url.endswith(f"/?token={locked.token}")
    for path in READ:
        assert ask(locked, path).code == 401
    assert order(locked, "clear").code == 401
    wrong = {"Authorization": f"Bearer {locked.token}x"}
    assert ask(locked, "/api/panel", headers=wrong).code == 401
    for nothing in ("", "Bearer", "Bearer ", "Basic Og==", f"Basic {locked.token}"):
        assert ask(locked, "/api/panel", headers={"Authorization": nothing}).code == 401
    right = {"Authorization": f"Bearer {locked.token}"}
    assert ask(locked, "/api/panel", headers=right).code == 200
    assert order(locked, "clear", **right).code == 200


@pytest.mark.skipif(outward() is None, reason="this machine is in no network")
def test_the_address_told_is_reached_and_forgets_its_token(locked):
    assert "127.0.0.1" not in locked.url
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with browser.open(locked.url, timeout=30) as page:
        assert page.url == locked.url.partition("?")[0]
        assert META.encode() not in page.read()
    with browser.open(f"{page.url}api/panel", timeout=30) as answer:
        assert json.load(answer)["format"] == "goosewing.panel/1"


def test_tokens_are_not_the_same_twice(counter, pages):
    how = {"host": "0.0.0.0", "port": 0, "pages": pages}
    with serve(counter, **how) as one, serve(counter, **how) as other:
        assert one.token != other.token


def test_the_token_is_exchanged_for_a_cookie(locked):
    given = ask(locked, f"/?token={locked.token}")
    assert (given.code, given.headers["location"]) == (303, "/")
    crumbs = [part.strip() for part in given.headers["set-cookie"].split(";")]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(crumbs)
    assert locked.token not in given.headers["set-cookie"]
    assert ask(locked, "/", headers={"Cookie": crumbs[0]}).code == 200
    assert ask(locked, "/api/panel", headers={"Cookie": crumbs[0]}).code == 200
    name, _, value = crumbs[0].partition("=")
    for wrong in (f"{name}=", f"{name}={value[:-1]}", f"other={value}", f"{name}={locked.token}"):
        assert ask(locked, "/api/panel", headers={"Cookie": wrong}).code == 401


def test_a_wrong_token_gives_no_cookie(locked):
    for wrong in ("", "x", locked.token[:-1], "%ff%fe"):
        answer = ask(locked, f"/?token={wrong}")
        assert answer.code == 401
        assert "set-cookie" not in answer.headers
    # Only the page's own address takes it: elsewhere it would end in logs and links.
    assert ask(locked, f"/api/panel?token={locked.token}").code == 401


def test_a_cookie_does_not_open_it_to_another_page(locked):
    crumb = ask(locked, f"/?token={locked.token}").headers["set-cookie"].split(";")[0]
    headers = {"Cookie": crumb, "Origin": "http://evil.example"}
    assert ask(locked, "/api/panel", headers=headers).code == 403


def test_a_cookie_outlives_a_restart_with_the_same_token(counter, pages):
    token = "a-token-of-the-skipper"
    with serve(counter, port=0, pages=pages, token=token) as running:
        crumb = ask(running, f"/?token={token}").headers["set-cookie"].split(";")[0]
        port = running.port
    with serve(counter, port=port, pages=pages, token=token) as again:
        assert ask(again, "/api/panel", headers={"Cookie": crumb}).code == 200


def test_on_every_interface_numbers_stand_for_it_and_strangers_names_do_not(locked):
    guard = Guard(address="0.0.0.0", port=locked.port, token=locked.token)
    guard.check_host([f"192.168.1.7:{locked.port}"])
    guard.check_host([f"[fe80::1]:{locked.port}"])
    guard.check_host([f"{socket.gethostname()}:{locked.port}".lower()])
    for named in (f"evil.example:{locked.port}", "192.168.1.7", "192.168.1.7:1"):
        with pytest.raises(RefusedError):
            guard.check_host([named])


def test_a_told_address_stands_for_itself_only():
    guard = Guard(address="192.168.1.7", port=8080)
    guard.check_host(["192.168.1.7:8080"])
    for named in ("192.168.1.8:8080", "127.0.0.1:8080", "localhost:8080"):
        with pytest.raises(RefusedError):
            guard.check_host([named])
    Guard(address="127.0.0.1", port=80).check_host(["localhost"])
    for named in ([], ["192.168.1.7:8080", "192.168.1.7:8080"]):
        with pytest.raises(RefusedError):
            guard.check_host(named)


# ---- the package -----------------------------------------------------------------------------


def test_without_the_extra_one_line_says_how_to_get_it():
    code = (
        "import sys\nsys.modules['aiohttp'] = None\n"
        "from goosewing.errors import InputError\n"
        "from goosewing.live.panel.server import serve\n"
        "try:\n    serve(None, port=0)\nexcept InputError as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    expected = 'the panel needs aiohttp: in Goosewing\'s folder, pip install ".[panel]"\n'
    assert done.stdout == expected


def test_the_page_is_found_in_the_checkout_and_lies_in_the_wheel(wheel):
    folder = page_folder()
    here = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    packed = {
        name.removeprefix("goosewing/panel_pages/")
        for name in zipfile.ZipFile(wheel).namelist()
        if name.startswith("goosewing/panel_pages/")
    }
    assert "index.html" in here
    assert here == packed


def test_the_page_is_found_in_an_installed_wheel(wheel, tmp_path):
    zipfile.ZipFile(wheel).extractall(tmp_path)
    code = "from goosewing.live.panel.server import page_folder\nprint(page_folder())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": str(tmp_path), "PATH": "/usr/bin"},
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    assert done.stdout.strip() == str(tmp_path / "goosewing" / "panel_pages")
