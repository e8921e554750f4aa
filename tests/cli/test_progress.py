"""Progress where stderr is a file or a pipe: a line now and then, nothing for a quick plan."""

from __future__ import annotations

import pytest

from goosewing_cli import planning


@pytest.fixture
def clock(monkeypatch):
    """A clock that tests set."""
    now = [0.0]
    monkeypatch.setattr(planning, "monotonic", lambda: now[0])
    return now


def test_a_line_every_ten_seconds_that_only_goes_down(clock, capsys):
    with planning.shown() as told:
        for clock[0], left in enumerate([60.0, 55.0, *[50.0] * 9, 70.0, *[40.0] * 19]):
            told("B", left)
    assert capsys.readouterr().err.splitlines() == [
        "B: 50 nm still to search", "B: 40 nm still to search",
    ]  # fmt: skip


@pytest.mark.usefixtures("clock")
def test_a_quick_plan_is_silent(capsys):
    with planning.shown() as told:
        for left in range(100, -1, -1):
            told("B", float(left))
    with planning.counted("Departures", 48) as done:
        done(48)
    assert capsys.readouterr().err == ""


def test_departures_are_counted_now_and_then(clock, capsys):
    with planning.counted("Departures", 48) as done:
        for clock[0] in range(0, 48, 3):
            done(int(clock[0]) + 1)
    lines = capsys.readouterr().err.splitlines()
    assert lines == [f"Departures: {n} of 48 looked at" for n in (13, 25, 37)]
