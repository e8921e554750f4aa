"""How fast one mode makes good a direction: one look among angles does what all pieces' do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.velocities import travel_time
from goosewing.velocities.travel_time import along_one_mode
from goosewing.velocities.velocity_set import Airs, velocity_set

ANGLE = np.radians(np.arange(0.0, 360.0, 0.5))
DIRECTIONS = np.column_stack((np.cos(ANGLE), np.sin(ANGLE)))


@given(
    twd=st.one_of(st.floats(0.0, 360.0), st.integers(0, 23).map(lambda k: 15.0 * k)),
    tws=st.floats(3.0, 25.0),
    set_kn=st.tuples(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)),
    slack=st.booleans(),
)
def test_rays_cross_a_curve_where_a_look_at_every_piece_finds_it(brisvik, twd, tws, set_kn, slack):
    east, north = (0.0, 0.0) if slack else set_kn
    held = velocity_set(brisvik, Airs(twd, tws, east, north, float("nan")))
    speed, twa = along_one_mode(held, DIRECTIONS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(travel_time, "_only_crossing", lambda *_: None)
        other_speed, other_twa = along_one_mode(held, DIRECTIONS)
    # Where a ray only grazes an end, rounding decides: the speed of that end, or none.
    ends = (speed > 0.0) != (other_speed > 0.0)
    assert ends.sum() <= 2 * len(held.modes)
    both = (speed > 0.0) & (other_speed > 0.0)
    assert speed[both] == pytest.approx(other_speed[both], abs=1e-9)
    assert twa[both] == pytest.approx(other_twa[both], abs=1e-6)
