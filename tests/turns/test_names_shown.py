"""Names of other people's as they are shown in a plan's own sentences."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from goosewing.plan import make
from goosewing.records import Mark, Tide
from goosewing.weather.steady import SteadyWeather
from goosewing.words.names import with_plain_names

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)


@pytest.mark.parametrize("port", ["", " ", "   "])
def test_a_name_without_letters_stands_between_no_others(brisvik, port):
    """Every text holds the empty one, and every sentence a space."""
    marks = [Mark(name="A", lat=57.0, lon=11.0), Mark(name="B", lat=57.2, lon=11.0)]
    made = make(marks, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    # One name that is shown otherwise, or nothing would be replaced at all.
    tides = (Tide(port=port, time=DEPARTURE, range_m=1.0),)
    made = replace(made, tides=tides, boat="Bris\u202evik")
    shown = with_plain_names(made)
    assert shown.boat == "Brisvik"
    assert [each.tack for each in shown.legs[0].boards] == [
        each.tack for each in made.legs[0].boards
    ]
    assert shown.legs[0].reasons == made.legs[0].reasons
    assert shown.tides[0].port == (port if not port else "unnamed")
