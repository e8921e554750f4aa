"""Variation against the values that the World Magnetic Model is published with."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

pytest.importorskip("pygeomag")

from goosewing.compass.headings import decimal_year, stated_error_deg, variation_model

# NOAA/NCEI and BGS, WMM2025_TEST_VALUES.txt (as carried in the pygeomag repository,
# test/test_values, commit 2b8ac57f): decimal year, height over the ellipsoid in km, lat,
# lon, declination in degrees east, horizontal intensity in nT.
TEST_VALUES = [
    (2025.0, 65, 43, 93, 0.50, 24300.8),
    (2025.0, 51, -33, 109, -5.49, 21838.0),
    (2025.0, 18, 0, 21, 1.29, 29282.2),
    (2025.0, 28, 89, -121, -99.77, 1504.3),
    (2025.5, 6, -36, -137, 20.28, 25353.2),
    (2025.5, 69, 38, -144, 12.93, 23096.3),
    (2025.5, 8, -52, -75, 14.91, 20005.5),
    (2026.0, 74, -57, 3, -22.51, 14362.2),
    (2026.0, 69, 23, 63, 1.17, 34565.9),
    (2026.5, 19, 29, 66, 2.24, 32750.0),
    (2026.5, 12, -79, 115, -137.58, 13023.5),
    (2028.0, 11, -22, -21, -23.24, 13528.3),
    (2028.5, 11, 34, 0, 1.57, 29089.2),
    (2029.0, 19, 46, -22, -5.65, 22632.0),
    (2029.5, 18, 9, -172, 9.24, 30922.5),
]

# The file prints hundredths; half of one, and a little.
DECLINATION_DEG = 0.006
TENTH_NT = 0.06


@pytest.mark.parametrize(("year", "height_km", "lat", "lon", "declination", "field"), TEST_VALUES)
def test_the_model_gives_its_published_values(year, height_km, lat, lon, declination, field):
    found = variation_model().at_height(lat, lon, year, height_km)
    assert found.variation_deg == pytest.approx(declination, abs=DECLINATION_DEG)
    assert found.horizontal_nt == pytest.approx(field, abs=TENTH_NT)
    # Longitudes of another winding are the same places.
    again = variation_model().at_height(lat, lon + 360.0, year, height_km)
    assert again.variation_deg == pytest.approx(found.variation_deg, abs=1e-9)


def test_a_published_date():
    # MathWorks, reference page of wrldmagm: 42.283°N 71.35°W, 1 km, 4 July 2028: -13.6891°.
    year = decimal_year(datetime(2028, 7, 4, tzinfo=UTC))
    assert year == pytest.approx(2028 + 185 / 366, abs=1e-12)
    found = variation_model().at_height(42.283, -71.35, year, 1.0)
    assert found.variation_deg == pytest.approx(-13.6891, abs=1e-4)


def test_the_stated_error():
    # sqrt(0.26² + (5417 / H)²): the model's error in declination, read in pygeomag's code.
    from pygeomag import GeoMag

    result = GeoMag(coefficients_file="wmm/WMM_2025.COF").calculate(57.0, 11.0, 0.0, 2027.5)
    assert stated_error_deg(result.h) == pytest.approx(result.calculate_uncertainty().d, abs=1e-12)
