"""One plan for many members: against linear programming, other sailors, and drawn truths."""

from __future__ import annotations

import pickle
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.optimize import linprog
from scoringrules import crps_ensemble

from changing_winds import DEPARTURE, START_H, leg, turning
from drawn_ensembles import LAT, LON, components, ensemble, member, write_grib, write_netcdf
from goosewing.boat.model import sailing
from goosewing.case import Case
from goosewing.departures.compare import held_case
from goosewing.errors import InputError, NoPlanError
from goosewing.foresight import ensembles
from goosewing.foresight.other_winds import sailed_h
from goosewing.plan import make
from goosewing.weather.combine import CombinedWeather, hold_last
from goosewing.weather.grid import WIND, Ensemble, GridWeather, LatLonGrid, layer_of
from goosewing.weather.members import members_of, numbers_of
from goosewing.weather.netcdf import from_dataset
from goosewing.weather.read import read_weather
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.wind import components_from
from goosewing.words.ensembles import ensemble_lines
from goosewing_cli.pool import side_by_side
from side_by_side import Counting, dask_workers, processes

MARKS = leg(56.5, 11.5, 4.0, 20.0)


def case_of(brisvik, weather, marks=MARKS):
    return Case(marks=tuple(marks), boat=brisvik, weather=weather, departure=DEPARTURE)


@pytest.fixture(scope="module")
def five(brisvik):
    """The case of five members, and all their plans."""
    case = case_of(brisvik, ensemble(5))
    (found,) = ensembles.plan_members(case)
    return case, found


# ---- a plan in another wind -------------------------------------------------------------------


def least_h(boat, twd, tws, board):
    """Least time along a board's displacement with any mix of velocities (linear programming)."""
    columns = []
    for number, sails in enumerate(boat.sail_sets):
        twa = np.arange(sails.polar.first_twa_deg, sails.polar.last_twa_deg, 0.25)
        held = sailing(boat, number, twa, tws, np.nan)
        for side in (1.0, -1.0):
            angle = np.radians(twd + side * held.track_angle_deg[held.possible])
            speed = held.boat_speed_kn[held.possible]
            columns.append(np.array([speed * np.sin(angle), speed * np.cos(angle)]))
    velocity = np.concatenate(columns, axis=1)
    course = np.radians(board.course_over_ground_deg)
    way = board.distance_nm * np.array([np.sin(course), np.cos(course)])
    return linprog(np.ones(velocity.shape[1]), A_eq=velocity, b_eq=way).fun


@pytest.mark.parametrize("shift", [-12.0, -5.0, 0.0, 6.0, 15.0])
def test_in_another_steady_wind_each_board_takes_what_a_linear_programme_says(brisvik, shift):
    plan = make(MARKS, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    boards = plan.legs[0].boards
    assert len(boards) == 2
    (hours,) = sailed_h([plan], brisvik, [SteadyWeather(shift % 360.0, 10.0)])[0]
    least = [least_h(brisvik, shift, 10.0, board) for board in boards]
    tack_h = brisvik.manoeuvres.tack_s / 3600.0
    # Never sooner than mixing freely, and at most two turns later on each board.
    assert hours >= (sum(least) + tack_h) * (1.0 - 1e-3)
    assert hours <= (sum(least) + tack_h * (1.0 + 2.0 * len(boards))) * (1.0 + 5e-3)


def test_a_headed_board_is_beaten_along_and_a_lifted_one_sailed_straight(brisvik):
    plan = make(MARKS, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    first = plan.legs[0].boards[0]
    shift = 12.0 if first.tack == "port" else -12.0  # the wind nearer the bow of the first board
    (hours,) = sailed_h([plan], brisvik, [SteadyWeather(shift % 360.0, 10.0)])[0]
    assert hours > plan.elapsed_h


def test_every_plan_in_its_own_wind_takes_its_own_time(five):
    case, found = five
    made = [each.plan for each in found]
    own = np.diag(sailed_h(made, case.boat, members_of(case.weather)))
    np.testing.assert_allclose(own, [plan.elapsed_h for plan in made], rtol=5e-3)


def test_all_at_once_is_each_alone(five):
    case, found = five
    made, winds = [each.plan for each in found], members_of(case.weather)
    table = sailed_h(made, case.boat, winds)
    alone = [[sailed_h([plan], case.boat, [wind])[0, 0] for wind in winds] for plan in made]
    np.testing.assert_allclose(table, alone, rtol=1e-9)


def test_a_wind_that_ends_or_is_too_strong_gives_no_time(brisvik):
    plan = make(MARKS, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    hours = sailed_h([plan], brisvik, [member(0, hours=2), SteadyWeather(0.0, 60.0)])
    assert np.isnan(hours).all()


# ---- the one plan ----------------------------------------------------------------------------


def test_the_plan_kept_is_the_least_of_all_by_either_wish(five):
    case, found = five
    table = sailed_h([each.plan for each in found], case.boat, members_of(case.weather))
    by_mean, by_worst = (ensembles.chosen(case, found, wish) for wish in ("mean", "cautious"))
    assert by_mean.plan.ensemble.mean_h == pytest.approx(table.mean(axis=1).min())
    # Of five the worst tenth is one.
    assert by_worst.plan.ensemble.worst_tenth_h == pytest.approx(table.max(axis=1).min())
    assert by_mean.plan.ensemble.mean_h <= by_worst.plan.ensemble.mean_h
    assert by_worst.plan.ensemble.worst_tenth_h <= by_mean.plan.ensemble.worst_tenth_h


def test_regret_is_what_the_best_known_plan_would_have_saved(five):
    case, found = five
    verdict = ensembles.chosen(case, found, "mean").plan.ensemble
    table = sailed_h([each.plan for each in found], case.boat, members_of(case.weather))
    assert [each.member for each in verdict.each] == [1, 2, 3, 4, 5]
    for at, each in enumerate(verdict.each):
        least = min(table[:, at].min(), each.elapsed_h)
        assert each.regret_min == pytest.approx(60.0 * (each.sailed_h - least), abs=1e-6)
        assert each.regret_min >= 0.0
    assert verdict.worst_regret_min == max(each.regret_min for each in verdict.each)


def test_it_is_made_for_the_wind_that_is_handed_on(five):
    case, found = five
    kept = ensembles.chosen(case, found, "mean")
    again = make(MARKS, case.boat, kept.weather, DEPARTURE)
    assert again.elapsed_h == pytest.approx(kept.plan.elapsed_h, rel=1e-9)


def test_members_that_are_all_alike_have_nothing_to_decide(brisvik):
    one = member(3)
    kept = ensembles.planned(case_of(brisvik, Ensemble((one, one, one))))
    verdict = kept.plan.ensemble
    assert verdict.decision is None
    assert (verdict.mean_regret_min, verdict.apart_nm) == (pytest.approx(0.0, abs=0.7), 0.0)
    assert verdict.elapsed_h.p10 == verdict.elapsed_h.p90
    assert any("agree on tacks and sails" in line for line in ensemble_lines(kept.plan))


def swinging(hour, by_deg, hours=24):
    """A northerly that stands still until an hour, and then swings within another."""
    time = np.arange(hours + 1.0)
    turn = by_deg * np.clip(time - hour, 0.0, 1.0)[:, None, None] + 0.0 * LAT[:, None] + 0.0 * LON
    parts = components_from(turn % 360.0, np.full(turn.shape, 10.0))
    layer = layer_of(dict(zip(WIND, parts, strict=True)), LatLonGrid(LAT, LON), START_H + time)
    return GridWeather((layer,))


@pytest.mark.parametrize(("by_deg", "bearing", "after_min"), [(40.0, 20.0, 0), (30.0, 35.0, 205)])
def test_the_decision_is_due_where_the_best_plans_part_for_long(
    brisvik, by_deg, bearing, after_min
):
    # Some know that the wind will veer, one that it will back: minute by minute, the first from
    # which two of their plans are under other tacks for twenty minutes.
    members = tuple(swinging(2.0, by) for by in (by_deg, by_deg, -by_deg))
    case = case_of(brisvik, Ensemble(members), leg(56.5, 11.5, bearing, 24.0))
    (found,) = ensembles.plan_members(case)
    due = ensembles.chosen(case, found, "mean").plan.ensemble.decision
    own = [each.plan for each in found]
    last = min(int((plan.arrival - DEPARTURE).total_seconds() / 60.0) for plan in own)
    states = [
        [state_at(plan, DEPARTURE + timedelta(minutes=minute)) for plan in own]
        for minute in range(last)
    ]
    apart = [len(set(each)) > 1 for each in states]
    first = next(at for at in range(last) if all(apart[at : at + 20]))
    assert abs((due.time - DEPARTURE).total_seconds() / 60.0 - first) <= 1.0
    assert first == pytest.approx(after_min, abs=2)
    told = {each.board: each.members for each in due.choices}
    then = states[first + 10]
    assert told == {state: then.count(state) for state in set(then)}


def state_at(plan, time):
    """Which tack and sails hold at a time, by the boards' own times."""
    boards = [board for leg_ in plan.legs for board in leg_.boards]
    board = [each for each in boards if each.start.time <= time or each is boards[0]][-1]
    return f"{board.tack} tack, {board.sail_set}"


def test_a_turn_a_little_sooner_or_later_is_no_disagreement(brisvik):
    one, two = (make(MARKS, brisvik, turning(rate), DEPARTURE) for rate in (2.0, 2.02))
    turns = [plan.legs[0].boards[1].start.time for plan in (one, two)]
    assert timedelta(0) < abs(turns[0] - turns[1]) < timedelta(minutes=20)
    assert ensembles.decision(one, [one, two]) is None


def test_no_plan_in_one_member_is_told_and_none_in_all_refused(brisvik):
    stormy = Ensemble((member(0), GridWeather(tuple(_scaled(member(0), 4.0)))))
    kept = ensembles.planned(case_of(brisvik, stormy))
    verdict = kept.plan.ensemble
    assert verdict.each[1].elapsed_h is None
    assert verdict.each[1].reason
    lines = ensemble_lines(kept.plan)
    assert any(line.startswith("No plan of its own has member 2") for line in lines)
    assert any("can't be sailed to its end in member 2" in line for line in lines)
    both = Ensemble(stormy.forecasts[1:] * 2)
    with pytest.raises(NoPlanError, match="in no member"):
        ensembles.planned(case_of(brisvik, both))


def _scaled(weather, factor):
    return [replace(layer, values=factor * layer.values) for layer in weather.layers]


# ---- what is read ----------------------------------------------------------------------------


def test_members_written_by_eccodes_are_read_as_drawn(tmp_path):
    files = (write_grib(tmp_path / "a.grib2", 4), write_netcdf(tmp_path / "a.nc", 4))
    for path, close in zip(files, (5e-3, 1e-9), strict=True):
        for number, weather in enumerate(members_of(read_weather(path))):
            east, north = components(number)
            for hour, row, column in ((0, 0, 0), (7, 3, 4), (48, 6, 6)):
                here = weather.at(START_H + hour, LAT[row], LON[column])
                assert float(here.wind_east_kn) == pytest.approx(east[hour, row, column], abs=close)
                assert float(here.wind_north_kn) == pytest.approx(
                    north[hour, row, column], abs=close
                )


@pytest.mark.parametrize("write", [write_grib, write_netcdf])
def test_members_bear_the_numbers_of_their_file(tmp_path, write):
    weather = read_weather(write(tmp_path / "a", 3, first_number=11))
    assert numbers_of(hold_last(weather)) == (11, 12, 13)


@pytest.mark.parametrize("names", [None, ["a", "b"], [3, 3], [1.5, 2.5]])
def test_members_without_clear_numbers_count_from_one(tmp_path, names):
    import xarray

    with xarray.open_dataset(write_netcdf(tmp_path / "a.nc", 2), engine="h5netcdf") as data:
        other = data.drop_vars("realization")
        if names is not None:
            other = other.assign_coords(realization=names)
        assert numbers_of(from_dataset(other)) == (1, 2)


def test_a_verdict_names_members_as_their_file_does(brisvik):
    case = case_of(brisvik, replace(ensemble(2), numbers=(7, 9)))
    verdict = ensembles.planned(case).plan.ensemble
    assert [each.member for each in verdict.each] == [7, 9]
    assert verdict.chosen in (7, 9)


def test_a_stream_of_its_own_and_last_values_held_on_go_with_every_member():
    stream = SteadyWeather(0.0, 0.0, 90.0, 1.5)
    every = members_of(hold_last(CombinedWeather(ensemble(3), stream)))
    late = START_H + 100.0
    assert len({float(one.at(late, 57.0, 11.0).wind_east_kn) for one in every}) == 3
    assert all(float(one.at(late, 57.0, 11.0).stream_east_kn) == 1.5 for one in every)


def on_a_smaller_grid():
    parts = {name: np.full((49, len(LAT) - 1, len(LON)), 5.0) for name in WIND}
    grid = LatLonGrid(LAT[:-1], LON)
    return GridWeather((layer_of(parts, grid, START_H + np.arange(49.0)),))


@pytest.mark.parametrize(
    ("second", "told"),
    [(member(1, hours=24), "of unlike times"), (on_a_smaller_grid(), "on unlike grids")],
)
def test_unlike_members_are_refused(second, told):
    with pytest.raises(InputError, match=told) as caught:
        members_of(Ensemble((member(0), second)))
    assert "\n" not in str(caught.value)


def test_one_member_is_none():
    for weather in (member(0), SteadyWeather(0.0, 10.0), Ensemble((member(0),))):
        with pytest.raises(InputError, match="one member"):
            members_of(weather)


# ---- side by side, and scored ----------------------------------------------------------------


def test_members_and_departures_on_threads_are_those_one_by_one(brisvik):
    case = case_of(brisvik, ensemble(3), leg(56.5, 11.5, 4.0, 8.0))
    times = [DEPARTURE, DEPARTURE + timedelta(hours=3)]
    alone = ensembles.plan_members(case, times)
    told = []
    with ThreadPoolExecutor(2) as executor:
        found = ensembles.plan_members(
            case, times, executor=executor, progress=lambda *each: told.append(each)
        )
    assert found == alone
    assert told[-1] == (6, 6)
    assert [each[0].plan.departure for each in found] == times


@pytest.mark.long
@pytest.mark.parametrize("side_by_side", [processes, dask_workers])
def test_any_executor_gives_the_same_to_the_last_bit(brisvik, side_by_side):
    case = case_of(brisvik, ensemble(3), leg(56.5, 11.5, 4.0, 8.0))
    times = [DEPARTURE, DEPARTURE + timedelta(hours=3)]
    with side_by_side() as executor:
        found = ensembles.plan_members(case, times, executor=executor)
    assert found == ensembles.plan_members(case, times)


def test_each_members_wind_travels_once(brisvik):
    case = case_of(brisvik, ensemble(3), leg(56.5, 11.5, 4.0, 5.0))
    sent = Counting()
    ensembles.plan_members(
        case, [DEPARTURE + timedelta(hours=hour) for hour in range(3)], executor=sent
    )
    assert len(sent.sent) == 3
    alone = len(pickle.dumps(ensembles.case_of(case, 0)))
    assert max(sent.sent) < 1.1 * alone


def scored(brisvik, first):
    """Mean scores of the members' times, of the control's alone, and of the law itself."""
    case = case_of(brisvik, ensemble(12, first), leg(56.5, 11.5, 4.0, 25.0))
    kept = ensembles.planned(case).plan
    told = np.array([each.sailed_h for each in kept.ensemble.each])
    (truth,) = sailed_h([kept], brisvik, [member(first + 500 + number) for number in range(150)])
    members, law = (crps_ensemble(truth, np.tile(each, (150, 1))).mean() for each in (told, truth))
    return members, np.abs(truth - told[0]).mean(), law


@pytest.mark.long
def test_the_verdict_is_worth_more_than_one_forecast(brisvik):
    # Truths are drawn from the process that the members are drawn from, so the members' times
    # are draws of the truth's time, and m of them score 1 + 1/m times what the law itself does
    # in the mean; one forecast alone twice that (continuous ranked probability score, by the
    # library scoringrules; the factors follow from its form E|X - y| - E|X - X'|/2).
    members, single, law = np.mean([scored(brisvik, first) for first in (0, 1000, 3000)], axis=0)
    assert members < 0.75 * single
    assert members < (1.0 + 1.0 / 12.0) * 1.15 * law


def square(number):
    return (held_case(), number**2)


@pytest.mark.long
def test_with_this_process_as_a_worker_each_part_is_done_once_and_in_order(brisvik):
    case = case_of(brisvik, ensemble(2))
    told = []
    parts = [(number,) for number in range(9)]
    found = side_by_side(case, square, parts, 2, lambda done: told.append(done), and_here=True)
    assert [each for each in found if isinstance(each, int)] == [n**2 for n in range(9)]
    assert all(isinstance(each, Case) for each in found[::2])
    assert told == sorted(told)
