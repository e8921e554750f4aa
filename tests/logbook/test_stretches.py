"""How a log is cut."""

from __future__ import annotations

import numpy as np
import pytest

from goosewing.logbook.stretches import wind_side


@pytest.mark.parametrize("count", [1, 2, 5, 9, 10, 11, 40])
def test_a_log_of_any_length_has_a_side_at_each_of_its_times(count):
    side = wind_side(np.full(count, -40.0), np.arange(count, dtype=float))
    np.testing.assert_array_equal(side, np.full(count, -1.0))
