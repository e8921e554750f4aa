"""Make sample_routes/brisvik_log.jsonl: what a host said on an invented afternoon.

Run from the checkout: ``python tests/make_sample_log.py``. The simulated boat beats to
one mark and runs to the next by the service's plan and events; every line that went into
the service is written, so that the log replays: ``python -m goosewing.live --in-turn``.
"""

from __future__ import annotations

import json
import math
import os
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from goosewing.live.host.session import Session
from sailing_boat import Helm, SailingBoat, Waters, observation, passage

SAMPLES = Path(__file__).parents[1] / "sample_routes"
STEP_S = 10.0
MARKS = (
    {"lat": 56.72, "lon": 12.40, "name": "Off Falkenberg"},
    {"lat": 56.755, "lon": 12.34, "name": "Dan"},
    {"lat": 56.72, "lon": 12.365, "name": "Hed"},
)
"""Invented."""


def short(message: dict[str, Any]) -> str:
    """One line, with no more digits than instruments give."""

    def rounded(value: Any) -> Any:
        if isinstance(value, float):
            return round(value, 4)
        if isinstance(value, dict):
            return {k: round(v, 6) for k, v in value.items()}
        return value

    if message["type"] == "observe":
        values = [{"path": v["path"], "value": rounded(v["value"])} for v in message["values"]]
        message = {**message, "values": values}
    return json.dumps(message, separators=(",", ":"))


def main() -> None:
    """Sail, and write the log."""
    os.chdir(SAMPLES)
    waters = Waters(
        lambda t: 320.0 + 4.0 * math.sin(t / 700.0), lambda t: 11.0 + 0.5 * math.sin(t / 400.0),
        (0.3, 0.2),
    )  # fmt: skip
    boat = SailingBoat(SAMPLES / "brisvik", waters, MARKS[0]["lat"], MARKS[0]["lon"], 275.0)
    session, log = Session(), []

    def say(message: dict[str, Any]) -> list[dict[str, Any]]:
        if message["type"] == "tick":
            return []  # The observations' own times are enough.
        line = short(message)
        log.append(line)
        return session.in_turn(json.loads(line))

    say({"type": "hello", "version": 1, "boat": "brisvik/boat.toml"})
    for _ in range(18):
        boat.sail(STEP_S)
        say(observation(boat))
    say({"type": "plan", "id": "afternoon", "name": "Afternoon", "points": list(MARKS)})
    helm = Helm(boat, marks=2)
    passage(boat, helm, say, step_s=STEP_S)
    say(observation(boat))
    Path("brisvik_log.jsonl").write_text("\n".join(log) + "\n", encoding="utf-8")
    for event in helm.events:
        print(event["time"][11:19], event["message"])


if __name__ == "__main__":
    main()
