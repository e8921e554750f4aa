"""A few of the archipelagos of the campaign, those in which a search alone lost something."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import archipelagos_campaign as campaign

from goosewing.foresight import alternatives
from goosewing.plan import of_case

pytestmark = pytest.mark.long


@pytest.mark.parametrize("seed", [10, 21, 40])
def test_what_is_found_faster_as_an_alternative_is_the_plan(brisvik, seed):
    case, areas = campaign.case_of(seed, brisvik)
    found = of_case(case)
    told = alternatives.add(case, found)
    assert campaign.faults_of(case, areas, told) == []
    assert told.elapsed_h <= found.elapsed_h
    # What is told beside the plan is told beside this one.
    for each in told.legs[0].alternatives:
        assert each.elapsed_h - told.legs[0].elapsed_h == pytest.approx(each.added_min / 60.0)
    if told is not found:
        assert told.legs[0].origin == found.legs[0].origin
        assert told.bound_h <= told.elapsed_h + 1e-9
