"""Files told apart by content, and what a source says it holds."""

import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from goosewing.errors import InputError
from goosewing.weather.combine import hold_last
from goosewing.weather.read import describe, read_weather
from goosewing.weather.steady import SteadyWeather

REAL = Path(__file__).parents[1] / "data" / "nam_20180917t00_10m_wind.grib2"
TABLE = "# ours\ntime,wind_from_deg,wind_kn\n2027-06-01T06:00Z,240,12\n2027-06-01T09:00Z,250,12\n"
TIDES = (
    "# ours\nsprings_range_m = 5.0\nneaps_range_m = 2.5\n"
    "[[high_water]]\ntime = 2027-06-01T12:00:00Z\nrange_m = 4.0\n"
    f"[[stream]]\nhours = {[[hour, 90, 2.0, 1.0] for hour in range(-6, 7)]}\n"
)


@pytest.mark.parametrize(
    ("name", "content", "wind", "stream"),
    [
        ("a.csv", REAL.read_bytes(), True, False),
        ("b.txt", b"YUXX01 KWBC 170000\r\r\n" + REAL.read_bytes(), True, False),
        ("c.grib2", TABLE.encode(), True, False),
        ("d.nc", b"\xef\xbb\xbf" + TABLE.encode(), True, False),
        ("e.csv", TIDES.encode(), False, True),
    ],
)
def test_the_name_does_not_matter(name, content, wind, stream, tmp_path):
    file = tmp_path / name
    file.write_bytes(content)
    facts = describe(read_weather(file))
    assert (facts.wind, facts.stream) == (wind, stream)


def test_netcdf_is_told_by_its_content(tmp_path):
    xarray = pytest.importorskip("xarray")
    place = {"latitude": [57.0, 58.0], "longitude": [11.0, 12.0]}
    times = np.array(["2027-06-01T06:00", "2027-06-01T12:00"], dtype="datetime64[ns]")
    ds = xarray.Dataset(coords={"time": times, **place})
    for name in ("eastward_wind", "northward_wind"):
        attributes = {"standard_name": name, "units": "m s-1"}
        ds[name] = (("time", "latitude", "longitude"), np.ones((2, 2, 2)), attributes)
    file = tmp_path / "wind.csv"
    ds.to_netcdf(file, engine="h5netcdf")
    facts = describe(read_weather(file))
    assert facts.wind
    assert (facts.times, facts.step_h, facts.members) == (2, (6.0, 6.0), 1)
    assert (facts.coverage.lat_south, facts.coverage.lon_east) == (57.0, 12.0)


def test_facts_of_a_real_forecast():
    facts = describe(read_weather(REAL))
    assert (facts.wind, facts.gust, facts.stream, facts.members) == (True, True, False, 1)
    assert (facts.times, facts.step_h) == (1, None)
    assert facts.coverage.start == datetime(2018, 9, 17, tzinfo=UTC)
    # The corners of NCEP grid 211 (its GRIB's own first point; the others from memory).
    assert facts.coverage.lat_south == pytest.approx(12.19, abs=1e-6)
    assert facts.coverage.lon_east == pytest.approx(-49.385, abs=1e-3)


def test_facts_of_sources_without_a_file():
    facts = describe(SteadyWeather(240.0, 12.0, 90.0, 1.0))
    assert (facts.wind, facts.gust, facts.stream, facts.times) == (True, False, True, 0)
    assert not describe(SteadyWeather(240.0, 12.0)).stream
    assert describe(hold_last(SteadyWeather(240.0, 12.0))).wind


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        (b"\x1f\x8b\x08\x00", "gzip"),
        (b"BZh91AY&SY", "bzip2"),
        (b"PK\x03\x04rest", "zip"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "not GRIB"),
        (b"\x00\x01\x02", "not GRIB"),
        (b"# nothing\n", "nothing but comments"),
        (b"GRIB is a word\n", "header line"),
        (b"hello\nworld\n", "unknown column 'hello'"),
        (REAL.read_bytes()[:3000], "damaged or cut short"),
    ],
)
def test_what_is_no_weather_is_one_line(content, said, tmp_path, capfd):
    file = tmp_path / "weather.bin"
    file.write_bytes(content)
    with pytest.raises(InputError, match=said) as caught:
        read_weather(file)
    assert "\n" not in str(caught.value)
    assert "weather.bin: " in str(caught.value)
    assert capfd.readouterr() == ("", "")


def test_a_missing_file_and_a_folder_are_one_line(tmp_path):
    for path, said in ((tmp_path / "nowhere.grib", "no such file"), (tmp_path, "is a folder")):
        with pytest.raises(InputError, match=said):
            read_weather(path)


def test_what_is_wanted_must_be_there(tmp_path):
    (tmp_path / "wind").write_text(TABLE)
    (tmp_path / "tides").write_text(TIDES)
    with pytest.raises(InputError, match="holds no stream"):
        read_weather(tmp_path / "wind", wanted="stream")
    with pytest.raises(InputError, match="holds no wind"):
        read_weather(tmp_path / "tides", wanted="wind")
    assert describe(read_weather(tmp_path / "tides", wanted="stream")).stream


def test_heavy_libraries_wait_for_a_file_that_needs_them():
    code = (
        "import sys, goosewing.weather.read, goosewing.weather.steady\n"
        "print(*sorted({'eccodes', 'xarray', 'pyproj', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


@pytest.mark.parametrize("size", [600, 5000])
def test_noise_without_zeros_is_no_table(tmp_path, size):
    # Random bytes of a seed, none of them zero, which alone would give the file away.
    noise = np.random.default_rng(7).integers(1, 256, size).astype(np.uint8).tobytes()
    (tmp_path / "wind.grib2").write_bytes(noise)
    with pytest.raises(InputError, match=r"wind\.grib2: is not GRIB, NetCDF, CSV or TOML"):
        read_weather(tmp_path / "wind.grib2")


def test_text_that_turns_to_noise_later_is_no_table_either(tmp_path):
    (tmp_path / "w.csv").write_bytes(b"time,wind_from_deg,wind_kn\n" * 60 + b"\xff\xfe\xfd")
    with pytest.raises(InputError, match=r"w\.csv: is not text in UTF-8"):
        read_weather(tmp_path / "w.csv")
