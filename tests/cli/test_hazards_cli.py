"""`--hazards`, `--safe-depth`, `--coast` and `--clearance`, through every command that has them."""

from __future__ import annotations

import json

import gpxpy
import pytest
import shapely
from shapely.geometry import mapping

import s57_cells
from conftest import SAMPLES

BASE = ("--boat", "brisvik/boat.toml", "--wind", "315/10")
PLAN = ("plan", "marks.gpx", *BASE, "--depart", "2027-06-12T05:00Z")
BEAM_WIND = ("--boat", "brisvik/boat.toml", "--wind", "000/10")
# A straight board from A to B leads over the reef.
A, B = (56.45, 12.35), (56.45, 11.95)
REEF = shapely.box(12.12, 56.42, 12.16, 56.47)


@pytest.fixture(autouse=True)
def _marks(desk):
    points = "".join(
        f'<rtept lat="{lat}" lon="{lon}"><name>{name}</name></rtept>'
        for name, (lat, lon) in (("Start", A), ("Finish", B))
    )
    (desk / "marks.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">'
        f"<rte>{points}</rte></gpx>"
    )
    drawn(desk / "reef.geojson", REEF, "Reef")


def refused(ran, code=2):
    assert ran.code == code, ran.err
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    return line


def document(run, *words):
    ran = run(*words, "--json")
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


def way(plan):
    return shapely.LineString(
        [(p["lon"], p["lat"]) for leg in plan["legs"] for b in leg["boards"] for p in b["points"]]
    )


@pytest.fixture
def crossing(run):
    """The words of a plan that sails the straight line, over the reef."""
    words = ("plan", "marks.gpx", *BEAM_WIND, "--depart", "2027-06-12T05:00Z")
    assert way(document(run, *words)).intersects(REEF)
    return words


def drawn(path, shape, name):
    feature = {"type": "Feature", "properties": {"name": name}, "geometry": mapping(shape)}
    path.write_text(json.dumps(feature))


def test_a_plan_goes_round_what_a_file_holds(run, crossing):
    plan = document(run, *crossing, "--hazards", "reef.geojson")
    assert not way(plan).intersects(REEF.buffer(-1e-4))
    plan = document(run, *crossing, "--hazards", "reef.geojson", "--clearance", "0.5")
    assert way(plan).distance(REEF) > 0.49 / 60.0


def test_files_add_up(run, desk, crossing):
    # Together they leave the southern way only.
    north = shapely.box(12.12, 56.47, 12.16, 56.70)
    drawn(desk / "north.geojson", north, "North")
    plan = document(run, *crossing, "--hazards", "reef.geojson", "--hazards", "north.geojson")
    assert not way(plan).intersects(REEF.union(north).buffer(-1e-4))
    assert way(plan).bounds[1] < REEF.bounds[1] + 1e-4


def test_a_chart_cell_by_its_safe_depth(run, desk, crossing):
    try:
        s57_cells.library()
    except s57_cells.WriterUnavailableError as fault:
        pytest.skip(str(fault))
    corners = [(lat, lon) for lon, lat in shapely.get_coordinates(REEF)[:-1]]
    with s57_cells.Cell(desk / "DK4X.000") as cell:
        cell.area("DEPARE", [(56.2, 11.8), (56.2, 12.5), (56.6, 12.5), (56.6, 11.8)], DRVAL1=10.0)
        cell.area("DEPARE", corners, DRVAL1=2.5, DRVAL2=4.0)
    words = (*crossing, "--hazards", "DK4X.000")
    assert way(document(run, *words, "--safe-depth", "2.5")).intersects(REEF)
    plan = document(run, *words, "--safe-depth", "3")
    assert not way(plan).intersects(REEF.buffer(-1e-4))
    assert any("charted depths under 3 m" in notice for notice in plan["notices"])
    assert "--safe-depth" in refused(run(*words))


@pytest.fixture
def with_low_water_at(desk):
    """A chart cell of a reef 2.5 m deep, and a table of tides with low water at hours."""
    try:
        s57_cells.library()
    except s57_cells.WriterUnavailableError as fault:
        pytest.skip(str(fault))
    with s57_cells.Cell(desk / "DK4X.000") as cell:
        cell.area("DEPARE", [(56.2, 11.8), (56.2, 12.5), (56.6, 12.5), (56.6, 11.8)], DRVAL1=10.0)
        corners = [(lat, lon) for lon, lat in shapely.get_coordinates(REEF)[:-1]]
        cell.area("DEPARE", corners, DRVAL1=2.5, DRVAL2=4.0)

    def write(*hours):
        # A metre at all other hours: 3.5 m over the reef. Under way from 5 to about 7.
        rows = [f"2027-06-12T{h:02}:00Z,{0.0 if h in hours else 1.0}\n" for h in range(1, 24)]
        (desk / "tide.csv").write_text("time,height_m\n" + "".join(rows), encoding="utf-8")

    return write


UNDER_TIDE = ("--hazards", "DK4X.000", "--safe-depth", "3", "--tide", "tide.csv")


def test_the_tide_counts_over_the_hours_of_all_that_is_planned(
    run, desk, crossing, with_low_water_at
):
    words = (*crossing, *UNDER_TIDE)

    def over_the_reef(*more):
        plan = document(run, *words, *more)
        (said,) = [each for each in plan["notices"] if "lowest tide from" in each]
        return way(plan).intersects(REEF.buffer(-1e-4)), said

    with_low_water_at(3, 12)
    over, said = over_the_reef()
    assert over
    assert "from 2027-06-12 05:00 UTC to 2027-06-12 09:" in said
    over, said = over_the_reef("--what-if")
    assert not over
    assert "from 2027-06-12 03:00 UTC to 2027-06-12 11:" in said
    assert said.endswith(" 0.0 m.")
    # She is there by then, but what takes longer than the plan isn't.
    with_low_water_at(8)
    assert not over_the_reef()[0]
    text = (desk / "tide.csv").read_text().splitlines(keepends=True)
    (desk / "tide.csv").write_text("".join([text[0], *text[5:]]), encoding="utf-8")
    assert "must reach" in refused(run(*words, "--what-if"))


@pytest.mark.usefixtures("crossing")
def test_each_departure_meets_the_tide_of_its_own_hours(run, desk, with_low_water_at):
    hours = ("--from", "2027-06-12T05:00Z", "--until", "2027-06-12T11:00Z", "--every", "2h")
    words = ("depart", "marks.gpx", *BEAM_WIND, *hours)

    def elapsed_h(*more):
        found = document(run, *words, *more)
        at = {each["departure"][11:13]: each["elapsed_h"] for each in found["departures"]}
        return [at[hour] for hour in ("05", "07", "09", "11")], found["notices"]

    open_water_h = elapsed_h()[0]
    # About an hour after it has left, a departure is over the reef.
    with_low_water_at(8, 14)
    found, said = elapsed_h(*UNDER_TIDE, "--out", "best.gpx")
    over = [one == pytest.approx(other) for one, other in zip(found, open_water_h, strict=True)]
    assert over == [True, False, True, True]
    assert all(one > other - 1e-9 for one, other in zip(found, open_water_h, strict=True))
    assert any("only where it would be over them with too little water" in each for each in said)
    (route,) = gpxpy.parse((desk / "best.gpx").read_text()).routes
    line = shapely.LineString([(p.longitude, p.latitude) for p in route.points])
    assert line.intersects(REEF.buffer(-1e-4))
    text = (desk / "tide.csv").read_text().splitlines(keepends=True)
    (desk / "tide.csv").write_text("".join(text[:11]), encoding="utf-8")
    assert "must reach" in refused(run(*words, *UNDER_TIDE))


@pytest.mark.usefixtures("crossing")
def test_laylines_meet_the_depths_that_the_tide_leaves(run, with_low_water_at):
    words = ("laylines", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "315/10",
             "--depart", "2027-06-12T05:00Z", "--length", "30")  # fmt: skip

    def crossing_it(*more):
        found = document(run, *words, *more)
        lines = [[(p["lon"], p["lat"]) for p in each["points"]] for each in found["laylines"]]
        return any(
            shapely.LineString(each).intersects(REEF.buffer(-1e-4)) for each in lines
        ), found["notices"]

    assert crossing_it()[0]
    with_low_water_at(3)
    over, said = crossing_it(*UNDER_TIDE)
    assert over
    assert any("lowest tide from 2027-06-12 05:00 UTC to the table's end, 1.0 m" in e for e in said)
    with_low_water_at(20)
    assert not crossing_it(*UNDER_TIDE)[0]


def test_a_service_takes_no_table_of_tides(run, with_low_water_at):
    with_low_water_at(3)
    words = ("live", "--nmea", "tcp://localhost:1", "--marks", "marks.gpx",
             "--boat", "brisvik/boat.toml")  # fmt: skip
    assert "give --tide METRES" in refused(run(*words, *UNDER_TIDE))
    assert "--tide needs --hazards" in refused(run(*words, "--tide", "1.2"))


def test_the_coast_warns_and_is_credited(run):
    ran = run(*PLAN, "--coast", "--clearance", "0.3")
    assert ran.code == 0, ran.err
    said = " ".join(ran.out.split())
    assert "not for navigation" in said
    assert "Natural Earth" in said


def test_the_passage_of_the_sample_keeps_clear_of_the_coast(run, desk):
    (desk / "marks.gpx").write_bytes((SAMPLES / "kattegat.gpx").read_bytes())
    bare = document(run, *PLAN)
    kept = document(run, *PLAN, "--coast", "--clearance", "0.3")
    assert kept["elapsed_h"] == pytest.approx(bare["elapsed_h"], abs=1e-9)


def test_the_picture_shows_what_is_kept_clear_of(run, desk):
    pytest.importorskip("matplotlib")
    from goosewing.report.ground import STYLES

    assert run(*PLAN, "--picture", "bare.svg").code == 0
    assert run(*PLAN, "--hazards", "reef.geojson", "--picture", "reef.svg").code == 0
    edge = STYLES["area"]["edgecolor"]
    assert edge in (desk / "reef.svg").read_text()
    assert edge not in (desk / "bare.svg").read_text()


def test_laylines_are_cut_where_they_meet_a_wall(run, desk):
    words = ("laylines", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "270/10")
    wall = shapely.box(12.0, 56.30, 12.02, 56.60)
    drawn(desk / "wall.geojson", wall, "Wall")
    bare = document(run, *words)["laylines"]
    cut = document(run, *words, "--hazards", "wall.geojson")["laylines"]
    for before, after in zip(bare, cut, strict=True):
        full, short = (
            shapely.LineString([(p["lon"], p["lat"]) for p in line["points"]])
            for line in (before, after)
        )
        assert full.intersects(wall)
        assert not short.intersects(wall.buffer(-1e-4))
        assert short.distance(wall) < 1e-4


@pytest.mark.usefixtures("crossing")
def test_departures_keep_clear_too(run, desk):
    hours = ("--from", "2027-06-12T05:00Z", "--until", "2027-06-12T06:00Z")
    more = ("--hazards", "reef.geojson", "--out", "best.gpx")
    ran = run("depart", "marks.gpx", *BEAM_WIND, *hours, *more)
    assert ran.code == 0, ran.err
    (route,) = gpxpy.parse((desk / "best.gpx").read_text()).routes
    line = shapely.LineString([(p.longitude, p.latitude) for p in route.points])
    assert not line.intersects(REEF.buffer(-1e-4))


@pytest.mark.parametrize("command", ["plan", "laylines", "depart"])
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--hazards", "none.geojson"), "none.geojson: no such file"),
        (("--hazards", "brisvik/boat.toml"), "boat.toml: is none of the kinds"),
        (("--clearance", "0.3"), "--clearance needs --hazards FILE or --coast"),
        (("--safe-depth", "3"), "--safe-depth needs --hazards FILE or --coast"),
        (("--coast", "--clearance", "11"), "the clearance must be 0 to 10 nm"),
        (("--coast", "--clearance", "nan"), "the clearance must be 0 to 10 nm"),
        (("--coast", "--safe-depth", "-1"), "the safe depth must be above 0"),
    ],
)
def test_what_is_wrong_is_one_line(run, command, words, said):
    assert said in refused(run(command, "marks.gpx", *BASE, *words))


def test_a_mark_in_a_hazard_names_both(run):
    line = refused(run(*PLAN, "--coast", "--at", "56.705,11.57"))
    assert "Here" in line
    assert "built-in coast" in line


def test_a_hazard_file_is_never_overwritten(run, desk):
    before = (desk / "reef.geojson").read_bytes()
    line = refused(run(*PLAN, "--hazards", "reef.geojson", "--out", "reef.geojson"))
    assert "is an input" in line
    assert (desk / "reef.geojson").read_bytes() == before


def test_a_wall_is_told_with_its_name(run, desk):
    # Round the finish: no way in.
    ring = shapely.Point(B[::-1]).buffer(0.2).difference(shapely.Point(B[::-1]).buffer(0.1))
    drawn(desk / "ring.geojson", ring, "Ring")
    assert "Ring" in refused(run(*PLAN, "--hazards", "ring.geojson"), code=3)


def test_a_tide_without_anything_to_keep_clear_of_is_said_to_do_nothing(run, desk):
    (desk / "tide.csv").write_text(
        "time,height_m\n2027-06-12T05:00Z,1.2\n2027-06-13T05:00Z,0.4\n", encoding="utf-8"
    )
    for tide in ("tide.csv", "1.5"):
        notices = document(run, *PLAN, "--tide", tide)["notices"]
        assert any("The tide does nothing" in each for each in notices)
    assert not any("tide does" in each for each in document(run, *PLAN)["notices"])
