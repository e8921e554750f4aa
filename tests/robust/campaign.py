"""Damaged input of every kind through the whole command line, and what came of it.

    python tests/robust/campaign.py --cases 200000 --seed 1 [--kind grib] [--tally FILE]

Each case is one file made worse by a seeded hand, read by one command in a process of its own
with a limit of memory and time: a fork of a process that has read every sound file, and for one
case in `FRESH` a new interpreter, so that what a fork inherits hides nothing. What must hold of
it is in `faults_of`; what didn't is printed, one line a case, with what makes it again
(`--only KIND:SEED --keep FOLDER`). With `--tally` it goes on where that file says it stopped.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import math
import os
import random
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve()
SAMPLES = HERE.parents[2] / "sample_routes"
REAL_GRIB = HERE.parents[1] / "data" / "nam_20180917t00_10m_wind.grib2"

SECONDS, MORE_BYTES, LONGEST_LINE = 20.0, 1_000_000_000, 300
WAITS = 10.0
"""So many times as long a case may take by the clock: the machine has other work."""

FRESH = 100
"""Of so many cases of a kind, one is read by a new interpreter."""

CODES = (0, 2, 3)
"""Done; bad input; no plan."""

STEADY = ("--wind", "315/10", "--depart", "2027-06-12T05:00Z")
BOAT = ("--boat", "brisvik/boat.toml")
PLAN = ("plan", "marks.gpx", *BOAT, *STEADY, "--no-alternatives")

COMMANDS: dict[str, tuple[tuple[str, ...], ...]] = {
    # What is made worse, and the commands that read it, `{}` being the file.
    "grib": (
        ("weather", "{}"),
        ("weather", "{}", "--at", "56.6,12", "--time", "2027-06-12T09:00Z", "--json"),
    ),
    "real-grib": (("weather", "{}"),),
    "netcdf": (("weather", "{}"),),
    "netcdf-classic": (("weather", "{}"),),
    "wind-table": (("weather", "{}"), ("plan", "marks.gpx", *BOAT, *STEADY[2:], "--wind", "{}")),
    "tides": (("weather", "{}"), (*PLAN, "--current", "{}")),
    "marks": (("plan", "{}", *BOAT, *STEADY), ("handheld", "{}", "--out", "small.gpx")),
    "boat": (("targets", "--boat", "{}"), ("boat", "check", "{}")),
    "polar": (("targets", *BOAT), PLAN),
    "heel": (("targets", *BOAT),),
    "dimensions": (("boat", "estimate", "{}", "--out", "made"),),
    "geojson": ((*PLAN, "--hazards", "{}"),),
    "hazard-gpx": ((*PLAN, "--hazards", "{}", "--clearance", "0.1"),),
    "shapefile": ((*PLAN, "--hazards", "{}"),),
    "projection": ((*PLAN, "--hazards", "shoals.shp"),),
    "card": ((*PLAN, "--variation", "3", "--deviation", "{}"),),
    "tide-heights": ((*PLAN, "--tide", "{}"),),
    "nmea": (("debrief", "{}", *BOAT),),
    "deltas": (("debrief", "{}", *BOAT),),
}
RUN = "from goosewing_cli.main import run; run()"
"""What the installed command does."""

WRITES = ("small.gpx", "made/")
"""What commands write when the file was good enough after all."""

IN_PLACE = {
    "polar": "brisvik/main-and-jib.csv",
    "heel": "brisvik/main-and-jib-heel.csv",
    "boat": "brisvik/boat.toml",
    "projection": "shoals.prj",
    "shapefile": "shoals.shp",
}
"""Files that others name; the rest stand by themselves."""

WIND_TABLE = "time,wind_from_deg,wind_kn,gust_kn,set_deg,drift_kn\n" + "".join(
    f"2027-06-12T{hour:02d}:00Z,{300 + hour},{8 + hour % 5},{12 + hour % 5},45,0.6\n"
    for hour in range(24)
)
GEOJSON = """{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"name": "Shoal"}, "geometry": {"type": "Polygon", "coordinates":
[[[12.0, 56.60], [12.1, 56.60], [12.1, 56.65], [12.0, 56.65], [12.0, 56.60]]]}},
{"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates":
[[12.2, 56.70], [12.3, 56.72]]}}, {"type": "Feature", "properties": {"name": "Rock"},
"geometry": {"type": "Point", "coordinates": [12.25, 56.55]}}]}
"""
HAZARD_GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">
<wpt lat="56.6" lon="12.1"><name>Rock</name></wpt>
<trk><name>Shoal</name><trkseg><trkpt lat="56.60" lon="12.0"/><trkpt lat="56.62" lon="12.05"/>
<trkpt lat="56.58" lon="12.06"/><trkpt lat="56.60" lon="12.0"/></trkseg></trk></gpx>
"""
CARD = "heading_deg,deviation_deg\n" + "".join(
    f"{heading},{(heading % 90) / 30 - 1.5:.1f}\n" for heading in range(0, 360, 30)
)
TIDE_HEIGHTS = "time,height_m\n" + "".join(
    f"2027-06-12T{hour:02d}:00Z,{(hour % 6) / 3:.2f}\n" for hour in range(24)
)

NASTY = (
    b"\x00", b"\xff\xfe", b"nan", b"-inf", b"1e999", b"9" * 400, b"\xe2\x80\xae", b"\xe2\x80\xa8",
    b"\x1b[2J", b"\r", b"\n\n", b'"', b"'", b"<", b"&x;", b"]]>", b"{" * 2000, b"[" * 2000,
    b"<a>" * 2000, b",", b";", b"\t", b"-", b"0", b"-1", b"1e-320", b"%s", b"../../", b"=",
)  # fmt: skip


@dataclass(frozen=True)
class Found:
    """How a case ended."""

    code: int | None
    """A signal negative; None if it hadn't ended in time."""
    out: str
    err: str
    seconds: float
    """Of processor time, its children's with it."""
    more_bytes: int
    touched: tuple[str, ...]


# ---- sound files --------------------------------------------------------------------------------


def desk(folder: Path) -> dict[str, bytes]:
    """Lay out the sample's files, and return a sound file of every kind."""
    shutil.copytree(SAMPLES / "brisvik", folder / "brisvik")
    shutil.copy(SAMPLES / "kattegat.gpx", folder / "marks.gpx")
    shapes = _shapefile(folder)
    classic, hdf = _netcdf()
    log = (SAMPLES / "brisvik_log.nmea").read_bytes().splitlines(keepends=True)
    deltas = (SAMPLES / "brisvik_log.jsonl").read_bytes().splitlines(keepends=True)
    return {
        "grib": (SAMPLES / "forecast.grib2").read_bytes(),
        "real-grib": REAL_GRIB.read_bytes(),
        "netcdf": hdf,
        "netcdf-classic": classic,
        "wind-table": WIND_TABLE.encode(),
        "tides": (SAMPLES / "tidal_stream.toml").read_bytes(),
        "marks": (SAMPLES / "kattegat.gpx").read_bytes(),
        "boat": (SAMPLES / "brisvik" / "boat.toml").read_bytes(),
        "polar": (SAMPLES / "brisvik" / "main-and-jib.csv").read_bytes(),
        "heel": (SAMPLES / "brisvik" / "main-and-jib-heel.csv").read_bytes(),
        "dimensions": (SAMPLES / "brisvik" / "dimensions.toml").read_bytes(),
        "geojson": GEOJSON.encode(),
        "hazard-gpx": HAZARD_GPX.encode(),
        "shapefile": shapes[".shp"],
        "projection": shapes[".prj"],
        "card": CARD.encode(),
        "tide-heights": TIDE_HEIGHTS.encode(),
        "nmea": b"".join(log[:400]),
        "deltas": b"".join(deltas[:200]),
    }


def _shapefile(folder: Path) -> dict[str, bytes]:
    import pyogrio
    import shapely

    box = shapely.box(12.0, 56.60, 12.1, 56.65)
    pyogrio.raw.write(
        folder / "shoals.shp", shapely.to_wkb([box]), [], [], geometry_type="Polygon",
        crs="EPSG:4326",
    )  # fmt: skip
    return {suffix: (folder / f"shoals{suffix}").read_bytes() for suffix in (".shp", ".prj")}


def _netcdf() -> tuple[bytes, bytes]:
    import numpy as np
    import xarray

    lat, lon = np.linspace(56.0, 58.0, 6), np.linspace(10.0, 13.0, 8)
    times = np.datetime64("2027-06-12T00", "ns") + np.arange(5) * np.timedelta64(3, "h")
    dataset = xarray.Dataset(coords={"time": times, "latitude": lat, "longitude": lon})
    for name, value in (("eastward_wind", 4.0), ("northward_wind", -5.0)):
        field = np.full((5, 6, 8), value, dtype=np.float32)
        attributes = {"standard_name": name, "units": "m s-1"}
        dataset[name] = (("time", "latitude", "longitude"), field, attributes)
    with tempfile.TemporaryDirectory() as folder:
        made = []
        for engine, version in (("scipy", "NETCDF3_CLASSIC"), ("h5netcdf", "NETCDF4")):
            file = Path(folder) / f"{engine}.nc"
            dataset.to_netcdf(file, engine=engine, format=version)
            made.append(file.read_bytes())
    return made[0], made[1]


# ---- made worse ---------------------------------------------------------------------------------


def worse(sound: bytes, hand: random.Random) -> bytes:
    """Damage bytes as a bad link, a full disk or a careless editor does; one to four times."""
    data = bytearray(sound)
    for _ in range(hand.choice((1, 1, 1, 2, 4))):
        hand.choice(DAMAGES)(data, hand)
    return bytes(data)


def _flip(data: bytearray, hand: random.Random) -> None:
    for _ in range(hand.choice((1, 1, 8))):
        if data:
            data[hand.randrange(len(data))] ^= 1 << hand.randrange(8)


def _cut(data: bytearray, hand: random.Random) -> None:
    del data[hand.randrange(len(data) + 1) :]


def _lose(data: bytearray, hand: random.Random) -> None:
    at = hand.randrange(len(data) + 1)
    del data[at : at + hand.choice((1, 4, 64, 1024))]


def _double(data: bytearray, hand: random.Random) -> None:
    at = hand.randrange(len(data) + 1)
    data[at:at] = data[at : at + hand.choice((1, 16, 512, 4096))]


def _put(data: bytearray, hand: random.Random) -> None:
    at = hand.randrange(len(data) + 1)
    data[at:at] = hand.choice(NASTY)


def _over(data: bytearray, hand: random.Random) -> None:
    at = hand.randrange(len(data) + 1)
    nasty = hand.choice(NASTY)[:64]
    data[at : at + len(nasty)] = nasty


def _noise(data: bytearray, hand: random.Random) -> None:
    at = hand.randrange(len(data) + 1)
    data[at : at + 8] = hand.randbytes(8)


def _head(data: bytearray, hand: random.Random) -> None:
    """Damage what declares sizes: it stands near the beginning."""
    if data:
        data[hand.randrange(min(len(data), 256))] = hand.choice((0, 1, 0x7F, 0x80, 0xFF))


def _swap(data: bytearray, hand: random.Random) -> None:
    a, b = sorted(hand.randrange(len(data) + 1) for _ in range(2))
    data[a:b] = data[a:b][::-1] if hand.random() < 0.2 else data[a:b].swapcase()


DAMAGES = (_flip, _flip, _cut, _lose, _double, _put, _over, _noise, _head, _swap)


def warm(folder: Path, sound: dict[str, bytes]) -> None:
    """Read every sound file once, so that forks find the libraries loaded; it must be read."""
    from goosewing.weather import grib
    from goosewing_cli.main import outcome

    home = Path.cwd()
    os.chdir(folder)
    try:
        for kind, commands in COMMANDS.items():
            name = named(kind)
            Path(name).write_bytes(sound[kind])
            for command in commands:
                told = io.StringIO()
                with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told):
                    code = outcome([part.format(name) for part in command])
                if code not in (0, 3):
                    raise AssertionError(f"the sound {kind} is refused: {told.getvalue()}")
            if kind.endswith("grib"):
                # The command left it to a child; what ecCodes knows of tables stays here so.
                grib.read_grib(name)
            for made in (*WRITES, *(() if kind in IN_PLACE else (name,))):
                shutil.rmtree(made, ignore_errors=True)
                if Path(made).is_file():
                    Path(made).unlink()
    finally:
        os.chdir(home)


def named(kind: str) -> str:
    """Return what a file of this kind is called."""
    return IN_PLACE.get(kind, "given.dat")


# ---- one case -----------------------------------------------------------------------------------


def run_case(
    kind: str, seed: int, sound: dict[str, bytes], folder: Path, *, fresh: bool = False
) -> Found:
    """Damage one file, have one command read it, and put the folder back."""
    hand = random.Random(f"{kind}:{seed}")
    name = named(kind)
    file = folder / name
    file.write_bytes(worse(sound[kind], hand))
    command = [part.format(name) for part in hand.choice(COMMANDS[kind])]
    before = _state(folder)
    code, seconds, more_bytes = _in_a_child(command, folder, fresh=fresh)
    after = _state(folder)
    touched = {each for each in before.keys() | after.keys() if before.get(each) != after.get(each)}
    for extra in after.keys() - before.keys():
        (folder / extra).unlink()
    with contextlib.suppress(FileNotFoundError):
        (folder / "made").rmdir()
    file.write_bytes(sound[kind]) if kind in IN_PLACE else file.unlink()
    out, err = ((folder.parent / each).read_text(errors="replace") for each in ("out", "err"))
    if code == 0:
        touched = {each for each in touched if not each.startswith(WRITES)}
    return Found(code, out, err, seconds, more_bytes, tuple(sorted(touched)))


def _state(folder: Path) -> dict[str, bytes]:
    return {
        str(each.relative_to(folder)): each.read_bytes()
        for each in folder.rglob("*")
        if each.is_file()
    }


def _in_a_child(command: list[str], folder: Path, *, fresh: bool) -> tuple[int | None, float, int]:
    """Run a command in a fork; how it ended, and the processor time [s] and memory it took.

    Its exit code; a signal is negative, None a hang.
    """
    done, into = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.set_inheritable(into, fresh)
            os._exit(_be_the_command(command, folder, fresh=fresh))
        except BaseException:  # what escapes here is a fault, whatever it is
            import traceback

            traceback.print_exc()
            os._exit(99)
    os.close(into)
    ready = select.select([done], [], [], SECONDS * WAITS)[0]
    os.close(done)
    if not ready:
        os.kill(child, signal.SIGKILL)
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status) if ready else None
    return code, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024


def _be_the_command(command: list[str], folder: Path, *, fresh: bool) -> int:
    from goosewing_cli.main import outcome

    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (held + MORE_BYTES, resource.RLIM_INFINITY))
    os.chdir(folder)
    for number, name in ((1, "out"), (2, "err")):
        os.dup2(os.open(folder.parent / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    if fresh:
        os.execv(sys.executable, [sys.executable, "-c", RUN, *command])
    code = outcome(command)
    sys.stdout.flush()
    sys.stderr.flush()
    return code


def faults_of(found: Found) -> list[str]:
    """What must hold of every case, and didn't."""
    faults = []
    if found.code is None:
        return [f"hadn't ended after {SECONDS * WAITS:.0f} s by the clock"]
    if found.seconds > SECONDS:
        faults.append(f"took {found.seconds:.0f} s")
    if found.code not in CODES:
        faults.append(f"exit code {found.code}")
    if "Traceback" in found.err + found.out:
        faults.append("a traceback")
    lines = found.err.splitlines()
    if found.code == 2:
        if len(lines) != 1:
            faults.append(f"{len(lines)} lines on stderr")
        elif len(lines[0]) > LONGEST_LINE:
            faults.append(f"a line of {len(lines[0])} characters")
        if found.out:
            faults.append("words on stdout")
    strange = sorted({each for each in found.out + found.err if _moves_the_terminal(each)})
    if strange:
        faults.append(f"characters {[hex(ord(each)) for each in strange]}")
    if found.touched:
        faults.append(f"touched {', '.join(found.touched)}")
    return faults


def _moves_the_terminal(character: str) -> bool:
    if character in "\n\u00ad":
        return False
    return unicodedata.category(character) in {"Cc", "Cf", "Zl", "Zp", "Cs"}


@dataclass
class Tally:
    """What came of the cases so far."""

    done: int = 0
    fresh: int = 0
    slowest_s: float = 0.0
    most_bytes: int = 0
    ends: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def add(self, case: str, found: Found, *, fresh: bool) -> None:
        """Count a case, and print what didn't hold of it."""
        self.done, self.fresh = self.done + 1, self.fresh + fresh
        self.slowest_s = max(self.slowest_s, found.seconds)
        self.most_bytes = max(self.most_bytes, found.more_bytes)
        self.ends[str(found.code)] = self.ends.get(str(found.code), 0) + 1
        faults = faults_of(found)
        if faults:
            last = found.err.strip().splitlines()[-1:] or [""]
            self.faults += [f"{case}: {'; '.join(faults)} | {last[0][:160]!r}"]
            print(self.faults[-1], flush=True)

    def __str__(self) -> str:
        told = ", ".join(f"{count} × exit {code}" for code, count in sorted(self.ends.items()))
        return (
            f"{self.done} cases ({self.fresh} by new interpreters): {told}; "
            f"slowest {self.slowest_s:.1f} s, most memory {self.most_bytes / 1e6:.0f} MB; "
            f"{len(self.faults)} with a fault"
        )


def campaign(kinds: list[str], cases: int, first: int, tally: Tally) -> Iterator[None]:
    """Run so many cases over these kinds, in turn, those that were tallied left out."""
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "desk"
        folder.mkdir()
        sound = desk(folder)
        warm(folder, sound)
        for number in range(tally.done, cases):
            kind = kinds[number % len(kinds)]
            seed = first + number // len(kinds)
            fresh = seed % FRESH == 0
            found = run_case(kind, seed, sound, folder, fresh=fresh)
            tally.add(f"{kind}:{seed}", found, fresh=fresh)
            yield


def main() -> int:
    """Run a campaign and print what didn't hold."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--cases", type=int, default=2000)
    asked.add_argument("--seed", type=int, default=0, help="where the seeds begin")
    asked.add_argument("--minutes", type=float, help="stop after so long, however many are done")
    asked.add_argument("--kind", action="append", choices=sorted(COMMANDS))
    asked.add_argument("--tally", type=Path, help="kept here; a run of the same words goes on")
    asked.add_argument("--only", metavar="KIND:SEED", help="one case, all of it printed")
    asked.add_argument("--keep", type=Path, help="with --only: leave the damaged file here")
    wants = asked.parse_args()
    if wants.only:
        kind, _, seed = wants.only.partition(":")
        return _show(kind, int(seed), wants.keep)
    kept: Path | None = wants.tally
    tally = Tally(**json.loads(kept.read_text())) if kept and kept.exists() else Tally()
    until = time.monotonic() + 60.0 * (wants.minutes or math.inf)
    kinds = wants.kind or list(COMMANDS)
    for _ in campaign(kinds, wants.cases, wants.seed, tally):
        if kept and tally.done % 100 == 0:
            _keep(kept, tally)
        if time.monotonic() > until:
            break
    if kept:
        _keep(kept, tally)
    print(tally)
    return 1 if tally.faults else 0


def _keep(file: Path, tally: Tally) -> None:
    beside = file.with_suffix(".new")
    beside.write_text(json.dumps(vars(tally)))
    beside.replace(file)


def _show(kind: str, seed: int, keep: Path | None) -> int:
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "desk"
        folder.mkdir()
        sound = desk(folder)
        if keep:
            keep.mkdir(exist_ok=True)
            (keep / kind).write_bytes(worse(sound[kind], random.Random(f"{kind}:{seed}")))
        found = run_case(kind, seed, sound, folder)
    print(found.out, found.err, sep="\n--- stderr\n")
    print(f"exit {found.code}, {found.seconds:.1f} s, {found.more_bytes / 1e6:.0f} MB")
    faults = faults_of(found)
    print("; ".join(faults) or "as it should be")
    return 1 if faults else 0


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        sys.exit(main())
