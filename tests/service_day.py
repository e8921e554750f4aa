"""Seconds of an invented day as the running service hears them: one look, and a tick."""

from __future__ import annotations


def stamp(second: float) -> str:
    return f"2027-06-12T12:{int(second) // 60:02d}:{second % 60:06.3f}Z"


def observe(second: float):
    values = {
        "navigation.position": {"latitude": 56.5, "longitude": 12.0 - second * 1e-5},
        "navigation.headingTrue": 4.73, "environment.wind.directionTrue": 5.498,
        "environment.wind.speedTrue": 5.14, "navigation.speedThroughWater": 2.8,
    }  # fmt: skip
    listed = [{"path": k, "value": v} for k, v in values.items()]
    return {"type": "observe", "time": stamp(second), "source": "sim", "values": listed}


def second_of(second: float):
    yield observe(second)
    yield {"type": "tick", "time": stamp(second)}


def seconds(first: int, last: int):
    for second in range(first, last):
        yield from second_of(second)
