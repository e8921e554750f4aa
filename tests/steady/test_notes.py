"""What a plan asks its reader to look at again."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from astral import Observer
from astral.sun import sunset

from goosewing.boat.read import read_boat
from goosewing.exchange.gpx.marks import read_marks
from goosewing.plan import make
from goosewing.weather.steady import SteadyWeather

SAMPLES = Path(__file__).parents[2] / "sample_routes"


def notices(wind, hour=5):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    boat = read_boat(SAMPLES / "brisvik" / "boat.toml")
    plan = make(marks, boat, SteadyWeather(*wind), datetime(2027, 6, 12, hour, tzinfo=UTC))
    return plan, "\n".join(plan.notices)


def test_one_wind_held_for_days_is_said():
    plan, said = notices((315.0, 0.5))
    assert f"One wind is held for {plan.elapsed_h:.0f} h" in said
    plan, said = notices((315.0, 10.0))
    assert plan.elapsed_h < 48.0
    assert "held for" not in said


def test_wind_below_the_tables_is_said():
    assert (
        "3.0 kn is below the 4 kn at which the table of main and jib begins"
        in notices((315.0, 3.0))[1]
    )
    assert "below" not in notices((315.0, 4.0))[1]


@pytest.mark.parametrize(("hour", "dark"), [(5, False), (18, True)])
def test_a_pole_handled_in_the_dark_is_said(hour, dark):
    plan, said = notices((315.0, 10.0), hour)
    (pole,) = (m for leg in plan.legs for m in leg.manoeuvres if m.kind == "set_pole")
    # astral 3.2 is the independent almanac.
    down = sunset(Observer(pole.lat, pole.lon), pole.time.date(), tzinfo=UTC)
    assert (pole.time > down) is dark
    assert ("The pole is set in the dark at " in said) is dark
