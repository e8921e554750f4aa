"""Leeway, compass and log from both tacks, against what the independent simulator sailed with."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.errors import InputError
from goosewing.logbook.leeway import leeway_from_log, leeway_from_wake
from goosewing.logbook.motion import motion
from goosewing.logbook.stretches import stretches
from goosewing_cli.main import outcome
from log_simulator import boards, sail

from .conftest import as_log, beats, truth  # isort: skip


@pytest.mark.parametrize("seed", range(4))
def test_k_within_a_tenth_from_a_beat_whatever_compass_and_stream(seed):
    aboard = {"k": 9.0 + 2.0 * seed, "compass_reads_deg": 4.0 - 2.0 * seed, "stream_kn": 1.2}
    found = leeway_from_log(as_log(beats(3.0, seed, **aboard)))
    assert found.coefficient == pytest.approx(aboard["k"], rel=0.10)
    assert found.compass_offset_deg == pytest.approx(aboard["compass_reads_deg"], abs=1.0)


@pytest.mark.parametrize("seed", range(3))
def test_log_and_compass_with_its_deviation_from_many_courses(seed):
    rng = np.random.default_rng(seed)
    wanted = boards(rng, 8.0, [40.0, 44.0, 60.0, 90.0, 120.0, 150.0])
    aboard = truth(log_reads=1.06, compass_reads_deg=-3.0, deviation=(2.0, -1.0), k=11.0)
    sailed = sail(aboard, wanted, seed, twd=100.0 * seed)
    found = motion(stretches(as_log(sailed)).sailed)
    assert found.log_factor.value == pytest.approx(1 / 1.06, rel=0.02)
    assert found.compass_offset_deg.value == pytest.approx(-3.0, abs=1.0)
    assert found.deviation_sin_deg.value == pytest.approx(2.0, abs=1.0)
    assert found.deviation_cos_deg.value == pytest.approx(-1.0, abs=1.0)
    assert found.leeway.value == pytest.approx(11.0, rel=0.10)
    assert found.leeway.low <= 11.0 <= found.leeway.high


def test_one_tack_alone_is_refused():
    wanted = np.full(3600, 42.0)
    with pytest.raises(InputError, match="from one tack alone"):
        leeway_from_log(as_log(sail(truth(), wanted, 1)))


@pytest.mark.parametrize("missing", ["heel_deg", "heading_deg", "stw_kn", "cog_deg", "awa_deg"])
def test_what_is_missing_is_named(missing):
    sailed = beats(0.5, 1)
    del sailed.read[missing]
    with pytest.raises(InputError, match="can't be told without"):
        leeway_from_log(as_log(sailed))


def test_running_alone_tells_nothing_of_leeway():
    rng = np.random.default_rng(3)
    sailed = sail(truth(), boards(rng, 2.0, [150.0, 160.0]), 3, tws=(8.0, 1.0))
    with pytest.raises(InputError, match="not heeled on both tacks"):
        leeway_from_log(as_log(sailed))


# ---- the wake -----------------------------------------------------------------------------------


def sights(k, offset, heels, speeds, noise=0.0, seed=0):
    rng = np.random.default_rng(seed)
    wake = k * heels / speeds**2 + offset + rng.normal(0.0, noise, heels.size)
    rows = "\n".join(
        f"{h:.2f},{v:.2f},{w:.3f}" for h, v, w in zip(heels, speeds, wake, strict=True)
    )
    return f"heel_deg,boat_speed_kn,wake_deg\n{rows}\n"


@given(k=st.floats(3.0, 25.0), offset=st.floats(-5.0, 5.0))
@settings(max_examples=25, deadline=None)
def test_wakes_on_both_tacks_give_k_back(k, offset):
    heels = np.array([20.0, 15.0, 25.0, -20.0, -15.0, -25.0])
    speeds = np.array([5.5, 5.0, 6.0, 5.4, 5.1, 6.1])
    found = leeway_from_wake(sights(k, offset, heels, speeds), "w.csv")
    assert found.coefficient == pytest.approx(k, rel=0.01)


def test_the_interval_covers_k_as_often_as_it_says():
    heels = np.tile([18.0, -18.0, 22.0, -22.0, 12.0, -14.0], 3)
    speeds = np.tile([5.2, 5.2, 5.6, 5.6, 4.6, 4.8], 3)
    found = [
        leeway_from_wake(sights(10.0, 1.0, heels, speeds, 0.8, seed), "w") for seed in range(200)
    ]
    inside = np.mean([each.low <= 10.0 <= each.high for each in found])
    assert 0.89 <= inside <= 0.99


def test_one_tack_of_wakes_is_said():
    text = sights(10.0, 0.0, np.array([10.0, 15, 20, 25]), np.array([5.0, 5, 5.5, 6]))
    assert "One tack alone" in leeway_from_wake(text, "w.csv").notices[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("heel_deg,boat_speed_kn\n1,2\n", 'column "wake_deg" is missing'),
        ("heel_deg,boat_speed_kn,wake_deg\n20,5,6\n", "1 sights"),
        ("heel_deg,boat_speed_kn,wake_deg\n" + "20,5,6\n" * 4 + "20,x,6\n", "row 6, column boat_"),
        ("heel_deg,boat_speed_kn,wake_deg\n" + "20,5,6\n" * 4 + "80,5,6\n", "row 6, column heel_"),
        ("heel_deg,boat_speed_kn,wake_deg\n" + "20,5,-6\n" * 4, "is a sign wrong"),
    ],
)  # fmt: skip
def test_bad_sights_are_refused_with_their_place(text, said):
    with pytest.raises(InputError, match=said):
        leeway_from_wake(text, "w.csv")


# ---- the command --------------------------------------------------------------------------------


def test_the_document(beat_log, capsys):
    assert outcome(["boat", "leeway", str(beat_log), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == "goosewing.leeway/1"
    assert told["coefficient"] == pytest.approx(9.0, rel=0.1)
    assert told["low"] < told["coefficient"] < told["high"]
    assert told["compass_offset_deg"] == pytest.approx(3.0, abs=1.0)


def test_the_sheet(beat_log, capsys):
    assert outcome(["boat", "leeway", str(beat_log)]) == 0
    said = capsys.readouterr().out
    assert "Leeway coefficient" in said
    assert "[leeway]" in said


def test_a_refusal_is_one_line_and_two(tmp_path, capsys):
    path = tmp_path / "w.csv"
    path.write_text("heel_deg,boat_speed_kn,wake_deg\n20,5,6\n", encoding="utf-8")
    assert outcome(["boat", "leeway", str(path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
