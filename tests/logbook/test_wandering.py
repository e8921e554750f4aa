"""How the wind wandered in a log, against the law that the log was drawn from."""

from __future__ import annotations

import json

import numpy as np
import pytest

from goosewing.errors import InputError
from goosewing.logbook.read import read_logs
from goosewing.logbook.wandering import shifts_from_log
from log_simulator import Table, Truth, boards, nmea, sail

SAMPLES = "sample_routes/brisvik"


@pytest.fixture(scope="module")
def truth(request):
    folder = request.config.rootpath / SAMPLES
    heel = Table(folder / "main-and-jib-heel.csv")
    # A vane that reads 3 degrees to one side shifts the wind by 6 at every tack. No stream: a
    # tide would turn the wind over the water, which is no shift of this law.
    return Truth(Table(folder / "main-and-jib.csv"), heel, vane_reads_deg=3.0, stream_kn=0.0)


def logged(tmp_path, truth, hours, seed, **wind):
    rng = np.random.default_rng(seed)
    path = tmp_path / f"log-{seed}.nmea"
    path.write_text(nmea(sail(truth, boards(rng, hours, [44.0, 52.0, 75.0]), seed, **wind)))
    return path


@pytest.mark.long
@pytest.mark.parametrize(("sigma", "tau_min", "seed"), [(7.0, 10.0, 1), (4.0, 15.0, 2)])
def test_the_log_tells_the_law_that_it_was_drawn_from(tmp_path, truth, sigma, tau_min, seed):
    path = logged(
        tmp_path, truth, 24.0, seed, wind_shift=sigma, shift_s=60.0 * tau_min, flicker=0.0
    )
    found = shifts_from_log(read_logs([path]))
    assert found.sigma_deg.low <= sigma <= found.sigma_deg.high
    assert found.tau_min.low <= tau_min <= (found.tau_min.high or np.inf)
    # The interval is worth having.
    assert found.sigma_deg.high < 2.2 * found.sigma_deg.low
    assert found.sigma_deg.value == pytest.approx(sigma, rel=0.25)
    assert found.shifts.tau_min == found.tau_min.value


def test_a_log_too_short_says_how_long_it_would_take(tmp_path, truth):
    path = logged(tmp_path, truth, 1.0, 3, wind_shift=8.0, shift_s=3600.0)
    with pytest.raises(InputError, match=r"too short: .* at least \d+ min are needed") as caught:
        shifts_from_log(read_logs([path]))
    assert path.name in str(caught.value)


def drawn(rng, count, fade):
    noise = rng.standard_normal(count) * np.sqrt(1.0 - fade**2)
    now, path = float(rng.standard_normal()), []
    for each in noise:
        now = fade * now + float(each)
        path.append(now)
    return np.array(path)


@pytest.mark.long
def test_the_intervals_hold_the_truth_as_often_as_they_say():
    from goosewing.logbook import wandering

    rng = np.random.default_rng(5)
    held = []
    for _ in range(120):
        minutes = np.arange(600)
        walk = 5.0 * drawn(rng, 600, np.exp(-0.1)) + 0.03 * minutes
        walk[minutes % 40 < 6] = np.nan  # turns, every forty minutes
        away, slope = wandering._without_line(minutes / 60.0, walk)
        sigma, tau = wandering._told(away, 599.0 / 60.0)
        held.append((sigma.low <= 5.0 <= sigma.high, tau.low <= 10.0 <= (tau.high or np.inf)))
        assert abs(slope - 1.8) < 3.0
    # 95 % as they say: of 120, 19 in 20 give or take three standard errors of 2 %; the
    # correlation time's, whose replicas are drawn from what itself is uncertain, a little fewer.
    sigma_held, tau_held = np.mean(held, axis=0)
    assert sigma_held >= 0.89
    assert tau_held >= 0.85


def test_the_command_tells_what_to_give_a_plan(tmp_path, truth, capsys):
    from goosewing.shifts.model import parse_shifts
    from goosewing_cli.main import outcome

    path = logged(tmp_path, truth, 3.0, 4, wind_shift=6.0, shift_s=240.0)
    assert outcome(["weather", "shifts", str(path)]) == 0
    words = capsys.readouterr().out
    given = words.split("--shifts ")[1].split()[0]
    assert outcome(["weather", "shifts", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == "goosewing.shifts/1"
    shifts, _ = parse_shifts(given, 10.0)
    assert shifts.sigma_deg == pytest.approx(told["sigma_deg"]["value"], abs=0.05)
    assert shifts.tau_min == pytest.approx(told["tau_min"]["value"], abs=0.05)


@pytest.mark.parametrize("text", ["", "time,heading_deg\n2027-06-01T06:00:00Z,3\n"])
def test_what_is_no_log_of_wind_is_refused_in_one_line(tmp_path, capsys, text):
    from goosewing_cli.main import outcome

    path = tmp_path / "log.csv"
    path.write_text(text)
    assert outcome(["weather", "shifts", str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
