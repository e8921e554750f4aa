"""The CSV of wind, gust and stream."""

import numpy as np
import pytest

from goosewing.errors import InputError
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table, parse_time, read_table

PLAIN = """time,wind_from_deg,wind_kn
2027-06-01T06:00Z,350,10
2027-06-01T09:00+01:00,10,10
"""
SIX = hours_from_datetime(parse_time("2027-06-01T06:00Z"))


def test_a_table_of_times_holds_everywhere():
    weather = parse_table(PLAIN)
    assert weather.varies_in_time
    assert not weather.varies_in_place
    got = weather.at(SIX + 1.0, [50.0, -70.0], [11.0, 170.0])
    assert got.wind_east_kn == pytest.approx(0.0, abs=1e-9)
    assert got.wind_north_kn == pytest.approx(-10.0 * np.cos(np.radians(10.0)))
    assert np.isnan(got.gust_kn).all()
    assert (got.stream_east_kn == 0.0).all()
    assert weather.coverage.end.isoformat() == "2027-06-01T08:00:00+00:00"


def test_a_steady_table_is_the_steady_source():
    text = "time,wind_from_deg,wind_kn,gust_kn,set_deg,drift_kn\n" + "".join(
        f"2027-06-01T{hour:02}:00Z,240,12,17,90,1.5\n" for hour in range(0, 24, 6)
    )
    got = parse_table(text).at(SIX + 2.5, 57.0, 11.0)
    expected = SteadyWeather(240.0, 12.0, 90.0, 1.5, 17.0).at(SIX, 57.0, 11.0)
    np.testing.assert_allclose(np.array(got), np.array(expected), atol=1e-12)


def test_several_positions_are_interpolated():
    rows = [
        f"2027-06-01T{hour}:00Z,270,{speed},{lat},{lon}"
        for hour in ("06", "12")
        for lat, lon, speed in ((57, 179, 0), (57, -179, 10), (58, 179, 20), (58, -179, 30))
    ]
    weather = parse_table("time,wind_from_deg,wind_kn,lat,lon\n" + "\n".join(rows))
    assert weather.varies_in_place
    got = weather.at(SIX + 1.0, [57.0, 57.5, 57.5, 58.0], [179.0, 180.0, -179.5, -179.0])
    # A full rectangle: bilinear, across the date line.
    np.testing.assert_allclose(got.wind_east_kn, [0.0, 15.0, 17.5, 30.0], atol=1e-8)
    three = parse_table("time,wind_from_deg,wind_kn,lat,lon\n" + "\n".join(rows[:3]))
    got = three.at(SIX, [57.0, 57.0, 58.0, 30.0], [179.0, -179.0, 179.0, 179.0])
    np.testing.assert_allclose(got.wind_east_kn, [0.0, 10.0, 20.0, np.nan], atol=1e-4)


def test_gusts_may_be_blank_and_comments_are_passed_over():
    text = (
        "\ufeff# from the harbour office\n\nTime, wind_from_deg ,wind_kn,gust_kn\n"
        "2027-06-01T06:00Z,240,12,\n# later\n"
        "2027-06-01T09:00Z,240,12,18\n2027-06-01T12:00Z,240,12,20\n"
    )
    got = parse_table(text).at(SIX + np.array([1.0, 3.0, 4.5]), 0.0, 0.0)
    np.testing.assert_allclose(got.gust_kn, [np.nan, 18.0, 19.0], atol=1e-8)


def test_a_stream_alone_may_stand_in_a_table():
    weather = parse_table("time,set_deg,drift_kn\n2027-06-01T06:00Z,90,2\n2027-06-01T07:00Z,90,2\n")
    got = weather.at(SIX, 0.0, 0.0)
    assert got.stream_east_kn == pytest.approx(2.0)
    assert np.isnan(got.wind_east_kn)


HEAD = "time,wind_from_deg,wind_kn"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        (HEAD, "header line and at least one row"),
        (f"{HEAD}\n2027-06-01T06:00,240,12", "row 2, column time.*no zone"),
        (f"{HEAD}\nyesterday,240,12", "row 2, column time.*'yesterday'"),
        (
            f"{HEAD}\n2027-06-01T06:00Z,240,12\n2027-06-01T06:00Z,240,12",
            "row 3.*times must increase",
        ),
        (
            f"{HEAD}\n2027-06-01T07:00Z,240,12\n2027-06-01T06:00Z,240,12",
            "row 3.*times must increase",
        ),
        (f"{HEAD}\n2027-06-01T06:00Z,abc,12", "row 2, column wind_from_deg.*'abc'"),
        (f"{HEAD}\n2027-06-01T06:00Z,400,12", "row 2, column wind_from_deg.*'400'"),
        (f"{HEAD}\n2027-06-01T06:00Z,nan,12", "row 2, column wind_from_deg.*'nan'"),
        (f"{HEAD}\n2027-06-01T06:00Z,240,-1", "row 2, column wind_kn.*'-1'"),
        (f"{HEAD}\n2027-06-01T06:00Z,240,", "row 2, column wind_kn.*''"),
        (f"{HEAD}\n2027-06-01T06:00Z,240,inf", "row 2, column wind_kn"),
        (f"{HEAD}\n2027-06-01T06:00Z,240", "row 2: expected 3 cells, got 2"),
        ("time,wind_from_deg\n2027-06-01T06:00Z,240", "'wind_from_deg' needs 'wind_kn'"),
        (f"{HEAD},lat\n2027-06-01T06:00Z,240,12,57", "'lat' needs 'lon'"),
        (f"{HEAD},pressure\n2027-06-01T06:00Z,240,12,1013", "unknown column 'pressure'"),
        (f"{HEAD},wind_kn\n2027-06-01T06:00Z,240,12,12", "comes twice"),
        ("wind_from_deg,wind_kn\n240,12", "'time' is missing"),
        ("time,gust_kn\n2027-06-01T06:00Z,12", "are missing"),
        (
            f"{HEAD},lat,lon\n2027-06-01T06:00Z,240,12,57,11\n2027-06-01T07:00Z,240,12,57,11\n"
            "2027-06-01T06:00Z,240,12,58,11",
            "row 4.*1 of the 2 times",
        ),
    ],
)
def test_faults_are_named_by_row_and_column(text, said, tmp_path):
    file = tmp_path / "wind.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        read_table(file)
    assert "wind.csv: " in str(caught.value)
    assert "\n" not in str(caught.value)


def test_semicolons_and_decimal_commas_say_the_same():
    commas = "time,wind_from_deg,wind_kn\n2027-06-01T06:00Z,240,12.5\n2027-06-01T12:00Z,250,14\n"
    other = commas.replace(",", ";").replace("12.5", "12,5")
    for text in (other, "# by hand, in port\n" + other, other.replace(";", "\t")):
        at = (hours_from_datetime(parse_time("2027-06-01T07:00Z")), 57.0, 11.0)
        np.testing.assert_allclose(parse_table(text).at(*at), parse_table(commas).at(*at))
