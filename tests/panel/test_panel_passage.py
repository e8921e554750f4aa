"""A passage by the panel alone: planned, read, acknowledged, taken away; in a host and without."""

from __future__ import annotations

import json
import math
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.live.panel.server import serve
from panel_browser import PHONE, TABLET, impacts, keep, script
from panel_voyage import Voyage, log, stored
from signalk_host import DOORS, SAMPLES, Host, until

KNOT = 1852 / 3600
START = (56.70, 12.10)
Get = Callable[[str], Any]

# ---- what the crew reads, written anew from the documents -------------------------------------


def figures3(degrees: float) -> str:
    return f"{round(degrees) % 360:03d}°"


def steer(of: dict[str, Any]) -> str:
    magnetic = of["heading_magnetic_deg"]
    return f"{figures3(of['heading_deg'])} T" if magnetic is None else f"{figures3(magnetic)} M"


def heading(board: dict[str, Any]) -> str:
    magnetic = board["heading_magnetic_deg"]
    true = figures3(board["heading_deg"])
    return true if magnetic is None else f"{true}T {figures3(magnetic)}M"


def miles(nm: float) -> str:
    return f"{nm:.2f} nm" if nm < 0.995 else f"{nm:.1f} nm"


def clock(seconds: float) -> str:
    left = round(seconds)
    assert left < 3600
    return f"{left // 60}:{left % 60:02d}"


def lasts(hours: float) -> str:
    minutes = round(hours * 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def shown_at_one_moment(page: Any, get: Get) -> tuple[dict[str, Any], dict[str, str]]:
    """Return a panel document, and what the page shows of that very document."""

    def both() -> Any:
        before = get("panel")
        texts = page.evaluate(script("texts"))
        # For a moment after a turn no time to the next one is known.
        same = get("panel")["time"] == before["time"] and before["next"].get("time_s") is not None
        return (before, texts) if same and texts["host-time"][:8] == before["time"][11:19] else None

    return until(lambda: page.wait_for_timeout(60) or both(), say=lambda: page.inner_text("#top"))


def check_next(page: Any, get: Get) -> dict[str, Any]:
    """Hold the page's figures against the document's."""
    panel, text = shown_at_one_moment(page, get)
    coming, board, boat = panel["next"], panel["board"], panel["boat"]
    assert text["next-words"] == coming["words"]
    assert text["next-time"] == clock(coming["time_s"])
    assert text["next-distance"] == miles(coming["distance_nm"])
    assert text["next-heading"] == steer(coming)
    assert board["words"] in text["now-words"]
    figures, north = steer(board).split()
    assert (text["now-heading"], text["now-north"][0]) == (figures, north)
    assert text["now-twa"] == f"{board['twa_deg']:.0f}°"
    wind = panel["wind"]
    assert text["figure-wind"] == f"{figures3(wind['twd_deg'])} T {wind['tws_kn']:.1f} kn"
    assert text["figure-twa"] == f"{wind['twa_deg']:.0f}°, wanted {board['twa_deg']:.0f}°"
    assert text["figure-speed"] == f"{boat['boat_speed_kn']:.1f} kn"
    ground = f"{figures3(boat['course_over_ground_deg'])} T {boat['speed_over_ground_kn']:.1f} kn"
    assert text["figure-ground"] == ground
    assert text["figure-target"] == f"{panel['figures']['target_speed_kn']:.1f} kn"
    assert text["figure-ratio"] == f"{panel['figures']['speed_ratio'] * 100:.0f} %"
    assert miles(panel["route"]["distance_nm"]) in text["figure-mark"]
    return panel


def check_boards(page: Any, get: Get) -> dict[str, Any]:
    """Hold the page's table against the plan."""
    number = get("panel")["plan"]["number"]
    plan = get("plan")
    rows = page.evaluate(
        """() => [...document.querySelectorAll('#boards tr.board')]
          .map(row => [...row.cells].map(each => each.innerText.replace(/\\s+/g, ' ').trim()))"""
    )
    if get("panel")["plan"]["number"] != number:
        return check_boards(page, get)
    boards = [board for leg in plan["legs"] for board in leg["boards"]]
    assert len(rows) == len(boards)
    for cells, board in zip(rows, boards, strict=True):
        assert f"{board['tack']} tack, {board['sail_set']}" in cells[1]
        assert cells[2:] == [
            heading(board),
            f"{board['awa_deg']:.0f}°",
            f"{board['boat_speed_kn']:.1f}",
            f"{board['distance_nm']:.1f}",
            lasts(board["elapsed_h"]),
        ]
    summary = page.inner_text("#plan-summary")
    assert f"{plan['distance_nm']:.1f} nm over the ground" in summary
    assert lasts(plan["elapsed_h"]) in summary
    return dict(plan)


def downloaded(page: Any, get: Get, path: Path) -> dict[str, Any]:
    """Save the plan by the page's own means; return the document of that plan."""
    before = get("plan")
    with page.expect_download() as waiting:
        page.click("#export-gpx")
    assert waiting.value.suggested_filename == "goosewing-plan.gpx"
    waiting.value.save_as(path)
    return dict(before) if get("plan") == before else downloaded(page, get, path)


def check_download(page: Any, get: Get, folder: Path) -> None:
    """Hold the downloaded file, read by another program, against the plan."""
    path = folder / "plan.gpx"
    plan = downloaded(page, get, path)
    places = []
    for leg in plan["legs"]:
        places += [board["start"] for board in leg["boards"][0 if not places else 1 :]]
        places.append(leg["boards"][-1]["end"])
    (route,) = gpxpy.parse(path.read_text(encoding="utf-8")).routes
    read = [(point.latitude, point.longitude) for point in route.points]
    assert len(read) == len(places) >= 3
    for point, place in zip(read, places, strict=True):
        assert point == pytest.approx((place["lat"], place["lon"]), abs=1e-6)


def planned(page: Any, name: str) -> None:
    """Have a stored route planned by the page's own means."""
    page.wait_for_selector(f"#route option:has-text('{name}')", state="attached")
    page.select_option("#route", label=page.inner_text(f"#route option:has-text('{name}')"))
    page.click("#plan-route")
    page.wait_for_selector(f"#order-state:has-text('{name}')")
    page.wait_for_selector("html[data-state='advising']", timeout=20000)
    page.wait_for_selector("#boards tbody tr.board")
    page.wait_for_selector("#next:not([data-due='none'])")


# ---- without a host --------------------------------------------------------------------------


def test_a_passage_by_our_own_server(opened, tmp_path):
    lines = log()
    (order,) = (line for line in lines if line["type"] == "plan")
    voyage = Voyage((stored("Afternoon", order["points"], "a"),))
    voyage.sail(lines[:19])
    with serve(voyage.counter, port=0) as server:

        def get(name: str) -> Any:
            with urllib.request.urlopen(f"{server.url}api/{name}", timeout=30) as answer:
                return json.load(answer)

        voyage.begin()
        page = opened(server.url, TABLET, accept_downloads=True)
        page.wait_for_selector("html[data-state='waiting']")
        assert page.is_hidden("#export-gpx")
        planned(page, "Afternoon")
        # She is on the wrong tack for it, and is told so at once.
        page.wait_for_selector("#next[data-due='now'] #acknowledge")
        assert page.inner_text("#next-time") == "NOW"
        point = get("panel")["next"]["point"]
        assert page.inner_text("#acknowledge") == f"Done: {point}"
        page.click("#acknowledge")
        page.wait_for_selector(f"#order-state:has-text('{point} acknowledged')")
        observed = [line for line in lines if line["type"] == "observe"]
        voyage.sail_on(observed[18:40])
        page.wait_for_selector("#next[data-due='ahead']")
        assert page.is_hidden("#acknowledge")
        check_boards(page, get)
        check_next(page, get)
        check_download(page, get, tmp_path)
        before = check_next(page, get)["next"]["distance_nm"]
        voyage.sail_on(observed[40:85])
        after = until(
            lambda: (now := check_next(page, get)["next"]["distance_nm"]) < before and now
        )
        assert after < 0.99  # told in hundredths from here on
        voyage.end()


def awaited(panel: dict[str, Any]) -> bool:
    return bool(panel["next"] and panel["next"]["awaiting"])


# ---- in a host -------------------------------------------------------------------------------


class Boat:
    """Close-hauled on port tack in a northerly, fed to the host twice a second."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.lat, self.lon = START
        self.speed_kn = 5.0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ended.wait(0.5):
            there = Geodesic.WGS84.Direct(self.lat, self.lon, 45.0, self.speed_kn * KNOT * 0.5)
            self.lat, self.lon = there["lat2"], there["lon2"]
            self.host.feed(
                {
                    "navigation.position": {"latitude": self.lat, "longitude": self.lon},
                    "navigation.headingTrue": math.radians(41.0),
                    "navigation.magneticVariation": math.radians(3.1),
                    "navigation.speedThroughWater": 5.0 * KNOT,
                    "navigation.courseOverGroundTrue": math.radians(45.0),
                    "navigation.speedOverGround": self.speed_kn * KNOT,
                    "environment.wind.angleTrueWater": math.radians(-41.0),
                    "environment.wind.speedTrue": 12.0 * KNOT,
                }
            )

    def end(self) -> None:
        self._ended.set()
        self._thread.join(5)


@pytest.fixture(scope="module")
def sailing(host_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    host = Host(
        host_files,
        tmp_path_factory.mktemp("panel-host"),
        plug_configuration={
            "python": sys.executable,
            "boat": str(SAMPLES / "brisvik" / "boat.toml"),
            "route": "asked",
        },
    ).start()
    boat = Boat(host)
    yield host, boat
    boat.end()
    host.stop()


def far(lat: float, lon: float, bearing: float, nm: float) -> tuple[float, float]:
    there = Geodesic.WGS84.Direct(lat, lon, bearing, nm * 1852)
    return there["lat2"], there["lon2"]


def test_a_passage_in_a_host(opened, sailing, tmp_path, axe):
    host, boat = sailing

    def get(name: str) -> Any:
        code, answer = host.get(f"{DOORS}/{name}")
        assert code == 200, answer
        return answer

    host.store_route("Upwind", [START, far(*START, 0.0, 4.0)])
    page = opened(f"http://127.0.0.1:{host.port}/goosewing-signalk/", PHONE, accept_downloads=True)
    page.wait_for_selector("html[data-state='waiting']", timeout=30000)
    planned(page, "Upwind")
    plan = check_boards(page, get)
    until(lambda: get("panel")["figures"]["speed_ratio"], say=lambda: get("panel")["figures"])
    panel = check_next(page, get)
    assert panel["next"]["heading_magnetic_deg"] is not None
    check_download(page, get, tmp_path)
    keep(page, "host-phone-day-advising")
    assert impacts(page, axe) == []

    # A mark that is reached by a tack after a few lengths.
    starboard = next(b for b in plan["legs"][0]["boards"] if b["tack"] == "starboard")
    turn = far(boat.lat, boat.lon, 45.0, 0.02)
    mark = far(*turn, starboard["course_over_ground_deg"], 2.0)
    host.store_route("Soon", [START, mark])
    page.reload()
    planned(page, "Soon")
    until(lambda: get("panel")["route"]["name"] == "Soon")
    page.wait_for_selector("#next[data-due='now'] #acknowledge", timeout=40000)
    keep(page, "host-phone-day-due")
    coming = get("panel")["next"]
    assert (coming["tack"], page.inner_text("#next-time")) == ("starboard", "NOW")
    assert page.inner_text("#now-heading") == steer(coming).split()[0]
    page.click("#acknowledge")
    page.wait_for_selector("#order-state:has-text('acknowledged')")
    until(lambda: not awaited(get("panel")), say=lambda: get("panel")["next"])

    # Nothing steers by the plan until the crew says so twice.
    course = "/signalk/v2/api/vessels/self/navigation/course"
    page.click("#activate")
    page.wait_for_selector("#activate-dialog[open]")
    page.click("#activate-no")
    assert host.get(course)[1]["activeRoute"] is None
    page.click("#activate")
    page.click("#activate-yes")
    page.wait_for_selector("#activated:has-text('Soon')")
    assert host.get(course)[1]["activeRoute"]["href"].startswith("/resources/routes/")
    assert get("panel")["activated"]["name"] in page.inner_text("#activated")


def test_a_page_of_another_site_gives_no_orders_in_a_host(browser, sailing):
    host, _ = sailing
    host.store_route("Kept", [START, far(*START, 0.0, 4.0)])
    (key,) = (r["id"] for r in host.get(f"{DOORS}/routes")[1] if r["name"] == "Kept")
    until(lambda: host.get(f"{DOORS}/panel")[1]["wind"]["twd_deg"] is not None, within_s=30)
    assert host.order("plan", {"routeId": key})[0] == 200
    until(lambda: host.get(f"{DOORS}/panel")[1]["plan"], within_s=30)
    # The same machine by another name is another site to a browser.
    orders = f"http://127.0.0.1:{host.port}{DOORS}"
    context = browser.new_context()
    page = context.new_page()
    page.goto(f"http://localhost:{host.port}/skServer/webapps")
    send = """async ([base, name, body]) => {
      const how = {method: 'POST', headers: {'Content-Type': 'application/json'}, body}
      return (await fetch(`${base}/${name}`, how)).status
    }"""
    for name in ("clear", "activate", "acknowledge", "plan"):
        assert page.evaluate(send, [orders, name, "{}"]) == 403
    assert page.evaluate(send, [f"http://localhost:{host.port}{DOORS}", "acknowledge", "{}"]) == 400
    # The plan stands; for a moment there is none where one was just made anew.
    until(lambda: host.get(f"{DOORS}/panel")[1]["plan"], within_s=30)
    context.close()
    # Where a browser says no more than the origin: on a network without https.
    for origin, code in (("http://evil.example", 403), ("null", 403), (orders[: -len(DOORS)], 400)):
        request = urllib.request.Request(
            f"{orders}/acknowledge",
            data=b"{}",
            headers={"Origin": origin, "Content-Type": "application/json"},
        )
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(request, timeout=30)
        with refused.value as answer:
            assert answer.code == code, origin
