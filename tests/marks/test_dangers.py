"""Dangers among waypoints: told by words, kept off by a true distance, never a mark."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.errors import InputError
from goosewing.hazards.areas import Hazards
from goosewing.marks.dangers import (
    ROUND,
    areas_of,
    dangers_among,
    others,
    set_apart,
    told,
)
from goosewing.records import Mark
from goosewing.words.dangers import danger_words

MARKS = [Mark(name="A", lat=57.0, lon=11.0), Mark(name="B", lat=57.2, lon=11.0)]


def point(name="X", lat=57.1, lon=11.0, **texts):
    return Mark(name=name, lat=lat, lon=lon, **texts)


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        ({"symbol": "Rock"}, "its symbol says rock"),
        ({"symbol": "Danger Area"}, "its symbol says danger"),
        ({"kind": "hazard"}, "its type says hazard"),
        # Objects of IHO's S-57, appendix A: dangerous wreck, underwater rock, obstruction.
        ({"kind": "UWTROC"}, "its type says uwtroc"),
        ({"kind": "OBSTRN"}, "its type says obstrn"),
        ({"name": "Wreck 4.2 m"}, "its name says wreck"),
        ({"name": "the shoal"}, "its name says shoal"),
        ({"name": "Rock Harbour"}, None),
        ({"name": "ROCK HARBOUR"}, None),
        ({"name": "Black Rock Marina"}, None),
        ({"name": "Shoal N of harbour"}, "its name says shoal"),
        ({"name": "Shoal off Rock Harbour"}, "its name says shoal"),
        ({"name": "Rock Harbour wreck"}, "its name says rock"),
        ({"name": "Wreck Rock Bay"}, "its name says wreck"),
        ({"name": "Rock in the bay"}, "its name says rock"),
        ({"name": "wreck pier"}, "its name says wreck"),
        ({"name": "Sunken Pier"}, "its name says sunken"),
        ({"name": "Harbour Rock"}, "its name says rock"),
        ({"name": "Harbour Wreck Bay 2 m"}, "its name says wreck"),
        # Lights stand on their rocks; a bar is itself a shoal.
        ({"name": "Rock Light"}, "its name says rock"),
        ({"name": "Shoal Bar"}, "its name says shoal"),
        ({"name": "Rock Harbour", "symbol": "rock"}, "its symbol says rock"),
        ({"name": "Rockall"}, None),
        ({"name": "Fuel", "symbol": "Anchor"}, None),
        ({"description": "beware of the rock"}, None),
    ],
)
def test_words_of_the_trade_say_it(texts, said):
    made = point(**texts)
    assert danger_words(made.symbol, made.kind, made.name) == said


def test_the_choice_decides():
    every = [point("Skarv", symbol="rock"), point("Wreck"), point("Fuel")]

    def chosen(which):
        return [each.mark.name for each in dangers_among(every, MARKS, which)]

    assert chosen("said") == ["Skarv", "Wreck"]
    assert chosen("symbols") == ["Skarv"]
    assert chosen("all") == ["Skarv", "Wreck", "Fuel"]
    assert chosen("none") == []
    found = dangers_among(every, MARKS, "symbols")
    assert [each.name for each in others(every, MARKS, found)] == ["Wreck", "Fuel"]


def test_a_mark_s_own_waypoint_is_no_danger_and_one_beside_it_gives_way():
    own = point("Rock buoy", 57.2, 11.0)
    beside = point("Rock", 57.2, 11.001)
    (found,) = dangers_among([own, beside], MARKS, "all")
    apart_nm = Geodesic.WGS84.Inverse(57.2, 11.0, 57.2, 11.001)["s12"] / 1852.0
    assert found.mark is beside
    assert found.distance_nm == pytest.approx(apart_nm / 2.0, rel=1e-6)
    clear = Hazards.of(areas_of([found], "f"))
    assert clear.at(57.2, 11.0) is None


@pytest.mark.parametrize("clearance_nm", [0.0, 0.04, 0.3])
@pytest.mark.parametrize("place", [(57.1, 11.0), (-33.0, 179.9999), (0.0, -180.0), (71.0, 25.0)])
def test_nothing_comes_nearer_than_asked_and_little_is_lost(place, clearance_nm):
    (found,) = dangers_among([point("Rock", *place)], MARKS, "said", 0.1)
    clear = Hazards.of(areas_of([found], "f", clearance_nm), clearance_nm)
    asked_m = 1852.0 * max(0.1, clearance_nm)
    for azimuth in np.arange(0.0, 360.0, 7.0):
        for share, within in ((0.97, True), (1.04, False)):
            far_m = share * asked_m + (0.0 if within else 12.0)
            at = Geodesic.WGS84.Direct(*place, azimuth, far_m)
            assert bool(clear.inside(at["lat2"], at["lon2"])) is within
    assert ROUND >= 16


@pytest.mark.parametrize("distance", [0.0, -1.0, 11.0, float("nan")])
def test_a_distance_that_makes_no_sense_is_refused(distance):
    with pytest.raises(InputError, match="--danger-distance must be above 0 and at most 10 nm"):
        dangers_among([point("Rock")], MARKS, "said", distance)


def test_among_marks_only_symbol_and_type_set_apart():
    every = (point("Start"), point("Rock buoy"), point("Skarv", symbol="rock"))
    marks, dangers = set_apart(every)
    assert [each.name for each in marks] == ["Start", "Rock buoy"]
    assert [each.name for each in dangers] == ["Skarv"]
    with pytest.raises(InputError, match=r"every waypoint is a danger.*--dangers none"):
        set_apart(every[2:])


def test_it_is_said_which_and_why_and_which_not():
    many = [point(f"Rock {n}") for n in range(9)]
    found = dangers_among(many, MARKS, "said")
    kept, left = told(found, [point("Fuel")], "m.gpx")
    assert "Rock 0 never nearer than 0.1 nm (its name says rock)" in kept
    assert "and 3 more" in kept
    # How to ask otherwise is for a terminal, and no word of a sheet on deck.
    assert "--dangers" not in kept + left
    assert "Fuel" in left
    assert told((), (), "m.gpx") == ()


def test_a_word_of_danger_that_was_passed_over_is_named():
    passed, left = told((), [point("Rock Harbour"), point("Fuel")], "m.gpx")
    assert "although" in passed
    assert "Rock Harbour (rock)" in passed
    assert "nothing says" not in passed
    assert "Rock Harbour" not in left
    (only,) = told((), [point("Wreck")], "m.gpx")
    assert "Wreck (wreck)" in only
