"""The steady stretches themselves as a table: what was measured, before anything is made of it."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from goosewing.logbook.fit import Read

COLUMNS = (
    "begin", "seconds", "tack", "twa_deg", "tws_kn", "boat_speed_kn", "heel_deg", "leeway_deg",
    "awa_deg", "aws_kn", "heading_deg", "speed_over_ground_kn", "engine",
)  # fmt: skip


def format_stretches(read: Read) -> str:
    """Write stretches as CSV, those under engine too; what is unknown is left empty."""
    part, wind = read.sailed, read.wind
    heel = part.heel_deg if read.heel_logged else np.full(len(part), np.nan)
    over_ground = np.hypot(part.east_kn, part.north_kn)
    sides = np.where(part.side > 0.0, "starboard", "port")
    columns = (
        wind.twa_deg, wind.tws_kn, wind.stw_kn, heel, wind.leeway_deg, part.awa_deg,
        part.aws_kn, read.motion.heading(part.heading_deg), over_ground,
    )  # fmt: skip
    lines = [",".join(COLUMNS)]
    for i in range(len(part)):
        figures = ",".join(_figure(float(column[i])) for column in columns)
        seconds = part.end_s[i] - part.begin_s[i] + 1.0
        lines.append(f"{_time(part.begin_s[i])},{seconds:.0f},{sides[i]},{figures},no")
    motored = read.every.only(read.every.engine)
    for i in range(len(motored)):
        seconds = motored.end_s[i] - motored.begin_s[i] + 1.0
        upright = motored.heel_deg[i] if read.heel_logged else np.nan
        known = (motored.stw_kn[i], upright, motored.awa_deg[i], motored.aws_kn[i])
        stw, heeled, awa, aws = (_figure(float(each)) for each in known)
        lines.append(
            f"{_time(motored.begin_s[i])},{seconds:.0f},,,,{stw},{heeled},,{awa},{aws},"
            f"{_figure(float(motored.heading_deg[i]))},,yes"
        )
    return "\n".join(lines) + "\n"


def _figure(value: float) -> str:
    return f"{value:.2f}" if np.isfinite(value) else ""


def _time(seconds: float) -> str:
    return f"{datetime.fromtimestamp(float(seconds), UTC):%Y-%m-%dT%H:%M:%SZ}"
