"""Make sample_routes/brisvik_log.nmea: an invented afternoon as her instruments said it.

Run from the checkout: ``python tests/make_nmea_log.py``. The simulated boat beats to one
mark and runs to the next by the service's plan and events, all through sentences that
pynmea2 writes; the marks go to sample_routes/afternoon.gpx.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from goosewing.boat.read import read_boat
from goosewing.live.alone.watch import Setup, Watch
from goosewing.live.core.state import Desk, Route
from goosewing.records import Mark
from nmea_boat import Told, sailed
from sailing_boat import Helm, SailingBoat, Waters

SAMPLES = Path(__file__).parents[1] / "sample_routes"
STEP_S = 4.0
MARKS = (
    Mark(name="Off Falkenberg", lat=56.72, lon=12.40),
    Mark(name="Dan", lat=56.755, lon=12.34),
    Mark(name="Hed", lat=56.72, lon=12.365),
)
"""Invented."""

GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="tests/make_nmea_log.py">
  <rte>
    <name>Afternoon</name>
{points}
  </rte>
</gpx>
"""


def main() -> None:
    """Sail, and write the log."""
    points = [
        f'    <rtept lat="{m.lat}" lon="{m.lon}"><name>{m.name}</name></rtept>' for m in MARKS
    ]
    (SAMPLES / "afternoon.gpx").write_text(GPX.format(points="\n".join(points)), encoding="utf-8")
    waters = Waters(
        lambda t: 320.0 + 4.0 * math.sin(t / 700.0), lambda t: 11.0 + 0.5 * math.sin(t / 400.0),
        (0.3, 0.2),
    )  # fmt: skip
    boat = SailingBoat(SAMPLES / "brisvik", waters, MARKS[0].lat, MARKS[0].lon, 275.0)
    route = Route(id="marks", name="Afternoon", marks=MARKS)
    setup = Setup(desk=Desk(boat=read_boat(SAMPLES / "brisvik" / "boat.toml")), route=route)
    told, log = Told(), []
    sailed(boat, Watch(setup, told), told, Helm(boat, marks=2), step_s=STEP_S, each=log.append)
    (SAMPLES / "brisvik_log.nmea").write_bytes("".join(log).encode("ascii"))
    for text, _ in told.lines:
        print(text)


if __name__ == "__main__":
    main()
