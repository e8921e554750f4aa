"""Days at sea by finer and coarser forecasts of one weather, and by a lighter wind.

All twenty invented oceans take minutes::

    pytest tests/changing/test_ocean_forecasts.py -m "" --benchmark-enable

Without ``--benchmark-enable`` a few of them stand for all.
"""

from __future__ import annotations

import pytest

from changing_winds import DEPARTURE
from goosewing.errors import OutsideForecastError
from goosewing.plan import make
from ocean_fields import OCEANS, invented_ocean

pytestmark = pytest.mark.long

FEW = (2, 9)


@pytest.fixture(params=OCEANS)
def ocean(request):
    if request.param not in FEW and not request.config.getoption("benchmark_enable"):
        pytest.skip("minutes: only with --benchmark-enable")
    return invented_ocean(request.param)


def hours(boat, ocean, step_h=3.0):
    try:
        return make(ocean.marks, boat, ocean.weather(step_h=step_h), DEPARTURE).elapsed_h
    except OutsideForecastError as said:
        pytest.skip(str(said))


def test_hourly_and_three_hourly_forecasts_give_nearly_the_same_time(brisvik, ocean):
    coarse, fine = hours(brisvik, ocean), hours(brisvik, ocean, 1.0)
    print(f"{ocean.name}: {coarse:.3f} h, hourly {fine / coarse - 1.0:+.3%}")
    assert fine == pytest.approx(coarse, rel=5e-3)


def test_in_a_lighter_wind_she_is_never_faster(brisvik, ocean):
    usual, lighter = hours(brisvik, ocean), hours(brisvik, ocean.with_wind(0.8))
    print(f"{ocean.name}: {usual:.3f} h, with 0.8 of the wind {lighter / usual - 1.0:+.2%}")
    assert lighter >= usual * 0.998
