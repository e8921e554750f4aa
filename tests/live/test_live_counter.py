"""The counter in one process, and the coast: from many threads, in order, refused in one line."""

from __future__ import annotations

import io
import json
import queue
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from shapely.geometry import Point, shape

from conftest import SAMPLES
from goosewing.boat.read import read_boat
from goosewing.errors import InputError
from goosewing.live.core.state import Acknowledge, Desk, Order, Route
from goosewing.live.host.service import Service, Writer
from goosewing.live.host.session import observation_of
from goosewing.live.panel import shore
from goosewing.live.panel.counter import Asked, Counter, Refusal, WatchCounter
from goosewing.live.planner import Planner
from goosewing.live.watchkeeper import Watchkeeper
from goosewing.records import Mark
from service_day import second_of, seconds, stamp

HELLO = {"type": "hello", "version": 1, "boat": str(SAMPLES / "brisvik" / "boat.toml")}
MARKS = (Mark(name="A", lat=56.5, lon=12.0), Mark(name="B", lat=56.55, lon=11.92))
ROUTE = Route(id="r", name="Beat", marks=MARKS)


class Running:
    """A watch on a thread of its own, with the counter as its listener."""

    def __init__(self) -> None:
        self.waiting: queue.Queue = queue.Queue()
        self.counter = WatchCounter(self.waiting.put, lambda: (ROUTE,))
        self.keeper = keeper()
        self.planner = Planner(lambda order, plan: self.waiting.put((order, plan)))
        self.given: list[Asked] = []
        self.thread = threading.Thread(target=self._work)
        self.thread.start()
        self.second = 0

    def _work(self) -> None:
        while (item := self.waiting.get()) is not None:
            if isinstance(item, tuple):
                self._take(self.keeper.made(*item))
            elif isinstance(item, Asked):
                self.given.append(item)
                why_not = self.keeper.refusal(item.order)
                if why_not is None:
                    self._take(self.keeper.observe(item.order))
                item.answer(why_not)
            else:
                self._take(self.keeper.observe(observation_of(item)))
                if item["type"] == "tick":
                    self.counter.look(self.keeper)

    def _take(self, outputs) -> None:
        self.counter.tell(outputs)
        for output in outputs:
            if isinstance(output, Order):
                self.planner.order(output, self.keeper.desk)

    def sail(self, seconds: int) -> None:
        for _ in range(seconds):
            self.second += 1
            for message in second_of(self.second):
                self.waiting.put(message)

    def until(self, what, within_s: float = 60.0):
        end = time.monotonic() + within_s
        while not (found := what(self.counter)):
            assert time.monotonic() < end, self.counter.panel()
            self.sail(1)
            time.sleep(0.02)
        return found


def keeper() -> Watchkeeper:
    return Watchkeeper(Desk(boat=read_boat(SAMPLES / "brisvik" / "boat.toml")))


def hear(counter: WatchCounter, watch: Watchkeeper, message: dict) -> None:
    counter.tell(watch.in_turn(observation_of(message)))
    if message["type"] == "tick":
        counter.look(watch)


@pytest.fixture
def running():
    one = Running()
    yield one
    one.waiting.put(None)
    one.thread.join(20.0)
    assert not one.thread.is_alive()


@pytest.fixture
def planned(running):
    running.until(lambda counter: counter.panel()["boat"]["lat"])
    assert running.counter.order("plan", {"routeId": "r"}) == {
        "routeId": "r", "name": "Beat", "points": 2,
    }  # fmt: skip
    running.until(lambda counter: counter.panel()["next"])
    return running


def test_before_the_first_tick_there_is_a_panel_all_the_same():
    counter: Counter = WatchCounter(lambda _: None)
    document = counter.panel()
    assert (document["state"], document["boat"]["lat"]) == ("waiting", None)
    assert document["can"] == ["plan", "acknowledge", "undo", "carry", "answer", "clear", "export"]
    assert document["activated"] is None
    assert (counter.polar(), counter.plan(), counter.routes()) == (None, None, [])


def test_an_order_to_plan_goes_through_the_queue_and_is_shown(planned):
    counter = planned.counter
    document = counter.panel()
    assert document["state"] == "advising"
    assert document["next"]["text"].startswith("Onto port tack in ")
    assert "type" not in document
    assert counter.plan()["format"] == "goosewing.plan/1"
    assert counter.polar()["number"] == document["polar"]["number"]
    assert "type" not in counter.polar()
    assert counter.routes() == [{"id": "r", "name": "Beat", "points": 2}]


def test_clear_takes_the_plan_away(planned):
    planned.counter.order("clear", {})
    planned.until(lambda counter: counter.plan() is None)
    planned.until(lambda counter: counter.panel()["plan"] is None)
    assert planned.counter.panel()["next"] is None


def test_acknowledge_reaches_the_watch(planned):
    with pytest.raises(Refusal, match="no turn waits to be acknowledged; the next is T1"):
        planned.counter.order("acknowledge", {"point": "T1"})
    assert planned.given[-1].order == Acknowledge(point="T1")


def test_an_order_that_nobody_answers_is_refused_in_the_end(monkeypatch):
    monkeypatch.setattr("goosewing.live.panel.counter.ANSWER_S", 0.05)
    with pytest.raises(Refusal, match="no answer") as refused:
        WatchCounter(lambda _: None).order("undo", {"point": "T1"})
    assert refused.value.code == 504


@pytest.mark.parametrize("form", ["gpx", "handheld"])
def test_the_plan_is_exported(planned, form):
    import gpxpy

    assert gpxpy.parse(planned.counter.export(form)).routes


@pytest.mark.parametrize(("name", "body", "code", "words"), [
    ("plan", {}, 400, "routeId"), ("plan", {"routeId": 7}, 400, "routeId"),
    ("plan", {"routeId": "nowhere"}, 404, "no route nowhere"),
    ("acknowledge", {}, 400, "point"), ("acknowledge", {"point": ""}, 400, "point"),
    ("undo", {}, 400, "point"), ("carry", {"tack": "port"}, 400, "sailSet"),
    ("answer", {"question": 1}, 400, "choice"),
    ("activate", {}, 501, "no host"), ("sing", {}, 404, "no order sing"),
])  # fmt: skip
def test_orders_that_make_no_sense_are_refused_in_one_line(running, name, body, code, words):
    with pytest.raises(Refusal, match=words) as refused:
        running.counter.order(name, body)
    assert refused.value.code == code
    assert "\n" not in refused.value.message


def test_exports_that_cannot_be_are_refused(running):
    with pytest.raises(Refusal, match="no format") as refused:
        running.counter.export("pdf")
    assert refused.value.code == 404
    with pytest.raises(Refusal, match="no plan") as refused:
        running.counter.export("gpx")
    assert refused.value.code == 409


def test_a_service_that_falls_silent_leaves_no_figure_standing():
    now = [100.0]
    counter, watch = WatchCounter(lambda _: None, clock=lambda: now[0]), keeper()
    for message in seconds(0, 5):
        hear(counter, watch, message)
    assert counter.panel()["wind"]["tws_kn"] is not None
    now[0] += 7.0
    document = counter.panel()
    assert document["state"] == "failed"
    assert "silent for 7 s" in document["message"]
    assert document["wind"]["tws_kn"] is document["boat"]["lat"] is None
    assert document["time"] == stamp(4)
    hear(counter, watch, {"type": "tick", "time": stamp(5)})
    assert counter.panel()["state"] == "waiting"


def test_without_wind_there_is_no_polar_left():
    counter, watch = WatchCounter(lambda _: None), keeper()
    for message in seconds(0, 5):
        hear(counter, watch, message)
    assert counter.polar() is not None
    hear(counter, watch, {"type": "tick", "time": stamp(45)})
    hear(counter, watch, {"type": "tick", "time": stamp(46)})
    assert counter.polar() is None


def test_a_fault_is_told():
    counter = WatchCounter(lambda _: None)
    counter.error("no such\n boat file")
    document = counter.panel()
    assert (document["state"], document["message"]) == ("failed", "no such boat file")


def test_five_displays_ask_while_she_sails(planned):
    """Every document is whole: the polar it names is there, and no number goes back."""
    stop = threading.Event()

    def watch(_: int) -> int:
        asked, last = 0, 0
        while not stop.is_set():
            document = planned.counter.panel()
            json.dumps(document, allow_nan=False)
            assert document["plan"]["number"] >= last
            last = document["plan"]["number"]
            assert planned.counter.plan() is not None
            assert planned.counter.polar()["number"] >= document["polar"]["number"]
            asked += 1
        return asked

    with ThreadPoolExecutor(5) as pool:
        displays = [pool.submit(watch, at) for at in range(5)]
        for _ in range(20):
            planned.sail(5)
            time.sleep(0.02)
        stop.set()
        assert all(display.result(20.0) > 20 for display in displays)
    assert planned.counter.panel()["state"] == "advising"


# ---- the coast -----------------------------------------------------------------------------


def test_the_coast_of_the_kattegat():
    """Anholt (56.70 N 11.55 E) and Sjælland are land; the Kattegat at 57.0 N 11.5 E is water."""
    content = WatchCounter(lambda _: None).coast(55.8, 10.5, 57.2, 12.9)
    assert content["type"] == "FeatureCollection"
    assert "navigation" in content["warning"]
    assert content["credit"]
    land = [shape(feature["geometry"]) for feature in content["features"]]
    for lat, lon, is_land in ((56.71, 11.56, True), (55.9, 12.2, True), (57.0, 11.5, False)):
        assert any(one.contains(Point(lon, lat)) for one in land) is is_land, (lat, lon)
    assert len(json.dumps(content)) < 100_000


def test_open_water_has_no_land_in_it():
    assert shore.document(45.0, -30.0, 46.0, -28.0)["features"] == []


def test_across_the_antimeridian_the_land_is_in_one_piece():
    """Taveuni, Fiji, lies on 180°: 16.85° S."""
    (feature,) = shore.document(-18.5, 176.5, -16.0, -179.0)["features"]
    west, _, east, _ = shape(feature["geometry"]).bounds
    assert 176.5 <= west < 180.0 < east <= 181.0
    assert shape(feature["geometry"]).buffer(0).contains(Point(180.0, -16.85))


def test_a_wide_box_is_drawn_no_finer_across_the_antimeridian():
    """New Zealand alone, with the Pacific to its west or to its east."""
    pacific = (-48.0, 166.0, -34.0, 179.0), (-48.0, 166.0, -34.0, -150.0)
    near, wide = (len(json.dumps(shore.document(*box))) for box in pacific)
    assert wide < 0.7 * near


NONSENSE = [
    ({"south": None}, "south"), ({"north": "x"}, "north"), ({"west": 200}, "west"),
    ({"east": float("nan")}, "east"), ({"east": True}, "east"), ({"south": 58}, "less than"),
    ({"west": 13}, "differ"), ({"south": [1]}, "south"), ({"north": 10**400}, "north"),
    ({"south": {"a": "b" * 500}}, "south"),
]  # fmt: skip


@pytest.mark.parametrize(("wrong", "words"), NONSENSE)
def test_a_box_that_makes_no_sense_is_refused_in_one_line(wrong, words):
    asked = {"south": 56.0, "west": 11.0, "north": 57.0, "east": 13.0, **wrong}
    with pytest.raises(InputError, match=words) as error:
        shore.bounds(asked)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 150
    with pytest.raises(Refusal, match=words) as refused:
        WatchCounter(lambda _: None).coast(**asked)
    assert refused.value.code == 400


def asked_for_coast(service: Service, out: io.StringIO, *requests) -> dict[object, dict]:
    service.handle(HELLO)
    for request in requests:
        service.handle({"type": "coast", **request})
    found: dict[object, dict] = {}
    end = time.monotonic() + 20.0
    while len(found) < len(requests) and time.monotonic() < end:
        lines = [json.loads(line) for line in out.getvalue().splitlines()]
        found = {m["id"]: m for m in lines if m["type"] == "coast"}
        time.sleep(0.01)
    return found


@pytest.mark.parametrize("in_turn", [True, False])
def test_the_protocol_answers_by_id_whatever_was_asked(in_turn):
    out = io.StringIO()
    box = {"south": 56, "west": 11, "north": 57, "east": 13}
    service = Service(Writer(out), in_turn=in_turn)
    found = asked_for_coast(service, out, {"id": 1, **box}, {"id": 2, **box, "south": 80})
    assert found[1]["content"]["features"]
    assert found[2]["content"] is None
    assert "less than" in found[2]["message"]
    assert '"error"' not in out.getvalue()


def test_a_coast_that_takes_long_holds_up_no_tick(monkeypatch):
    let_go, drawn, out = threading.Event(), [], io.StringIO()
    monkeypatch.setattr(shore, "document", lambda *_: drawn.append(let_go.wait(2.0)) or {})
    service = Service(Writer(out))
    service.handle(HELLO)
    for at in range(3):
        service.handle({"type": "coast", "id": at, "south": 1, "west": 1, "north": 2, "east": 2})
    for second in range(5):
        for message in second_of(second):
            service.handle(message)
    assert out.getvalue().count('"panel"') == 5
    assert False not in drawn
    let_go.set()


def test_a_fault_in_one_coast_ends_no_other(monkeypatch):
    out, draw = io.StringIO(), shore.document

    def broken(south, *others):
        if south == 1.0:
            raise ZeroDivisionError("by accident")
        return draw(south, *others)

    monkeypatch.setattr(shore, "document", broken)
    box = {"west": 1, "north": 3, "east": 4}
    service = Service(Writer(out))
    service.handle(HELLO)
    service.handle({"type": "coast", "id": "a", "south": 1, **box})
    found = asked_for_coast(service, out, {"id": "b", "south": 2, **box})
    assert found["b"]["content"]["type"] == "FeatureCollection"
    assert "by accident" in out.getvalue()
