"""Departures planned side by side are those planned one by one, to the last bit."""

from __future__ import annotations

import pickle
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from changing_winds import DEPARTURE, leg
from goosewing.departures.compare import departures, gathered, in_chunks
from goosewing.errors import InputError
from goosewing.options import Options
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table
from side_by_side import Counting, dask_workers, processes

TIMES = [DEPARTURE + timedelta(hours=number) for number in range(5)]


@pytest.fixture(scope="module")
def case(brisvik):
    """A short beat in a wind that turns, into what every executor is given."""
    hours = "\n".join(f"2027-06-01T{6 + h:02d}:00Z,{10 * h % 360},{10 + h % 3}" for h in range(16))
    weather = parse_table(f"time,wind_from_deg,wind_kn\n{hours}\n")
    return leg(57.0, 11.0, 20.0, 8.0), brisvik, weather, TIMES


@pytest.fixture(scope="module")
def one_by_one(case):
    return departures(*case)


@pytest.mark.long
@pytest.mark.parametrize("side_by_side", [lambda: ThreadPoolExecutor(2), processes, dask_workers])
def test_any_executor_gives_the_same_to_the_last_bit(case, one_by_one, side_by_side):
    told = []
    with side_by_side() as executor:
        found = departures(*case, executor=executor, progress=lambda *each: told.append(each))
    # Plans and all: every number of every board.
    assert found == one_by_one
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1] == (5, 5)


def test_boat_and_weather_travel_once_a_parcel(brisvik):
    weather = SteadyWeather(0.0, 10.0)
    marks, times = leg(57.0, 11.0, 90.0, 5.0), [DEPARTURE + timedelta(hours=n) for n in range(48)]
    counting = Counting()
    departures(marks, brisvik, weather, times, executor=counting)
    alone = len(pickle.dumps(brisvik))
    assert len(counting.sent) == 16
    assert max(counting.sent) < 1.2 * alone


def test_what_is_wrong_comes_back_from_a_worker_and_the_rest_is_called_off(brisvik):
    options = Options(start_with="spinnaker")
    with processes() as executor, pytest.raises(InputError, match="spinnaker"):
        departures(
            leg(57.0, 11.0, 90.0, 5.0), brisvik, SteadyWeather(0, 10), TIMES, options,
            executor=executor,
        )  # fmt: skip


def test_parts_come_together_in_their_order():
    with ThreadPoolExecutor(3) as executor:
        parts = in_chunks(TIMES, 3)
        assert [len(part) for part in parts] == [2, 2, 1]
        assert gathered(executor, lambda part: part, parts, len(TIMES)) == tuple(TIMES)
