"""Four hours that a real yacht's instruments kept, played through the service that has no host.

The log comes in the open standard's server's own package (Apache 2.0). It knows no compass, and she
was mostly under engine: nothing of its advice was followed. What can be told of it all the same is
by which marks she went, and when; they are laid on her own track.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import SAMPLES
from signalk_host import HostUnavailableError, install

pytestmark = pytest.mark.long

MARKS_AT = ("102655", "104731", "125113", "132209", "134245", "135303")
"""Where she was at these times, on straight stretches, a mark is laid. [UTC]"""
NEAR_S = 60
TRACK = re.compile(rb"GPGLL,(\d\d)([\d.]+),N,(\d{3})([\d.]+),E,(\d{6}),A")


@pytest.fixture(scope="module")
def log():
    """The log. Without node or registry: skipped, or failed if required."""
    try:
        return install(print) / "node_modules" / "signalk-server" / "samples" / "plaka.log"
    except HostUnavailableError as why:
        if os.environ.get("GOOSEWING_REQUIRE_SIGNALK"):
            pytest.fail(f"no Signal K server: {why}")
        pytest.skip(f"no Signal K server: {why}")


def seconds(clock: str) -> int:
    hours, minutes, rest = (int(clock[at : at + 2]) for at in (0, 2, 4))
    return hours * 3600 + minutes * 60 + rest


def laid_on_the_track(raw: bytes) -> str:
    """A route of where she was when the log begins, and at `MARKS_AT`."""
    track = {}
    for lat, lat_min, lon, lon_min, clock in TRACK.findall(raw):
        place = int(lat) + float(lat_min) / 60.0, int(lon) + float(lon_min) / 60.0
        track[seconds(clock.decode())] = place
    at = [min(track), *(min(track, key=lambda s: abs(s - seconds(each))) for each in MARKS_AT)]
    points = "".join(
        f'<rtept lat="{track[s][0]}" lon="{track[s][1]}"><name>M{number}</name></rtept>'
        for number, s in enumerate(at)
    )
    return (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test">'
        f"<rte><name>Laid</name>{points}</rte></gpx>"
    )


def damaged(raw: bytes, hand: random.Random) -> bytes:
    """As over a bad wire: in three sentences of a hundred one byte is another."""
    data = bytearray(raw)
    for at in hand.sample(range(len(data)), len(data) // 1500):
        data[at] ^= 1 << hand.randrange(8)
    return bytes(data)


def played(log: Path, folder: Path, hash_seed: str, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [
            sys.executable, "-c", "from goosewing_cli.main import run; run()",
            "live", "--nmea", str(log), "--replay", "0", "--marks", "marks.gpx",
            "--boat", str(SAMPLES / "brisvik" / "boat.toml"), *more,
        ],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "PYTHONHASHSEED": hash_seed, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip


def rounded(said: str) -> dict[str, int]:
    """When each mark was told as rounded; each must be told once."""
    found = re.findall(r"(\d\d):(\d\d):(\d\d)Z  (M\d) rounded\.", said)
    names = [each[3] for each in found]
    assert len(names) == len(set(names)), names
    return {name: seconds("".join(clock)) for *clock, name in found}


def test_every_mark_is_told_once_and_the_same_again_and_from_a_bad_wire(log, tmp_path):
    raw = log.read_bytes()
    (tmp_path / "marks.gpx").write_text(laid_on_the_track(raw))
    bad = tmp_path / "bad.nmea"
    bad.write_bytes(damaged(raw, random.Random(20)))
    running = [played(*each) for each in ((log, tmp_path, "1"), (log, tmp_path, "2"),
                                          (bad, tmp_path, "3"))]  # fmt: skip
    said = [each.communicate()[0] for each in running]
    assert [each.returncode for each in running] == [0, 0, 0]
    assert said[0] == said[1]
    for each in (said[0], said[2]):
        assert "fault" not in each
        told = rounded(each)
        assert list(told) == [f"M{number}" for number in range(1, len(MARKS_AT) + 1)]
        for at, clock in zip(told.values(), MARKS_AT, strict=True):
            assert abs(at - seconds(clock)) <= NEAR_S
    assert re.search(r"sentences, \d+ damaged", said[2])


BREAKS_AT = ("115000", "133000")
"""The service is killed at these times and started anew a minute later: at sea, and near a mark."""
DARK_S = 60
MORE_MEMORY = 8e6
"""So many bytes more may four hours hold than the first hour and a half did."""


def parts(raw: bytes) -> list[bytes]:
    """The log without the minute after each of `BREAKS_AT`, in the parts between."""
    found, clock = [bytearray() for _ in range(len(BREAKS_AT) + 1)], 0
    begins = [seconds(each) for each in BREAKS_AT]
    for line in raw.splitlines(keepends=True):
        told = re.search(rb"G[NP]GLL,[^,]*,N,[^,]*,E,(\d{6}),A", line)
        clock = seconds(told[1].decode()) if told else clock
        part = sum(clock >= each for each in begins)
        if part == 0 or clock >= begins[part - 1] + DARK_S:
            found[part] += line
    return [bytes(each) for each in found]


def most_bytes(running: subprocess.Popen[str]) -> int:
    """Wait for its end; the most memory that it held."""
    assert running.stdout is not None
    with running.stdout as said:
        said.read()
    _, status, used = os.wait4(running.pid, 0)
    running.returncode = os.waitstatus_to_exitcode(status)
    assert running.returncode == 0
    return used.ru_maxrss * 1024


def test_a_restart_on_the_way_loses_no_mark_and_tells_none_again(log, tmp_path):
    raw = log.read_bytes()
    (tmp_path / "marks.gpx").write_text(laid_on_the_track(raw))
    told: dict[str, int] = {}
    for number, part in enumerate(parts(raw)):
        file = tmp_path / f"part{number}.nmea"
        file.write_bytes(part)
        running = played(file, tmp_path, "1", "--state", "kept.json")
        now = rounded(running.communicate()[0])
        assert running.returncode == 0
        assert not told.keys() & now.keys()
        told |= now
    assert list(told) == [f"M{number}" for number in range(1, len(MARKS_AT) + 1)]
    for at, clock in zip(told.values(), MARKS_AT, strict=True):
        assert abs(at - seconds(clock)) <= NEAR_S


def test_memory_does_not_grow_with_the_log(log, tmp_path):
    raw = log.read_bytes()
    (tmp_path / "marks.gpx").write_text(laid_on_the_track(raw))
    first = tmp_path / "first.nmea"
    first.write_bytes(parts(raw)[0])
    beginning, whole = (most_bytes(played(each, tmp_path, "1")) for each in (first, log))
    assert whole <= beginning + MORE_MEMORY
