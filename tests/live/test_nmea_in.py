"""NMEA 0183 in: framing whatever a wire does to it, and what each sentence means."""

from __future__ import annotations

import math
from datetime import date
from itertools import pairwise

import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conftest import SAMPLES
from goosewing.exchange.nmea.readings import (
    LONGEST_LINE,
    Clock,
    Framer,
    LogClock,
    heard,
    seconds_of,
)

# Published in gpsd's NMEA.adoc and daemon logs and in pynmea2's tests, checksums recomputed.
GOOD = (
    "$WIMWD,302.4,T,289.6,M,10.5,N,5.4,M*6F",
    "$IIMWV,271.0,R,000.2,N,A*3B",
    "$WIMWV,100.2,T,11.5,N,A*13",
    "$SDVHW,230.0,T,228.7,M,6.8,N,12.7,K*76",
    "$GPHDT,274.07,T*03",
    "$SDHDG,228.5,,,1.3,E*3A",
    "$IIVDR,180.0,T,175.5,M,1.5,N*32",
    "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
)
# There with a wrong checksum.
WRONG = "$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*0B"


def said(sentence: str) -> dict[str, object]:
    """Values of a sentence without its checksum."""
    found = heard(sentence)
    assert found is not None
    return dict(found.values)


def framed(*pieces: bytes) -> tuple[list[str], int]:
    framer = Framer()
    found = [sentence for piece in pieces for sentence in framer.feed(piece)]
    return [*found, *framer.finish()], framer.damaged


def bare(sentence: str) -> str:
    return sentence[: sentence.index("*")]


# ---- framing --------------------------------------------------------------------------


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b"\r\r\n", b"\n\0"])
def test_any_line_end_will_do(end):
    wire = b"".join(each.encode() + end for each in GOOD)
    assert framed(wire) == ([bare(each) for each in GOOD], 0)


@given(st.data())
@settings(max_examples=40)
def test_it_matters_not_how_the_bytes_are_cut(data):
    wire = "".join(f"{each}\r\n" for each in GOOD).encode()
    cuts = sorted(data.draw(st.lists(st.integers(0, len(wire)), max_size=12)))
    ends = [0, *cuts, len(wire)]
    pieces = [wire[a:b] for a, b in pairwise(ends)]
    assert framed(*pieces) == ([bare(each) for each in GOOD], 0)


@given(st.binary(max_size=300), st.integers(0, 8))
@settings(max_examples=150)
def test_noise_between_lines_costs_no_good_sentence(noise, at):
    lines = [each.encode() for each in GOOD]
    wire = b"\r\n".join([*lines[:at], noise, *lines[at:]]) + b"\r\n"
    found, _ = framed(wire)
    assert [each for each in found if each in map(bare, GOOD)] == [bare(each) for each in GOOD]


@given(st.binary(max_size=2000))
@settings(max_examples=100)
def test_no_bytes_at_all_break_it(noise):
    for sentence in framed(noise, b"\r\n")[0]:
        heard(sentence)


def test_a_wrong_checksum_is_counted_and_dropped():
    assert framed(WRONG.encode() + b"\r\n" + GOOD[0].encode() + b"\r\n") == ([bare(GOOD[0])], 1)


def test_a_flipped_bit_is_caught():
    broken = GOOD[1].replace("271.0", "231.0")
    assert framed(broken.encode() + b"\r\n") == ([], 1)


def test_a_cut_sentence_does_not_take_the_next_with_it():
    wire = GOOD[0][:20] + GOOD[1] + "\r\n"
    assert framed(wire.encode()) == ([bare(GOOD[1])], 1)


def test_a_sentence_without_its_checksum_is_cut():
    assert framed(b"$HEHDT,341.8,T\r\n") == ([], 1)


def test_tag_blocks_are_taken_off():
    # The form in gpsd's NMEA.adoc: \g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\
    wire = b"\\g:1-2-73874,n:157036,s:r003669945,c:1241544035*4A\\" + GOOD[0].encode() + b"\r\n"
    assert framed(wire) == ([bare(GOOD[0])], 0)


def test_nuls_and_noise_before_a_sentence():
    assert framed(b"\0\0\xff\x80" + GOOD[0].encode() + b"\0\r\n") == ([bare(GOOD[0])], 1)


def test_a_line_that_never_ends_is_given_up_and_the_next_is_read():
    framer = Framer()
    for _ in range(10_000):
        assert framer.feed(b"\x55" * 100) == []
    assert framer.damaged > 0
    assert len(framer._rest) <= LONGEST_LINE
    assert framer.feed(b"\r\n" + GOOD[0].encode() + b"\r\n") == [bare(GOOD[0])]


def test_an_over_long_sentence_is_no_sentence():
    body = "IIMWV," + "1" * 300
    total = 0
    for byte in body.encode():
        total ^= byte
    assert framed(f"${body}*{total:02X}\r\n".encode()) == ([], 1)


def test_a_receiver_that_overruns_82_bytes_is_read():
    place = "4916.45000000,N,12311.12000000,W"
    body = f"GPRMC,225446.000000,A,{place},000.50000,054.70000,191194,020.3,E,A"
    total = 0
    for byte in body.encode():
        total ^= byte
    found, damaged = framed(f"${body}*{total:02x}\r\n".encode())
    assert (found, damaged) == ([f"${body}"], 0)


# ---- what they say ---------------------------------------------------------------------------


def test_rmc():
    # gpsd's NMEA.adoc spells this one out: 49° 16.45' N, 123° 11.12' W, 0.5 kn, 054.7°, E 20.3°.
    found = heard("$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E")
    assert found is not None
    values = dict(found.values)
    assert values["position"] == pytest.approx((49 + 16.45 / 60, -(123 + 11.12 / 60)))
    assert (values["sog_kn"], values["cog_deg"], values["variation_deg"]) == (0.5, 54.7, 20.3)
    assert found.clock == Clock(22 * 3600 + 54 * 60 + 46, date(1994, 11, 19))


def test_positions_as_pynmea2_reads_them():
    for text in (
        "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D",
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
        "$GPGLL,4916.45,N,12311.12,W,225444,A*31",
    ):
        other = pynmea2.parse(text)
        assert said(bare(text))["position"] == pytest.approx((other.latitude, other.longitude))


@pytest.mark.parametrize(
    "text",
    [
        "$GPRMC,225446,V,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E",
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,N",
        "$GPGGA,184353.07,1929.045,S,02410.506,E,0,04,2.6,100.00,M,-33.9,M,,0000",
        "$GPGGA,184353.07,1929.045,S,02410.506,E,6,04,2.6,100.00,M,-33.9,M,,0000",
        "$GPGLL,4916.45,N,12311.12,W,225444,V",
        "$GPGLL,4916.45,N,12311.12,W,225444,A,N",
        "$GPVTG,220.86,T,,M,2.550,N,4.724,K,N",
        "$IIMWV,271.0,R,000.2,N,V",
        "$IIVBW,5.5,0.1,V,5.6,0.1,A",
    ],
)
def test_what_says_itself_that_it_is_not_valid_is_no_reading(text):
    found = heard(text)
    assert found is not None
    assert (found.values, found.clock) == ((), None)


@pytest.mark.parametrize(
    "lat", ["9116.45", "4960.00", "49.27", "", "-4916.45", "4916.45N", "nan", "4_16.45"]
)
def test_a_latitude_that_is_none(lat):
    assert "position" not in said(f"$GPGLL,{lat},N,12311.12,W,225444,A")


@pytest.mark.parametrize(
    ("text", "angle", "knots"),
    [
        ("$WIMWV,045.0,R,10.0,N,A", 45.0, 10.0),
        ("$WIMWV,315.0,R,10.0,N,A", -45.0, 10.0),
        ("$WIMWV,045.0,R,18.52,K,A", 45.0, 10.0),  # 1852 m in a nautical mile
        ("$WIMWV,045.0,R,05.144444,M,A", 45.0, 10.0),
        ("$WIMWV,180.0,R,10.0,N,A", -180.0, 10.0),
        ("$IIVWR,045.0,L,10.0,N,5.1,M,18.5,K", -45.0, 10.0),
        ("$IIVWR,045.0,R,,N,,M,18.52,K", 45.0, 10.0),
    ],
)
def test_apparent_wind(text, angle, knots):
    assert said(text) == {"awa_deg": angle, "aws_kn": pytest.approx(knots, rel=1e-6)}


def test_true_wind():
    assert said("$WIMWV,100.2,T,11.5,N,A") == {"twa_deg": pytest.approx(100.2), "tws_kn": 11.5}
    assert said("$IIVWT,039,L,08.10,N,04.17,M,,") == {"twa_deg": -39.0, "tws_kn": 8.1}
    assert said("$WIMWD,302.4,T,289.6,M,10.5,N,5.4,M") == {
        "twd_deg": 302.4, "twd_magnetic_deg": 289.6, "tws_kn": 10.5,
    }  # fmt: skip


def test_headings():
    assert said("$SDHDG,228.5,,,1.3,E") == {"heading_magnetic_deg": 228.5, "variation_deg": 1.3}
    assert said("$HCHDG,358.0,4.0,E,7.1,W") == {
        "heading_magnetic_deg": pytest.approx(2.0), "variation_deg": -7.1,
    }  # fmt: skip
    assert said("$HCHDM,228.5,M") == {"heading_magnetic_deg": 228.5}
    assert said("$GPHDT,274.07,T") == {"heading_deg": 274.07}
    assert said("$IIHDT,,T") == {}


def test_log_course_and_stream():
    assert said("$SDVHW,230.0,T,228.7,M,6.8,N,12.7,K") == {
        "heading_deg": 230.0, "heading_magnetic_deg": 228.7, "stw_kn": 6.8,
    }  # fmt: skip
    assert said("$IIVHW,,T,,M,,N,18.52,K") == {"stw_kn": pytest.approx(10.0)}
    assert said("$IIVBW,5.5,0.1,A,5.6,0.1,A") == {"stw_kn": 5.5}
    assert said("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A") == {"cog_deg": 220.86, "sog_kn": 2.55}
    assert said("$IIVDR,180.0,T,175.5,M,1.5,N") == {"set_deg": 180.0, "drift_kn": 1.5}


@pytest.mark.parametrize("number", ["nan", "inf", "1e3", "0x10", "5,5", "1_0", "٣"])
def test_a_number_that_is_none_is_nothing(number):
    assert "aws_kn" not in said(f"$WIMWV,045.0,R,{number},N,A")


def test_zda_gives_the_time():
    # gpsd's NMEA.adoc: $GPZDA,160012.71,11,03,2004,-1,00
    found = heard("$GPZDA,160012.71,11,03,2004,-1,00")
    assert found is not None
    assert found.clock == Clock(16 * 3600 + 12.71, date(2004, 3, 11))
    assert seconds_of(found.clock) == pytest.approx(1079020812.71)


@pytest.mark.parametrize(
    "text", ["$GPZDA,160012.71,31,02,2004,-1,00", "$GPZDA,250012,11,03,2004,,", "$GPZDA,,,,,,"]
)
def test_a_time_that_is_none(text):
    found = heard(text)
    assert found is not None
    assert found.clock is None


@pytest.mark.parametrize(
    "text",
    ["!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0", "$PGRME,22.0,M,52.9,M,51.0,M", "$IIDBT,1,f",
     "$GP", "$", "$GPRMCX,1"],
)  # fmt: skip
def test_what_is_not_read_is_left(text):
    assert heard(text) is None


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60))
@settings(max_examples=100)
def test_no_fields_break_a_reader(fields):
    for kind in (
        "RMC",
        "GGA",
        "GLL",
        "VTG",
        "ZDA",
        "HDG",
        "VHW",
        "VBW",
        "MWV",
        "MWD",
        "VWR",
        "VDR",
    ):
        found = heard(f"$GP{kind},{fields}")
        assert found is not None
        for _, value in found.values:
            numbers = value if isinstance(value, tuple) else (value,)
            assert all(math.isfinite(float(n)) for n in numbers if not isinstance(n, str))


# ---- the time of a log ---------------------------------------------------------------------


DAY = date(2027, 6, 12)
NOON = 1812801600.0
"""2027-06-12T12:00Z: `date -u -d 2027-06-12T12:00Z +%s`."""


def log(*sentences: str):
    return [found for each in sentences if (found := heard(each)) is not None]


def times(*sentences: str, today: date = DAY) -> tuple[LogClock, list[float]]:
    read = log(*sentences)
    clock = LogClock(read, today)
    return clock, [clock.hear(each) for each in read]


RMC = "$GPRMC,{},A,5643.20,N,01224.00,E,5.0,272.2,{},,,A"
GGA = "$GPGGA,{},5643.20,N,01224.00,E,1,08,1.0,0,M,,M,,"


def test_the_date_that_comes_later_holds_for_what_came_before():
    clock, found = times(GGA.format("120000"), RMC.format("120000", "120627"), GGA.format("120001"),
                         today=date(2000, 1, 1))  # fmt: skip
    assert found == [NOON, NOON, NOON + 1.0]
    assert clock.dated


def test_midnight_without_a_date():
    clock, found = times(GGA.format("235959"), GGA.format("000001"))
    assert found[1] - found[0] == 2.0
    assert not clock.dated


def test_time_goes_by_one_talker():
    other = RMC.format("115500", "120627").replace("$GP", "$GN")
    _, found = times(RMC.format("120000", "120627"), other, RMC.format("120001", "120627"))
    assert found == [NOON, NOON, NOON + 1.0]


def test_when_the_one_that_led_falls_silent_another_leads():
    others = [RMC.format(f"1200{s:02d}", "120627").replace("$GP", "$GN") for s in range(1, 40)]
    _, found = times(RMC.format("120000", "120627"), *others)
    assert found[-1] == NOON + 39.0


def test_a_log_without_times_goes_by_bursts():
    burst = ("$HCHDG,1.0,,,,", "$VWVHW,,T,1.0,M,5.0,N,,K", "$WIMWV,45.0,R,10.0,N,A")
    clock, found = times(*burst * 3)
    assert clock.counted
    assert [t - found[0] for t in found] == [0.0] * 3 + [1.0] * 3 + [2.0] * 3


def test_the_sample_log_is_whole():
    """Made by tests/make_nmea_log.py; pynmea2 wrote it, and reads every line of it."""
    wire = (SAMPLES / "brisvik_log.nmea").read_bytes()
    assert len(wire) <= 300_000
    found, damaged = framed(wire)
    assert damaged == 0
    assert len(found) == wire.count(b"\r\n") > 1000
    for line in wire.decode("ascii").splitlines()[::50]:
        pynmea2.parse(line, check=True)
