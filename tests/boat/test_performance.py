"""The performance factors: the named ones where they are meant, and smooth between."""

from __future__ import annotations

import numpy as np
import pytest

from goosewing.boat.model import Performance

PERFORMANCE = Performance(upwind=0.9, reach=1.05, run=0.8)


@pytest.mark.parametrize(("twa", "factor"), [(0, 0.9), (60, 0.9), (90, 1.05), (120, 1.05),
                                             (150, 0.8), (180, 0.8)])  # fmt: skip
def test_the_factors_are_the_named_ones_in_their_ranges(twa, factor):
    assert PERFORMANCE.factor(twa) == pytest.approx(factor, abs=1e-15)


def test_between_them_the_factor_has_no_corner_and_no_hump():
    # A corner is a step in the slope; a smooth curve's slopes differ by its curvature alone:
    # at most 6·Δ/30² a degree² for a cubic that rises by Δ over 30°.
    twa = np.linspace(0.0, 180.0, 18001)
    factor = PERFORMANCE.factor(twa)
    slope = np.diff(factor) / np.diff(twa)
    steepest = 6.0 * 0.25 / 30.0**2
    assert np.abs(np.diff(slope)).max() < 1.05 * steepest * (twa[1] - twa[0])
    assert (np.diff(factor[(twa >= 60) & (twa <= 90)]) >= 0.0).all()
    assert (np.diff(factor[(twa >= 120) & (twa <= 150)]) <= 0.0).all()


def test_factors_that_are_all_one_number_are_that_number_everywhere():
    alike = Performance(upwind=0.9, reach=0.9, run=0.9)
    np.testing.assert_array_equal(alike.factor(np.linspace(0.0, 180.0, 37)), 0.9)
