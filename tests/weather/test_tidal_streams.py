"""Tidal streams by the hour from high water."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from goosewing.errors import InputError
from goosewing.weather.base import Weather, hours_from_datetime
from goosewing.weather.tides import HighWater, StreamTable, TidalStreams, parse_tides, read_tides
from goosewing.weather.wind import components_to

HIGH = datetime(2027, 6, 1, 12, 0, tzinfo=UTC)
HIGH_H = hours_from_datetime(HIGH)
# A table in the manner of a chart's tidal diamond: numbers from memory, no chart's.
SETS = [240, 239, 238, 235, 230, 60, 58, 59, 60, 62, 65, 235, 239]
SPRINGS = [1.1, 2.1, 2.6, 2.2, 1.2, 0.3, 1.6, 2.4, 2.5, 1.9, 0.9, 0.2, 0.9]
NEAPS = [0.6, 1.1, 1.4, 1.2, 0.6, 0.2, 0.9, 1.3, 1.4, 1.0, 0.5, 0.1, 0.5]
ROWS = [list(row) for row in zip(range(-6, 7), SETS, SPRINGS, NEAPS, strict=True)]


def toml(rows=ROWS, *, extra="", place="", tides=((HIGH, 4.4),), springs=5.6, neaps=2.8):
    waters = "".join(
        f"[[high_water]]\ntime = {time.isoformat()}\nrange_m = {height}\n" for time, height in tides
    )
    return (
        f"springs_range_m = {springs}\nneaps_range_m = {neaps}\n{extra}\n{waters}"
        f"[[stream]]\n{place}\nhours = {rows}\n"
    )


def test_at_the_whole_hour_stands_the_interpolated_rate():
    # A day's sum as a navigator does it (form of the computation-of-rates diagram, from memory):
    # range 4.4 m lies (4.4 - 2.8) / (5.6 - 2.8) = 4/7 of the way from neaps to springs, so two
    # hours before high water 1.2 kn at springs and 0.6 kn at neaps make 0.6 + 4/7 * 0.6 = 0.943 kn.
    streams = parse_tides(toml())
    assert isinstance(streams, Weather)
    got = streams.at(HIGH_H - 2.0, 57.0, 11.0)
    assert np.hypot(got.stream_east_kn, got.stream_north_kn) == pytest.approx(0.942857, abs=1e-6)
    assert np.degrees(np.arctan2(got.stream_east_kn, got.stream_north_kn)) % 360 == pytest.approx(
        230.0
    )
    assert np.isnan(got.wind_east_kn)
    assert not streams.varies_in_place


def test_between_hours_the_components_are_linear():
    # The stream turns from 230° 1.2 kn through slack to 060° 0.3 kn: no angle between is sailed.
    streams = parse_tides(toml(tides=((HIGH, 5.6),)))
    one, other = (np.array(components_to(SETS[n], SPRINGS[n])) for n in (4, 5))
    got = streams.at(HIGH_H - 1.75, 0.0, 0.0)
    expected = 0.75 * one + 0.25 * other
    np.testing.assert_allclose([got.stream_east_kn, got.stream_north_kn], expected, atol=1e-8)


@pytest.mark.parametrize(
    ("range_m", "expected"), [(5.6, 2.6), (2.8, 1.4), (4.2, 2.0), (6.3, 2.9), (1.4, 0.8)]
)
def test_the_rate_is_linear_across_the_range(range_m, expected):
    got = parse_tides(toml(tides=((HIGH, range_m),))).at(HIGH_H - 4.0, 0.0, 0.0)
    assert np.hypot(got.stream_east_kn, got.stream_north_kn) == pytest.approx(expected)


def test_a_rate_never_falls_below_nought():
    rows = [[hour, 90, 2.0, 0.2] for hour in range(-6, 7)]
    got = parse_tides(toml(rows, tides=((HIGH, 1.4),))).at(HIGH_H, 0.0, 0.0)
    assert got.stream_east_kn == pytest.approx(0.0)


def test_one_tide_leads_to_the_next_and_the_ends_are_the_ends():
    tides = ((HIGH, 5.6), (HIGH + timedelta(hours=12, minutes=24), 2.8))
    streams = parse_tides(toml(tides=tides))
    last, first = (
        np.array(components_to(SETS[12], SPRINGS[12])),
        np.array(components_to(SETS[0], NEAPS[0])),
    )
    # Between hour 6 of one tide and hour -6 of the next, 24 minutes later.
    got = streams.at(HIGH_H + 6.1, 0.0, 0.0)
    expected = 0.75 * last + 0.25 * first
    np.testing.assert_allclose([got.stream_east_kn, got.stream_north_kn], expected, atol=1e-8)
    ends = streams.at(HIGH_H + np.array([-6.01, -6.0, 18.4, 18.41]), 0.0, 0.0).stream_east_kn
    assert np.isnan(ends).tolist() == [True, False, False, True]
    assert streams.coverage.start == HIGH - timedelta(hours=6)


def test_overlapping_tides_each_count_to_the_middle():
    tides = ((HIGH, 5.6), (HIGH + timedelta(hours=11), 5.6))
    streams = parse_tides(toml(tides=tides))
    # Hour 5 of the first and hour -5 of the second are kept, hour 6 and hour -6 are not.
    for hour, number in ((5.0, 11), (6.0, 1)):
        got = streams.at(HIGH_H + hour, 0.0, 0.0)
        expected = components_to(SETS[number], SPRINGS[number])
        np.testing.assert_allclose([got.stream_east_kn, got.stream_north_kn], expected, atol=1e-8)


def test_tides_exactly_twelve_hours_apart_share_no_time():
    tides = ((HIGH, 5.6), (HIGH + timedelta(hours=12), 2.8))
    got = parse_tides(toml(tides=tides)).at(HIGH_H + 6.0, 0.0, 0.0)
    # Hour 6 of the first is hour -6 of the second, which counts.
    expected = components_to(SETS[0], NEAPS[0])
    np.testing.assert_allclose([got.stream_east_kn, got.stream_north_kn], expected, atol=1e-8)


def two_places(**more):
    def table(rate, lat, lon):
        return StreamTable(
            set_deg=np.full(13, 90.0),
            springs_kn=np.full(13, rate),
            neaps_kn=np.full(13, rate),
            lat=lat,
            lon=lon,
        )

    return TidalStreams(
        tables=(table(1.0, 57.0, 11.0), table(3.0, 57.1, 11.0)),
        high_waters=(HighWater(time=HIGH, range_m=4.0),),
        springs_range_m=5.0,
        neaps_range_m=3.0,
        **more,
    )


def test_several_tables_are_for_several_places():
    streams = two_places(reach_nm=10.0)
    got = streams.at(HIGH_H, [57.0, 57.1, 57.05, 57.3], 11.0).stream_east_kn
    np.testing.assert_allclose(got, [1.0, 3.0, 2.0, np.nan], atol=1e-4)
    assert streams.varies_in_place
    assert streams.coverage.lat_north == pytest.approx(57.1 + 10 / 60)


def test_beyond_the_tables_there_may_be_no_stream():
    streams = two_places(beyond="no stream")
    got = streams.at(HIGH_H + np.array([0.0, 0.0, 7.0]), [57.0, 50.0, 50.0], 11.0).stream_east_kn
    np.testing.assert_allclose(got, [1.0, 0.0, np.nan], atol=1e-4)
    assert streams.coverage.lat_north is None


def test_the_table_may_stand_in_a_csv_of_its_own(tmp_path):
    head = toml().split("[[stream]]")[0]
    (tmp_path / "tides.toml").write_text(f'table = "streams.csv"\n{head}')
    lines = [
        f"{row[0]},{row[1]},{row[2]},{row[3]},{lat},11" for lat in (57.0, 57.1) for row in ROWS
    ]
    header = "hour,set_deg,springs_kn,neaps_kn,lat,lon\n"
    (tmp_path / "streams.csv").write_text(header + "\n".join(lines))
    streams = read_tides(tmp_path / "tides.toml")
    assert len(streams.tables) == 2
    inline = parse_tides(toml())
    one, other = (source.at(HIGH_H + 1.3, 57.0, 11.0) for source in (streams, inline))
    assert one.stream_east_kn == pytest.approx(other.stream_east_kn, abs=1e-6)


BAD_SET = [[row[0], 400 if row[0] == 2 else row[1], *row[2:]] for row in ROWS]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("springs_range_m = ", "not a valid TOML file"),
        ("port = " + "[" * 2000, "not a valid TOML file: too deeply nested"),
        ("port = " + "9" * 5000, "not a valid TOML file: Exceeds the limit"),
        ("colour = 1", "unknown key 'colour'"),
        (toml(rows=ROWS[:-1]), "the hours -6 to 6"),
        (toml(rows=ROWS[::-1]), "the hours -6 to 6"),
        (toml(rows=BAD_SET), "row 9 of hours.*400"),
        (toml(rows=[[1, 2, 3]]), "row 1 of hours: expected"),
        (toml(tides=()), "no high water"),
        (toml(tides=((HIGH.replace(tzinfo=None), 4.0),)), "high_water 1.*no zone"),
        (toml(tides=((HIGH, 0.0),)), "high water 1: range_m"),
        (toml(tides=((HIGH, 19.0),)), "high water 1: a range of 19 m is too far"),
        (toml(tides=((HIGH, 4.0), (HIGH + timedelta(hours=25), 4.0))), "25.0 h after.*missing"),
        (toml(tides=((HIGH, 4.0), (HIGH - timedelta(hours=12), 4.0))), "-12.0 h after"),
        (toml(springs=2.8, neaps=5.6), "springs_range_m must exceed"),
        (toml(springs="nan"), "springs_range_m must be a number"),
        (toml(extra='beyond = "sea"'), "beyond must be"),
        (toml(place="lat = 95.0\nlon = 11.0"), "lat must be a number from -90 to 90"),
        (toml(place="lat = 57.0"), "lon must be a number"),
        (toml() + "[[stream]]\nhours = " + str(ROWS), "needs lat and lon"),
        (toml().split("[[stream]]")[0], r"expected \[\[stream\]\] tables"),
        ("table = 'nowhere.csv'\n" + toml().split("[[stream]]")[0], "no such file"),
    ],
)
def test_faults_are_named(text, said, tmp_path):
    file = tmp_path / "tides.toml"
    file.write_text(text)
    with pytest.raises(InputError, match=said) as caught:
        read_tides(file)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("tides.toml: ")
