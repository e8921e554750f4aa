"""`goosewing handheld` from the command line: what it prints, writes and leaves."""

from __future__ import annotations

from pathlib import Path

import gpxpy
import pynmea2
import pytest

from goosewing_cli.main import outcome

SAMPLE = Path(__file__).parents[2] / "sample_routes" / "kattegat.gpx"

GPX = """<?xml version="1.0"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte>{}</rte></gpx>"""


def test_a_route_is_written_and_then_fits(tmp_path, capsys):
    out = tmp_path / "h.gpx"
    assert outcome(["handheld", str(SAMPLE), "--out", str(out)]) == 0
    printed = capsys.readouterr().out
    assert "shortened: route name" in printed
    assert f"Written: {out}, 1 route" in printed
    names = [each.name for each in gpxpy.parse(out.read_text()).routes[0].points]
    assert all(name == name.upper() and len(name) <= 6 for name in names)
    assert outcome(["handheld", "--check", str(out)]) == 0
    assert capsys.readouterr().out == f"{out}: fits\n"


def test_a_file_that_does_not_fit_is_said(capsys):
    assert outcome(["handheld", "--check", str(SAMPLE)]) == 2
    captured = capsys.readouterr()
    assert '"Kattegat round" has 14 characters, over 6' in captured.out
    assert "does not fit" in captured.err
    assert len(captured.err.splitlines()) == 1


def test_limits_are_options(tmp_path, capsys):
    points = "".join(
        f'<rtept lat="57.{at}" lon="11"><name>Tack {at}</name></rtept>' for at in range(5)
    )
    (tmp_path / "r.gpx").write_text(GPX.format(points))
    arguments = ["handheld", str(tmp_path / "r.gpx"), "--out", str(tmp_path / "h.gpx")]
    arguments += ["--points", "3", "--name-length", "2", "--charset", "A-Z0-9", "--gpx", "1.0"]
    assert outcome(arguments) == 0
    assert "split: route (none) of 5 points into 2" in capsys.readouterr().out
    text = (tmp_path / "h.gpx").read_text()
    assert 'version="1.0"' in text
    read = gpxpy.parse(text)
    assert [[each.name for each in route.points] for route in read.routes] == [
        ["T0", "T1", "T2"],
        ["T2", "T3", "T4"],
    ]


def test_sentences_to_a_file(tmp_path, capsys):
    target = tmp_path / "h.nmea"
    assert outcome(["handheld", str(SAMPLE), "--nmea", str(target), "--talker", "II"]) == 0
    lines = target.read_bytes().decode("ascii").splitlines()
    assert [pynmea2.parse(line, check=True).sentence_type for line in lines][-1] == "RTE"
    assert f"Handed over: {len(lines)} sentences to {target}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["{sample}"], "--out FILE or --nmea TARGET is needed"),
        ([], "PLAN.gpx is needed"),
        (["--out", "{tmp}/x.gpx"], "PLAN.gpx is needed"),
        (["{tmp}/none.gpx", "--out", "{tmp}/x.gpx"], "none.gpx: no such file"),
        (["{sample}", "--out", "{tmp}"], "is a folder"),
        (["{sample}", "--out", "{sample}"], "is an input and is not overwritten"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--points", "1"], "points must be 2 to"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--charset", "Z-A"], "runs backwards"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--tolerance", "-1"], "tolerance must be"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--preset", "huge"], "huge"),
        (["{sample}", "--nmea", "tcp://nowhere"], "expected tcp://HOST:PORT"),
        (["{sample}", "--nmea", "serial:/dev/none"], "can't open /dev/none"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "tcp://nowhere"], "expected tcp://"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{tmp}"], "is a folder"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{tmp}/no/x"], "no such folder"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{tmp}/./x.gpx"], "two outputs have"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{sample}"], "is an input"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{tmp}/y", "--pace", "0"], "the pace"),
        (["{sample}", "--out", "{tmp}/x.gpx", "--nmea", "{tmp}/y", "--talker", "x"], "a talker"),
    ],
)
def test_bad_input_is_one_line_and_two(tmp_path, capsys, arguments, words):
    filled = [each.format(sample=SAMPLE, tmp=tmp_path) for each in arguments]
    before = SAMPLE.read_bytes()
    assert outcome(["handheld", *filled]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert len(error.splitlines()) == 1
    assert "Traceback" not in error
    assert SAMPLE.read_bytes() == before
    assert not (tmp_path / "x.gpx").exists()


def test_the_file_that_was_looked_over_is_an_input_too(tmp_path, capsys):
    out = tmp_path / "h.gpx"
    assert outcome(["handheld", str(SAMPLE), "--out", str(out)]) == 0
    before = out.read_bytes()
    assert outcome(["handheld", str(SAMPLE), "--check", str(out), "--out", str(out)]) == 2
    assert "is an input and is not overwritten" in capsys.readouterr().err
    assert out.read_bytes() == before
