"""Logs of every kind come in as the same arrays; what is wrong is told in one line."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conftest import SAMPLES
from goosewing.errors import InputError
from goosewing.exchange.nmea.readings import heard
from goosewing.exchange.nmea.routes import checksum
from goosewing.logbook.gather import Gathering
from goosewing.logbook.read import nmea, read_logs

DAY = "2027-06-12"


def sentence(body: str) -> str:
    return f"${body}*{checksum(body)}\r\n"


def wrote(folder: Path, text: str | bytes, name: str = "log.nmea") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def second(number: int, *bodies: str) -> str:
    clock = f"{6 + number // 3600:02d}{number // 60 % 60:02d}{number % 60:02d}.00"
    place = "5643.2000,N,01224.0000,E"
    rmc = f"GPRMC,{clock},A,{place},5.00,270.0,120627,4.5,E,A"
    return "".join(sentence(body) for body in (rmc, *bodies))


# ---- sentences ----------------------------------------------------------------------------------


def read_one(text: str) -> dict[str, float]:
    """What the array reader makes of a few sentences."""
    into = Gathering()
    data = (sentence("GPZDA,060000,12,06,2027,00,00") + text).encode("latin-1")
    nmea.read_block(data, nmea.Clock(0.0), into, nmea.Tally())
    try:
        log = into.log(["x"])
    except InputError:
        return {}
    return {name: float(values[np.isfinite(values)][-1]) for name, values in log.channels.items()}


def by_wire(text: str) -> dict[str, float]:
    """What the reader of single sentences, off a wire, makes of the same."""
    found: dict[str, float] = {}
    for line in text.splitlines():
        said = heard(line.rpartition("*")[0])
        for name, value in said.values if said else ():
            if name == "position":
                found["lat"], found["lon"] = value
            elif name in {"twd_magnetic_deg", "set_deg", "drift_kn"}:
                continue
            else:
                found[name] = float(value)
    return found


SENTENCES = (
    "WIMWV,315.0,R,010.0,N,A", "WIMWV,45,T,5.5,M,A", "WIMWV,180.0,R,36.0,K,A", "WIMWV,3,R,4,N,V",
    "HCHDG,101.1,,,7.1,W", "HCHDG,359.9,0.5,E,4.5,E", "HCHDT,12.25,T", "HCHDM,.5,M", "HCHDM,,M",
    "VWVHW,,T,271.5,M,6.11,N,11.31,K", "VWVHW,,T,,M,,N,11.31,K", "VWVHW,10.0,T,,,5,N,,",
    "GPVTG,054.7,T,034.4,M,005.5,N,010.2,K,A", "GPVTG,,T,,M,,N,,K,N", "GPVTG,1.0,T,,M,,N,10.0,K",
    "GPGLL,4916.45,N,12311.12,W,225444,A,", "GPGLL,4916.45,S,12311.12,E",
    "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,",
    "GPGGA,123519,4807.038,N,01131.000,E,6,08,0.9,545.4,M,46.9,M,,",
    "WIMWD,10.0,T,8.0,M,12.0,N,6.2,M", "WIVWR,045,L,12.6,N,6.5,M,23.3,K", "WIVWT,10,R,,,3.0,M,,",
    "VDVBW,5.5,0.1,A,5.6,0.2,A", "VDVBW,5.5,0.1,V,5.6,0.2,A",
    "GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E",
    "GPRMC,081836,V,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E",
)  # fmt: skip
"""Forms read in public documentation of the format."""


@pytest.mark.parametrize("body", SENTENCES)
def test_arrays_hold_what_the_reader_of_single_sentences_says(body):
    assert read_one(sentence(body)) == pytest.approx(by_wire(sentence(body)), rel=2e-6, abs=1e-5)


numbers = st.one_of(
    st.just(""),
    st.floats(-999.0, 99999.0).map(lambda x: f"{x:.3f}"),
    st.integers(0, 400).map(str),
    st.sampled_from(["1.2.3", "-", "+5", "1e5", "nan", ".", "12:30", " 5", "00000000000001"]),
)


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(["WIMWV", "HCHDG", "VWVHW", "IIVWR", "GPVTG"]),
    st.lists(st.one_of(numbers, st.sampled_from(list("NTMKRLAEWV"))), max_size=10),
)
def test_whatever_stands_in_the_fields_both_readers_agree(address, fields):
    text = sentence(",".join([address, *fields]))
    ours = read_one(text)
    if not all(field.strip() == field for field in fields):
        return  # a blank in a field: a number to one of them, none to the other
    for name, value in by_wire(text).items():
        if abs(value) > 1e7:
            continue
        assert ours[name] == pytest.approx(value, rel=2e-6, abs=1e-3), name


def test_numbers_of_every_form():
    words = [
        b"1",
        b"-12.5",
        b"+.5",
        b"7.",
        b"",
        b".",
        b"-",
        b"1.2.3",
        b"12a",
        b"0012.340",
        b"99999999",
    ]
    block = np.frombuffer(b",".join(words) + b",", dtype=np.uint8)
    end = np.flatnonzero(block == ord(","))
    begin = np.concatenate(([0], end[:-1] + 1))
    expected = [1, -12.5, 0.5, 7, *[np.nan] * 5, 12.34, 99999999]
    assert nmea.numbers(block, begin, end) == pytest.approx(expected, nan_ok=True)


def test_the_sample_log_against_pynmea2():
    path = SAMPLES / "brisvik_log.nmea"
    log = read_logs([path])
    speeds = {}
    now = None
    for line in path.read_text(encoding="ascii").splitlines():
        told = pynmea2.parse(line, check=True)
        if told.sentence_type == "RMC":
            now = int(datetime.combine(told.datestamp, told.timestamp, UTC).timestamp())
        if told.sentence_type == "VHW":
            speeds[now] = float(told.water_speed_knots)
    ours = dict(zip(log.time_s.astype(int).tolist(), log.get("stw_kn").tolist(), strict=True))
    # A sentence stands between two times, and is given its share of what lies between.
    later = {time: ours.get(time + 2, ours.get(time + 1)) for time in speeds}
    same = [later[time] == pytest.approx(speed, abs=0.01) for time, speed in speeds.items()]
    assert np.mean(same) > 0.99


def test_noise_and_cut_sentences_are_left_and_counted(tmp_path):
    good = "".join(second(i, "VWVHW,,T,271.5,M,6.11,N,11.31,K") for i in range(100))
    noisy = b"\x00\xff$GPRM" + good.encode() + b"$VWVHW,,T,271.5,M,9.99,N,11.31,K*00\r\n" * 5
    log = read_logs([wrote(tmp_path, noisy)])
    assert np.nanmax(log.get("stw_kn")) == pytest.approx(6.11)
    assert any("damaged" in notice for notice in log.notices)


def test_a_line_nested_too_deep_is_one_damaged_line(tmp_path):
    lines = (SAMPLES / "brisvik_log.jsonl").read_text(encoding="utf-8").splitlines()[:200]
    deep = '{"updates": [{"x": ' + "[" * 20000
    whole, nested = (
        read_logs([wrote(tmp_path, "\n".join(each), f"{len(each)}.jsonl")])
        for each in (lines, [*lines[:100], *([deep] * 9), *lines[100:]])
    )
    np.testing.assert_array_equal(nested.get("stw_kn"), whole.get("stw_kn"))
    assert any("damaged" in notice for notice in nested.notices)


def test_midnight_passes_in_a_log_that_tells_its_date_once(tmp_path):
    lines = [sentence("GPZDA,235900,12,06,2027,00,00")]
    for i in range(180):
        clock = (23 * 3600 + 59 * 60 + i) % 86400
        text = f"{clock // 3600:02d}{clock // 60 % 60:02d}{clock % 60:02d}"
        lines.append(sentence(f"GPGLL,5643.2,N,01224.0,E,{text},A"))
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert datetime.fromtimestamp(log.time_s[-1], UTC) == datetime(
        2027, 6, 13, 0, 1, 59, tzinfo=UTC
    )


def test_a_log_without_times_is_refused(tmp_path):
    with pytest.raises(InputError, match="no sentence tells the time"):
        read_logs([wrote(tmp_path, sentence("WIMWV,45,R,10,N,A") * 50)])


def test_heel_and_revolutions(tmp_path):
    lines = [
        second(i, "IIXDR,A,-3.2,D,PTCH,A,-14.5,D,ROLL", "ERRPM,E,1,1800,,A") for i in range(60)
    ]
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert np.nanmedian(log.get("heel_deg")) == pytest.approx(-14.5)
    assert np.nanmedian(log.get("engine_rpm")) == 1800


# ---- other kinds --------------------------------------------------------------------------------


def deltas(count=120, own="vessels.urn:mrn:imo:mmsi:265000000"):
    lines = [json.dumps({"name": "signalk-server", "self": own})]
    for i in range(count):
        stamp = f"{DAY}T06:{i // 60:02d}:{i % 60:02d}.200Z"
        values = [
            {"path": "navigation.speedThroughWater", "value": 3.0},
            {"path": "navigation.headingTrue", "value": 1.5},
            {"path": "environment.wind.angleApparent", "value": -0.5},
            {"path": "environment.wind.speedApparent", "value": 6.0},
            {"path": "navigation.attitude", "value": {"roll": 0.2, "pitch": 0.0, "yaw": None}},
            {"path": "navigation.position", "value": {"latitude": 57.0, "longitude": 11.0}},
            {"path": "navigation.courseRhumbline.nextPoint", "value": None},
        ]
        update = {"$source": "n2k.115", "timestamp": stamp, "values": values}
        lines.append(json.dumps({"context": own, "updates": [update]}))
        ship = [{"path": "navigation.speedThroughWater", "value": 9.0},
                {"path": "navigation.headingTrue", "value": 3.0}]  # fmt: skip
        other = {"$source": "ais", "timestamp": stamp, "values": ship}
        lines.append(json.dumps({"context": "vessels.urn:mrn:imo:mmsi:1", "updates": [other]}))
    return lines


def check_delta_log(log):
    assert np.nanmedian(log.get("stw_kn")) == pytest.approx(3.0 * 3600 / 1852)
    assert np.nanmedian(log.get("heading_deg")) == pytest.approx(np.degrees(1.5))
    assert np.nanmedian(log.get("awa_deg")) == pytest.approx(np.degrees(-0.5), rel=1e-6)
    assert np.nanmedian(log.get("heel_deg")) == pytest.approx(np.degrees(0.2), rel=1e-6)
    assert log.time_s.size == 120


def test_signal_k_deltas_of_the_boat_herself_only(tmp_path):
    check_delta_log(read_logs([wrote(tmp_path, "\n".join(deltas()), "log.jsonl")]))


def test_the_servers_multiplexed_file(tmp_path):
    start = int(datetime(2027, 6, 12, 6, tzinfo=UTC).timestamp() * 1000)
    lines = [f"{start + 500 * i};I;{line}" for i, line in enumerate(deltas())]
    sentences = [
        f"{start + 1000 * i + 7};N;{sentence('VWVHW,,T,,M,5.00,N,,K').strip()}" for i in range(50)
    ]
    log = read_logs([wrote(tmp_path, "\n".join(lines + sentences) + "\n", "log")])
    check_delta_log(log)
    assert log.sources["stw_kn"] == "n2k.115"
    assert any("Two devices" in notice for notice in log.notices)


def gpx(times):
    points = "".join(
        f'<trkpt lat="{57.0 + i / 60 / 60:.6f}" lon="11.0"><time>{t}</time></trkpt>'
        for i, t in enumerate(times)
    )
    return (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>'
        f"{points}</trkseg></trk></gpx>"
    )


def test_a_track_and_a_table_of_winds_become_one_log(tmp_path):
    times = [f"{DAY}T06:{i // 6:02d}:{i % 6 * 10:02d}Z" for i in range(60)]
    track = wrote(tmp_path, gpx(times), "track.gpx")
    rows = "\n".join(f"{t},240,12" for t in times)
    winds = wrote(tmp_path, f"time,twd_deg,tws_kn\n{rows}\n", "wind.csv")
    log = read_logs([track, winds])
    # A minute of latitude an hour's sixtieth part: 1/60' in ten seconds is 6 kn, near enough.
    assert np.nanmedian(log.get("sog_kn")) == pytest.approx(6.0, rel=0.01)
    assert np.nanmedian(log.get("cog_deg")) % 360 == pytest.approx(0.0, abs=1e-6)
    assert np.nanmedian(log.get("twd_deg")) == 240


def test_a_wind_told_every_ten_minutes_is_drawn_between(tmp_path):
    times = [f"{DAY}T06:{i // 6:02d}:{i % 6 * 10:02d}Z" for i in range(241)]
    track = wrote(tmp_path, gpx(times), "track.gpx")
    told = (("06:00", 350, 10), ("06:10", 10, 14), ("06:20", 20, 14), ("06:30", 20, 14))
    rows = "\n".join(f"{DAY}T{clock}:00Z,{blows},{kn}" for clock, blows, kn in told)
    winds = wrote(tmp_path, f"time,wind_from_deg,wind_kn\n{rows}\n", "wind.csv")
    log = read_logs([track, winds])
    at = int(np.searchsorted(log.time_s, datetime(2027, 6, 12, 6, 5, tzinfo=UTC).timestamp()))
    assert np.cos(np.radians(log.get("twd_deg")[at])) == pytest.approx(1.0, abs=1e-4)
    assert log.get("tws_kn")[at] == pytest.approx(12.0, abs=0.05)


def test_hours_that_never_meet_are_refused_and_the_clock_named(tmp_path):
    times = [f"{DAY}T06:{i // 6:02d}:{i % 6 * 10:02d}Z" for i in range(60)]
    track = wrote(tmp_path, gpx(times), "track.gpx")
    # Two hours late: the zone's time, called universal.
    rows = "\n".join(f"{t.replace('T06', 'T08')},240,12" for t in times)
    winds = wrote(tmp_path, f"time,twd_deg,tws_kn\n{rows}\n", "wind.csv")
    with pytest.raises(InputError, match=r"never logged at the same time \(\+2.0 h apart\)"):
        read_logs([track, winds])


def test_times_without_a_zone_are_refused_with_their_place(tmp_path):
    with pytest.raises(InputError, match=r"track\.gpx, line 1: .* with its zone"):
        read_logs([wrote(tmp_path, gpx([f"{DAY}T06:00:00"] * 5), "track.gpx")])
    table = "time,stw_kn,awa_deg\n2027-06-12T06:00:00Z,5,40\n2027-06-12 06:00:01,5,40\n"
    with pytest.raises(InputError, match=r"t\.csv, row 3, column time: .* with its zone"):
        read_logs([wrote(tmp_path, table, "t.csv")])


def test_semicolons_and_decimal_commas(tmp_path):
    table = "time;stw_kn;awa_deg\n2027-06-12T06:00:00Z;5,5;320\n"
    log = read_logs([wrote(tmp_path, table, "t.csv")])
    assert log.get("stw_kn")[0] == 5.5
    assert log.get("awa_deg")[0] == -40


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("hello\nworld\n", "expected a log"),
        ('{"a": 1}\n', "no sentence or delta"),
        ("$GPRMC,x*00\n" * 30, "no sentence or delta"),
        ("time,stw_kn\n2027-06-12T06:00:00Z,fast\n", 'row 2, column stw_kn: "fast"'),
        ("time,colour\n2027-06-12T06:00:00Z,red\n", "no column of readings"),
        ("<gpx/>", "no track"),
        ("<gpx", "track"),
    ],
)
def test_what_is_no_log_is_refused_in_one_line(tmp_path, text, said):
    with pytest.raises(InputError) as told:
        read_logs([wrote(tmp_path, text)])
    assert said in str(told.value)
    assert "\n" not in str(told.value)


# ---- faults -------------------------------------------------------------------------------------


def test_two_devices_under_one_name_are_left_out(tmp_path):
    lines = [
        second(i, f"WIMWV,{45 + 30 * (i % 2)},R,10.0,N,A", "VWVHW,,T,271.5,M,6.11,N,,K")
        for i in range(300)
    ]
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert not log.has("awa_deg")
    assert any("under one name, WIMWV" in notice for notice in log.notices)


def test_of_two_devices_that_differ_the_one_heard_more_often_is_taken(tmp_path):
    lines = [second(i, "HCHDT,100.0,T", *["IIHDT,112.0,T"][: i % 2]) for i in range(300)]
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert np.nanmedian(log.get("heading_deg")) == 100.0
    assert any("12° apart: HCHDT" in notice for notice in log.notices)


def test_a_vane_that_stands_still_through_a_turn_is_left_out_there(tmp_path):
    lines = [
        second(i, f"HCHDT,{100 if i < 200 else 200}.{i % 10},T",
               f"WIMWV,{45 if i < 400 else 50 + i % 7},R,10.{i % 7},N,A")
        for i in range(600)
    ]  # fmt: skip
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert np.isnan(log.get("awa_deg")[50:390]).all()
    assert np.isfinite(log.get("awa_deg")[410:]).all()
    assert any("apparent wind angle stands still" in notice for notice in log.notices)


def test_a_log_written_twice_counts_once(tmp_path):
    once = "".join(second(i, "VWVHW,,T,271.5,M,6.11,N,,K") for i in range(100))
    log = read_logs([wrote(tmp_path, once + once)])
    assert log.time_s.size == pytest.approx(100, abs=1)
    assert any("backwards" in notice for notice in log.notices)


def test_of_two_clocks_the_satellites_is_followed(tmp_path):
    lines = [
        second(i, f"IIZDA,{8 + i // 3600:02d}{i // 60 % 60:02d}{i % 60:02d}.00,12,06,2027,-02,00",
               "VWVHW,,T,271.5,M,6.11,N,,K")
        for i in range(120)
    ]  # fmt: skip
    log = read_logs([wrote(tmp_path, "".join(lines))])
    assert datetime.fromtimestamp(log.time_s[0], UTC).hour == 6
    assert any("clock of II is 2.0 h ahead of GP's" in notice for notice in log.notices)


def test_gaps_are_no_hours(tmp_path):
    parts = [second(i, "VWVHW,,T,271.5,M,6.11,N,,K") for i in (*range(1800), *range(5400, 7200))]
    log = read_logs([wrote(tmp_path, "".join(parts))])
    assert log.hours == pytest.approx(1.0, abs=0.01)
