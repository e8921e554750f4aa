"""Which board comes first is the navigator's to say, in changing wind too."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from goosewing.exchange.gpx.marks import read_marks
from goosewing.options import Options
from goosewing.plan import make
from goosewing.weather.read import read_weather

SAMPLES = Path(__file__).parents[2] / "sample_routes"


@pytest.mark.long
@pytest.mark.parametrize("first", ["port", "starboard", "longer"])
def test_the_board_asked_for_comes_first(brisvik, first):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks[:2]
    weather = read_weather(SAMPLES / "forecast.grib2")
    departure = datetime(2027, 6, 12, 5, tzinfo=UTC)
    boards = make(marks, brisvik, weather, departure, Options(first=first)).legs[0].boards
    assert {board.tack for board in boards} == {"port", "starboard"}
    if first == "longer":
        assert boards[0].elapsed_h == max(board.elapsed_h for board in boards)
    else:
        assert boards[0].tack == first
