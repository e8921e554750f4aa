"""What sentences mean, held against the parser of the Signal K project, run by node."""

from __future__ import annotations

import json
import math
import subprocess
from pathlib import Path

import gpxpy
import pytest

from goosewing.boat.model import Boat
from goosewing.exchange.nmea.readings import Framer, heard
from goosewing.live.alone.overlay import NAME
from goosewing.live.alone.watch import Post, Setup, play
from goosewing.live.core.state import Desk, Route
from goosewing.live.host import signalk
from goosewing.records import Mark
from nmea_boat import Told
from signalk_host import node

SCRIPT = """
const Parser = require(process.argv[1] + '/node_modules/@signalk/nmea0183-signalk');
const parser = new Parser();
const lines = require('fs').readFileSync(0, 'utf8').split('\\n').filter(Boolean);
const read = (line) => { try { return parser.parse(line) } catch (error) { return null } };
const values = (line) => (read(line)?.updates ?? []).flatMap((update) => update.values);
console.log(JSON.stringify(lines.map(values)));
"""

PUBLISHED = (
    "$WIMWD,302.4,T,289.6,M,10.5,N,5.4,M*6F",
    "$WIMWD,326.6,T,325.2,M,11.4,N,5.9,M*65",
    "$IIMWV,271.0,R,000.2,N,A*3B",
    "$WIMWV,100.2,T,11.5,N,A*13",
    "$SDVHW,230.0,T,228.7,M,6.8,N,12.7,K*76",
    "$IIVHW,,T,211.0,M,0.00,N,0.00,K*79",
    "$GPHDT,274.07,T*03",
    "$HEHDT,341.8,T*21",
    "$IIVDR,10.1,T,12.3,M,1.2,N*3A",
    "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
)
"""Of gpsd's NMEA.adoc and daemon logs; their checksums are right."""


def theirs(files: Path, lines: list[str]) -> list[dict[str, object]]:
    """What their parser says, through our rim for Signal K."""
    ran = subprocess.run(
        [node(), "-e", SCRIPT, str(files)], input="\n".join(lines), capture_output=True,
        text=True, check=True, timeout=120,
    )  # fmt: skip
    return [
        dict(signalk.reading("2027-06-12T12:00:00Z", "x", values).values)
        for values in json.loads(ran.stdout)
    ]


def ours(line: str) -> dict[str, object]:
    (sentence,) = Framer().feed(line.encode() + b"\r\n")
    found = heard(sentence)
    return {} if found is None else dict(found.values)


def same(name: str, one: object, two: object) -> bool:
    if isinstance(one, tuple) and isinstance(two, tuple):
        return one == pytest.approx(two, abs=1e-9)
    assert isinstance(one, float)
    assert isinstance(two, float)
    if name.endswith("_deg"):
        return abs((one - two + 180.0) % 360.0 - 180.0) < 1e-6
    # Theirs takes the km/h or m/s beside the knots, which the talker has rounded for itself.
    return math.isclose(one, two, abs_tol=0.1 if name == "tws_kn" else 0.005)


def compared(files: Path, lines: list[str]) -> int:
    held = 0
    for line, other in zip(lines, theirs(files, lines), strict=True):
        own = ours(line)
        for name, value in other.items():
            if value is not None and name in own:
                assert same(name, own[name], value), (line, name, own[name], value)
                held += 1
    return held


def test_published_sentences(host_files: Path):
    assert compared(host_files, list(PUBLISHED)) >= 18


def test_a_day_of_a_real_boat(host_files: Path):
    """The sailing log that the server brings: wind, log, course, position of a real voyage."""
    log = host_files / "node_modules/signalk-server/samples/plaka.log"
    lines = log.read_text(encoding="ascii").split()[:116000:37]
    assert compared(host_files, lines) > 1500


def test_the_watch_is_kept_over_an_hour_of_a_real_boat(
    host_files: Path, tmp_path: Path, brisvik: Boat
):
    """The same log through the whole service: real gusts, real helm, real gaps; never a fault."""
    log = host_files / "node_modules/signalk-server/samples/plaka.log"
    part = tmp_path / "plaka.log"
    part.write_text("\n".join(log.read_text(encoding="ascii").split()[:28000]), encoding="ascii")
    marks = (
        Mark(name="A", lat=60.0845, lon=23.539), Mark(name="B", lat=59.98, lon=23.40),
        Mark(name="C", lat=59.8557, lon=23.399),
    )  # fmt: skip
    setup = Setup(
        desk=Desk(boat=brisvik), route=Route(id="r", name="R", marks=marks), overlay=tmp_path
    )
    told = Told()
    watch = play(setup, part, told, speed=0.0, post=Post())
    assert watch.counts.damaged == 0
    assert watch.counts.read > 15_000
    assert not told.said("fault")
    assert told.said("New plan (a new route)")
    # She turns for herself, and the service sees it.
    assert told.said("T1 is done")
    assert gpxpy.parse((tmp_path / NAME).read_text(encoding="utf-8")).routes[0].points
    assert {text.split(" ")[0] for text, _ in told.shown} >= {"Port", "Starboard"}
