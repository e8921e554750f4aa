"""A day at sea through the running service, faster than the clock, with all that goes wrong in one.

    python tests/robust/day_at_sea.py                     24 h, a look a second
    python tests/robust/day_at_sea.py --hours 6 --step 4 --seed 3 --trace

A simulated boat (`sailing_boat`, no engine code) sails lap after lap by what the service says
alone: a beat, a run with the pole, a reach. Wind and stream turn and change as the hours pass, the
compass is noisy, half of the time she yaws in a seaway, and every half hour something fails
(`FAULTS`). What is so is known, so what must be told of it is known too: what wasn't told, was
told twice, out of its bounds, or without a cause is printed, and the exit code is 1.

Of two runs alike the `events` line is the same: it sums up all that was told and every plan.
"""

from __future__ import annotations

import argparse
import gc
import hashlib
import json
import math
import random
import resource
import sys
import tempfile
import tracemalloc
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[1])]

from goosewing.live.host.service import Service  # noqa: E402
from sailing_boat import START, Helm, SailingBoat, Waters, stamp  # noqa: E402

Message = dict[str, Any]

BRISVIK = HERE.parents[2] / "sample_routes" / "brisvik"
HOME = (56.5, 12.0)
LAPS = 2
"""Of one route: the second time round, every mark is one that was rounded before."""
ROUNDING_NM = 0.1

# ---- what is so ---------------------------------------------------------------------------------


def far(place: tuple[float, float], bearing: float, nm: float) -> tuple[float, float]:
    angle = math.radians(bearing)
    lat = place[0] + nm * math.cos(angle) / 60.0
    return lat, place[1] + nm * math.sin(angle) / 60.0 / math.cos(math.radians(lat))


UP, WING = far(HOME, 315.0, 5.0), far(HOME, 30.0, 3.0)
LAP = (("Up", UP), ("Wing", WING), ("Home", HOME))


def turns_of(seconds: float, period_h: float) -> float:
    return math.sin(2.0 * math.pi * seconds / 3600.0 / period_h)


def wind_from(seconds: float) -> float:
    return 315.0 + 12.0 * turns_of(seconds, 5.0) + 4.0 * turns_of(seconds, 0.7)


def wind_kn(seconds: float) -> float:
    return 10.0 + 3.0 * turns_of(seconds, 7.0) + 0.7 * turns_of(seconds, 0.31)


def stream(seconds: float) -> tuple[float, float]:
    """A tide of half a day, turning as it goes."""
    strong, weak = 0.8 * turns_of(seconds, 12.42), 0.3 * turns_of(seconds + 11000.0, 12.42)
    return 0.7 * (strong + weak), 0.7 * (strong - weak)


YAW_DEG, YAW_S, COMPASS_DEG = 5.0, 6.3, 1.0


def yaw(seconds: float) -> float:
    rough = int(seconds // 3600.0) % 2 == 1
    return YAW_DEG * math.sin(2.0 * math.pi * seconds / YAW_S) if rough else 0.0


# ---- what goes wrong ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Kind:
    """A fault, and what must, and what may, be told of it."""

    lasts_s: tuple[float, float]
    stale_after_s: tuple[float, float] | None = None
    """No advice any more, so long after it began at the soonest and at the latest."""
    must: tuple[str, ...] = ()
    may: tuple[str, ...] = ()


STALE = ("stale", "recovered")
FAULTS = {
    "wind lost": Kind((60.0, 240.0), (30.0, 40.0), must=STALE),
    "position frozen": Kind((40.0, 60.0), (20.0, 30.0), must=STALE),
    # So far off when it moves again that it is doubted first.
    "position frozen for long": Kind((150.0, 240.0), (20.0, 30.0), STALE, ("position_jumped",)),
    "links dead": Kind((60.0, 300.0), (10.0, 20.0), must=STALE),
    "position wild": Kind((3.0, 6.0), (0.0, 6.0), must=STALE),
    "compass lost": Kind((60.0, 200.0)),
    "log lost": Kind((60.0, 200.0)),
    "two winds": Kind((90.0, 240.0), must=("sources_disagree", "sources_agree")),
    "clock back": Kind((1.0, 1.0), must=("clock",)),
    "clock ahead": Kind((1.0, 1.0), may=STALE),
    "garbage": Kind((20.0, 60.0)),
    "restart": Kind((1.0, 1.0), may=("mark_rounded",)),
    "restart with its file cut": Kind((1.0, 1.0), may=("mark_rounded",)),
    "restart with its copy cut too": Kind((1.0, 1.0), may=("mark_rounded", "asked", "answered")),
    "restart before a turn": Kind((1.0, 1.0), may=("asked", "answered", "mark_rounded")),
}
CUT = {"restart with its file cut": 1, "restart with its copy cut too": 2}
"""How many of what is kept, the file and its copy, are cut in half."""

FIRST_S, APART_S = 1500.0, (900.0, 2400.0)
GOES_ON_S = 120.0
"""So long after a fault something may still be told of it."""

OF_FAULTS = ("stale", "recovered", "position_jumped", "clock", "sources_disagree", "sources_agree")
"""Never told without one."""

ADVICE = ("approach", "turn_now", "new_order", "on_layline", "overstood", "wing_pays", "turn_pays")
"""Never told while there is no advice."""

GARBAGE = (
    "{half", "[]", "\x00\xff", '{"type": "sing"}', '{"type": "observe"}', '{"type": "tick"}',
    '{"type": "observe", "time": "never", "source": "sim", "values": []}',
    '{"type": "plan", "id": "r", "name": "R", "points": []}', '{"type": "acknowledge"}',
    '{"type": "answer", "question": "passed", "choice": "maybe"}', "{" * 5000,
)  # fmt: skip


@dataclass
class Fault:
    """One fault of the day, and what was told of it."""

    name: str
    begins_s: float
    ends_s: float
    told: list[tuple[float, str, str]] = field(default_factory=list)

    @property
    def kind(self) -> Kind:
        return FAULTS[self.name]

    def wrong(self, step_s: float) -> Iterator[str]:
        # Told anew where what is missing has become another.
        told = [kind for kind, _ in {(kind, words) for _, kind, words in self.told}]
        where = f"{self.name} at {self.begins_s:.0f} s"
        for kind in self.kind.must:
            times = len([each for each in self.told if each[1] == kind])
            if times != told.count(kind) or (times != 1 and kind != "stale") or not times:
                yield f"{where}: {kind} was told {times} times"
        within = self.kind.stale_after_s
        after = [at - self.begins_s for at, kind, _ in self.told if kind == "stale"]
        if within and after and not within[0] - step_s <= after[0] <= within[1] + 2.0 * step_s:
            yield f"{where}: stale only after {after[0]:.0f} s"
        back = [at - self.ends_s for at, kind, _ in self.told if kind == "recovered"]
        if back and back[-1] > 30.0:
            yield f"{where}: recovered only {back[-1]:.0f} s after its end"


def faults_of_the_day(hand: random.Random, until_s: float, step_s: float) -> list[Fault]:
    """Lay out a day's faults: every kind in turn, in a drawn order."""
    found: list[Fault] = []
    at, names = FIRST_S, list[str]()
    while True:
        if not names:
            names = hand.sample(list(FAULTS), len(FAULTS))
        name = names.pop()
        low, high = FAULTS[name].lasts_s
        lasts = max(hand.uniform(low, high), step_s + 0.1)
        if at + lasts + 2.0 * GOES_ON_S > until_s:
            return found
        found.append(Fault(name, at, at + lasts))
        at += lasts + hand.uniform(*APART_S)


# ---- the crew -----------------------------------------------------------------------------------


ASIDE_DEG, ASIDE_NM = 8.0, 0.15
"""A wind that has turned by 5° is no reason for another plan yet, and on a minute's mean of what a
vane says of it, within some degrees, hangs the rest; near its end a board is as good as met."""


@dataclass
class Turn:
    """A turn that was told, and how it lay."""

    point: str
    at_s: float
    told_ahead_s: list[tuple[float, float]]
    """When the crew was told to stand by, and how long before the turn that was said to be."""
    miss_deg: float
    """How far aside of the next place the new board would lead, in the wind and stream that are."""
    miss_nm: float
    to_go_nm: float

    def wrong(self) -> str | None:
        """Say it where the new board would lead aside of its end."""
        if abs(self.miss_deg) <= ASIDE_DEG or self.miss_nm <= ASIDE_NM:
            return None
        return (
            f"{self.point} at {self.at_s:.0f} s leads {self.miss_nm:.2f} nm, {self.miss_deg:.0f}°, "
            f"aside of its end, {self.to_go_nm:.2f} nm off"
        )


class Crew(Helm):
    """Steers what the last plan says, answers what is asked by what is so, and keeps the tally."""

    def __init__(self, boat: SailingBoat) -> None:
        super().__init__(boat)
        self.turns: list[Turn] = []
        self.ahead: dict[str, list[tuple[float, float]]] = {}
        self.holds_off = False
        """Does not turn at the next turn: the service is started anew before."""

    def seen_to(self, event: Message) -> Iterator[Message]:
        """Turn, and say so."""
        point = event["values"]["point"]
        assert self.plan is not None
        leg = self.plan["legs"][0]
        yield from self._turn(point)
        self.turns.append(self._how(point, leg["boards"][self.board]))

    def _how(self, point: str, board: Message) -> Turn:
        end = board["end"]
        heading = self.boat.heading
        self.steer()
        east, north = self.boat.over_ground()
        self.boat.heading = heading
        to_east = 60.0 * (end["lon"] - self.boat.lon) * math.cos(math.radians(self.boat.lat))
        to_north = 60.0 * (end["lat"] - self.boat.lat)
        off = math.degrees(math.atan2(to_east, to_north) - math.atan2(east, north))
        off = (off + 180.0) % 360.0 - 180.0
        to_go = math.hypot(to_east, to_north)
        miss = to_go * math.sin(math.radians(min(abs(off), 90.0)))
        told = self.ahead.pop(point, [])
        return Turn(point, self.boat.seconds, told, off, miss, to_go)


@dataclass(frozen=True, kw_only=True)
class Wants:
    """What day is asked for."""

    seed: int
    hours: float
    step_s: float
    corridor_nm: float | None
    calm: bool
    restart_h: float | None
    aloud: bool


class Day:
    """Boat, crew, service, and what goes wrong."""

    def __init__(self, wants: Wants, folder: Path) -> None:
        self.wants = wants
        self.step_s, self.until_s = wants.step_s, wants.hours * 3600.0
        corridor = {} if wants.corridor_nm is None else {"corridor_nm": wants.corridor_nm}
        self.options = {"rounding_nm": ROUNDING_NM, **corridor}
        self.kept = folder / "under-way.json"
        self.waters = Waters(wind_from, wind_kn, stream(0.0))
        noise = np.random.default_rng(wants.seed)
        self.noise = noise
        self.boat = SailingBoat(BRISVIK, self.waters, *HOME, 265.0, noise=noise)
        self.crew = Crew(self.boat)
        self.faults = self._laid_out()
        self.clock_s = 0.0
        self.wrong: list[str] = []
        self.digest = hashlib.sha256()
        self.counts: dict[str, int] = {}
        self.stale = False
        self.routes = 0
        self.named = 0
        """How often the names of turns have begun anew."""
        self.next = 1
        self.nearest = math.inf
        self.rounded: list[str] = []
        self.rounded_s: list[float] = []
        self.restarts = 0
        self.points: set[tuple[int, str]] = set()
        self.may_again: set[str] = set()
        self._before: tuple[float, float] = HOME
        self._said: list[Message] = []
        self._errors = 0
        self.service = self._started()

    def _laid_out(self) -> list[Fault]:
        if self.wants.restart_h is not None:
            at_s = 3600.0 * self.wants.restart_h
            return [Fault("restart", at_s, at_s + self.step_s)]
        if self.wants.calm:
            return []
        return faults_of_the_day(random.Random(self.wants.seed), self.until_s, self.step_s)

    # ---- the service ----------------------------------------------------------------------

    def _started(self) -> Service:
        service = Service(self, in_turn=True)
        hello = {
            "type": "hello", "version": 1, "boat": str(BRISVIK / "boat.toml"),
            "state": str(self.kept), "options": self.options,
        }  # fmt: skip
        assert service.handle(hello) is None
        self._said.clear()
        return service

    def send(self, messages: Iterable[Message]) -> None:
        """Hear what the service says."""
        self._said.extend(messages)

    def error(self, message: str, *, fatal: bool = False) -> None:
        """Hear of an error."""
        self._said.append({"type": "error", "message": message, "fatal": fatal})

    def say(self, message: Message) -> None:
        """Say something to the service, and to its answers what the crew says to them."""
        waiting = [message]
        while waiting:
            assert self.service.handle(waiting.pop(0)) is None
            said, self._said = self._said, []
            for each in said:
                waiting += self._heard(each)

    def _heard(self, said: Message) -> list[Message]:
        kind = said["type"]
        if kind == "error":
            self._errored(said["message"])
        elif kind == "publish" and said["reason"] != "update":
            self._sum_up(said)
            self._planned_s = self.boat.seconds
            list(self.crew.hear([said]))
        elif kind == "event":
            self._sum_up(said)
            return self._event(said)
        return []

    def _sum_up(self, said: Message) -> None:
        self.digest.update(json.dumps(said, sort_keys=True).encode())

    def _errored(self, words: str) -> None:
        self._errors += 1
        damaged = "can't be read" in words and self._within(*CUT)
        if "\n" in words or len(words) > 300:
            self._is_wrong(f"more than a line: {words[:400]!r}")
        if not damaged and not self._within("garbage"):
            self._is_wrong(f"an error: {words}")

    def _within(self, *names: str, after_s: float = GOES_ON_S) -> Fault | None:
        now = self.boat.seconds
        for fault in self.faults:
            lasts = fault.begins_s - self.step_s <= now <= fault.ends_s + after_s
            if lasts and (not names or fault.name in names):
                return fault
        return None

    def _is_wrong(self, words: str) -> None:
        self.wrong.append(f"{self._at()} {words}")

    def _at(self) -> str:
        hours, seconds = divmod(self.boat.seconds, 3600.0)
        return f"{hours:02.0f}:{seconds // 60:02.0f}:{seconds % 60:02.0f}"

    # ---- what is told -----------------------------------------------------------------------

    def _event(self, event: Message) -> list[Message]:
        kind, now = event["kind"], self.boat.seconds
        if self.wants.aloud:
            print(f"{self._at()} {kind}: {event['message']}", flush=True)
        self.counts[kind] = self.counts.get(kind, 0) + 1
        fault = self._within()
        if fault is not None:
            fault.told.append((now, kind, event["message"]))
        if kind in OF_FAULTS and not (fault and kind in (*fault.kind.must, *fault.kind.may)):
            self._is_wrong(f"{kind} without a cause: {event['message']}")
        if kind == "stale":
            self.stale = True
        elif kind == "recovered":
            self.stale = False
        elif kind in ADVICE and self.stale:
            self._is_wrong(f"advice while there is none: {event['message']}")
        if kind == "mark_rounded":
            self._marked(event)
        if kind == "approach":
            name = event["values"].get("point") or event["values"]["mark"]
            self.crew.ahead.setdefault(name, []).append((now, event["values"]["time_s"]))
        if kind == "asked":
            return self._answer(event)
        return self._turned(event) if kind == "turn_now" else []

    def _turned(self, event: Message) -> list[Message]:
        point = (self.named, event["values"]["point"])
        if self.crew.holds_off:
            # Killed before anyone has seen to it.
            self.crew.holds_off = False
            self.may_again.add(point[1])
            self._restart_s = self.boat.seconds
            return []
        if point in self.points and point[1] not in self.may_again:
            self._is_wrong(f"told twice: {event['message']}")
        self.points.add(point)
        self._stood_by(point[1])
        return list(self.crew.seen_to(event))

    def _marked(self, event: Message) -> None:
        values, route = event["values"], self.marks
        if "marks" in values:
            # Told again after a restart, or answered: what was rounded before.
            known = self._names(1, self.next)
            names = list(values["marks"])
            if names == known[-len(names) :] or names == known[: len(names)]:
                return
            if names != self._names(self.next, self.next + len(names)) or self.nearest > 0.2:
                self._is_wrong(f"not rounded: {event['message']}")
                return
            self._on(len(names))
            return
        if values["mark"] != route[self.next][0]:
            self._is_wrong(f"{event['message']} But {route[self.next][0]} is next.")
            return
        if self.nearest <= 0.9 * ROUNDING_NM:  # Else she came to its rim only.
            self._stood_by(values["mark"])
        self.crew.ahead.pop(values["mark"], None)
        if self.nearest > ROUNDING_NM + 0.02:
            self._is_wrong(f"{event['message']} But she was never nearer than {self.nearest:.2f}")
        self._on(1)

    def _stood_by(self, name: str) -> None:
        """Who was told to stand by minutes before was told a minute before too."""
        told, now = self.crew.ahead.get(name, []), self.boat.seconds
        calm = now - self._planned_s > 90.0 and not self._within(after_s=420.0)
        if not calm or not told:
            return
        at_s, said_s = told[-1]
        if said_s > 75.0:
            told_s = f"{said_s:.0f} s before, {now - at_s:.0f} s ago, and then no more"
            self._is_wrong(f"{name} was told {told_s}")

    def _on(self, marks: int) -> None:
        self.rounded += self._names(self.next, self.next + marks)
        self.rounded_s += [self.boat.seconds] * marks
        self.next, self.nearest = self.next + marks, math.inf

    def _names(self, first: int, last: int) -> list[str]:
        return [name for name, _ in self.marks[first:last]]

    def _answer(self, event: Message) -> list[Message]:
        question = event["values"]["question"]
        if question == "turn":
            return [{"type": "answer", "question": "turn", "choice": "no"}]
        asked_of = event["message"].partition(" lie")[0].split(" and ")
        begins = self.believed
        behind = self._names(begins, self.next)
        yes = behind[: len(asked_of)] == asked_of
        if not yes and asked_of == self._names(self.next, self.next + 1):
            yes = self.nearest <= 0.2
        return [{"type": "answer", "question": "passed", "choice": "yes" if yes else "no"}]

    @property
    def believed(self) -> int:
        """Which mark the service sails to."""
        keeper = self.service.session.keeper
        assert keeper is not None
        route = keeper.state.route
        return self.next if route is None else route.next

    # ---- as the seconds pass ----------------------------------------------------------------

    @property
    def marks(self) -> list[tuple[str, tuple[float, float]]]:
        """The route, each time that a mark is passed by the name it goes by then."""
        laid, times = [("Home", HOME), *(LAP * LAPS)], dict[str, int]()
        found = []
        for name, place in laid:
            times[name] = times.get(name, 0) + 1
            found.append((name if times[name] == 1 else f"{name}#{times[name]}", place))
        return found

    def _route(self, **more: Any) -> Message:
        points = [
            {"lat": lat, "lon": lon, "name": name.partition("#")[0]}
            for name, (lat, lon) in self.marks
        ]
        return {
            "type": "plan", "id": f"r{self.routes}", "name": "Laps", "points": points, "next": 1,
            **more,
        }  # fmt: skip

    def _time(self) -> str:
        return stamp(START + timedelta(seconds=self.boat.seconds + self.clock_s))

    def second(self) -> None:
        """Let a step of time pass."""
        now = self.boat.seconds
        fault = self._within(after_s=0.0)
        begins = fault is not None and fault.begins_s - self.step_s <= now < fault.begins_s
        if fault is not None and begins:
            self._begin(fault)
        for message in self._sensed(fault if fault and not begins else None):
            self.say(message)
        self.say({"type": "tick", "time": self._time()})
        self._look_after()
        self.crew.steer()
        self.boat.heading = (self.boat.heading + yaw(now)) % 360.0
        self.waters.stream = stream(now)
        if fault is None or fault.name != "position frozen" or begins:
            self._before = (self.boat.lat, self.boat.lon)
        self.boat.sail(self.step_s)

    def _begin(self, fault: Fault) -> None:
        name = fault.name
        if self.wants.aloud:
            print(f"{self._at()} ---- {name}, {fault.ends_s - fault.begins_s:.0f} s", flush=True)
        self._frozen = (self.boat.lat, self.boat.lon)
        if name == "clock back":
            self.clock_s -= 1200.0
        elif name == "clock ahead":
            self.clock_s += 3600.0
        elif name == "restart before a turn":
            self.crew.holds_off = True
        elif name.startswith("restart"):
            self._restart(cut=CUT.get(name, 0))

    _planned_s = 0.0
    _restart_s: float | None = None
    _frozen = HOME

    def _restart(self, *, cut: int = 0) -> None:
        """Kill the service and start it anew from its file or the copy, whole or cut in half."""
        self.restarts += 1
        assert json.loads(self.kept.read_bytes())["kept"]["next"] == self.believed
        for file in (self.kept, self.kept.with_name(f"{self.kept.name}.copy"))[:cut]:
            whole = file.read_bytes()
            file.write_bytes(whole[: len(whole) // 2])
        forgotten = cut > 1
        # Names of turns begin anew where nothing can be read.
        self.named += forgotten
        self.crew.plan, self.stale = None, False
        self.service = self._started()
        if forgotten:
            tack = "port" if self.boat.on_bow() < 0.0 else "starboard"
            self.say({"type": "carry", "sail_set": self.boat.sail_set, "tack": tack})
        self.say(self._route())
        self._forgotten = self._forgotten or forgotten

    _forgotten = False

    def _look_after(self) -> None:
        """Do what a crew does between two looks: set out anew, put the next mark right."""
        if self._restart_s is not None:
            self._restart_s = None
            self._restart()
        if self._forgotten and self.crew.plan is not None:
            # Which lap it is only the crew knows.
            self._forgotten = False
            if self.believed != self.next:
                self.named += 1
                self.say(self._route(next=self.next, resume=False))
        if self.next >= len(self.marks) or self.routes == 0:
            if self.boat.seconds >= 120.0:
                self.routes, self.named = self.routes + 1, self.named + 1
                self.next, self.nearest = 1, math.inf
                self.may_again = set()
                self.say(self._route())
            return
        mark = self.marks[self.next][1]
        self.nearest = min(self.nearest, self.boat.nm_to(*mark))
        if self.nearest <= 0.1 and self.boat.nm_to(*mark) > 0.6 and not self._within():
            self._is_wrong(f"{self.marks[self.next][0]} was rounded, but that was not told")
            self.nearest = math.inf

    def _sensed(self, fault: Fault | None) -> list[Message]:
        """What the instruments say now."""
        name = "" if fault is None else fault.name
        if name == "links dead":
            return []
        values = {each["path"]: each["value"] for each in self.boat.sensors()}
        compass = self.noise.normal(0.0, COMPASS_DEG)
        heading = math.radians((self.boat.heading + compass) % 360.0)
        values["navigation.headingTrue"] = heading
        if name.startswith("position frozen"):
            lat, lon = self._frozen
            values["navigation.position"] = {"latitude": lat, "longitude": lon}
        elif name == "position wild":
            lat, lon = far((self.boat.lat, self.boat.lon), 77.0, 4.0)
            values["navigation.position"] = {"latitude": lat, "longitude": lon}
        gone = {"wind lost": "environment.wind", "compass lost": "navigation.heading",
                "log lost": "navigation.speedThroughWater"}.get(name)  # fmt: skip
        if gone:
            values = {path: value for path, value in values.items() if not path.startswith(gone)}
        said = [self._observed("sim", values)]
        if name == "garbage":
            words = GARBAGE[int(self.boat.seconds / self.step_s) % len(GARBAGE)]
            message = self.service.take_line(words)
            said += [] if message is None else [message]
        second = self._within("two winds", after_s=GOES_ON_S / 2.0)
        if second:
            said.append(self._second_wind(values, off=name == "two winds"))
        return said

    def _observed(self, source: str, values: Message) -> Message:
        listed = [{"path": path, "value": value} for path, value in values.items()]
        return {"type": "observe", "time": self._time(), "source": source, "values": listed}

    def _second_wind(self, values: Message, *, off: bool) -> Message:
        """Another vane, which is turned on its mast for a while."""
        paths = ("environment.wind.angleApparent", "environment.wind.speedApparent")
        wind = {path: values[path] for path in paths}
        wind[paths[0]] += math.radians(40.0) if off else 0.0
        return self._observed("vane", wind)

    # ---- judged at the end ------------------------------------------------------------------

    def judged(self) -> list[str]:
        """All that was not as it must be."""
        wrong = list(self.wrong)
        for fault in self.faults:
            wrong += fault.wrong(self.step_s)
        wrong += [words for turn in self.crew.turns if (words := turn.wrong())]
        expected = [name for name, _ in LAP]
        rounded = [name.partition("#")[0] for name in self.rounded]
        if rounded != (expected * len(rounded))[: len(rounded)]:
            wrong.append(f"marks in another order: {self.rounded}")
        return wrong


# ---- memory -------------------------------------------------------------------------------------


def held() -> tuple[int, int, int]:
    """Bytes in memory, objects of Python, and bytes traced where they are."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    traced = tracemalloc.get_traced_memory()[0] if tracemalloc.is_tracing() else 0
    return pages * resource.getpagesize(), len(gc.get_objects()), traced


def sail(wants: Wants, folder: Path) -> dict[str, Any]:
    """Sail a day; return what came of it."""
    day = Day(wants, folder)
    memory: list[tuple[int, int, int]] = []
    while day.boat.seconds < day.until_s:
        day.second()
        if day.boat.seconds // 3600.0 > len(memory):
            memory.append(held())
    return {
        "events": day.digest.hexdigest(), "counts": dict(sorted(day.counts.items())),
        "faults": [fault.name for fault in day.faults], "restarts": day.restarts,
        "rounded": day.rounded, "rounded_s": day.rounded_s, "routes": day.routes,
        "turns": [vars(turn) for turn in day.crew.turns],
        "wrong": day.judged(), "memory": memory,
    }  # fmt: skip


def main() -> int:
    """Sail a day and print what came of it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--hours", type=float, default=24.0)
    asked.add_argument("--step", type=float, default=1.0, help="seconds between two looks")
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--corridor", type=float, help="half its width in nm")
    asked.add_argument("--calm", action="store_true", help="nothing fails")
    asked.add_argument("--restart", type=float, help="nothing fails, but one restart at this hour")
    asked.add_argument("--aloud", action="store_true", help="print all that is told")
    asked.add_argument("--trace", action="store_true", help="trace memory as well: slower")
    asked.add_argument("--json", action="store_true")
    given = asked.parse_args()
    wants = Wants(
        seed=given.seed, hours=given.hours, step_s=given.step, corridor_nm=given.corridor,
        calm=given.calm, restart_h=given.restart, aloud=given.aloud,
    )  # fmt: skip
    if given.trace:
        tracemalloc.start()
    with tempfile.TemporaryDirectory() as folder:
        found = sail(wants, Path(folder))
    if given.json:
        print(json.dumps(found))
    else:
        _tell(found)
    return 1 if found["wrong"] else 0


def _tell(found: dict[str, Any]) -> None:
    print(f"{len(found['rounded'])} marks rounded, {len(found['turns'])} turns, "
          f"{len(found['faults'])} faults, {found['restarts']} restarts")  # fmt: skip
    print(", ".join(f"{kind} {count}" for kind, count in found["counts"].items()))
    for hour, (resident, objects, traced) in enumerate(found["memory"], start=1):
        more = f", {traced / 1e6:.2f} MB traced" if traced else ""
        print(f"{hour:3d} h: {resident / 1e6:.1f} MB, {objects} objects{more}")
    for each in found["wrong"]:
        print("WRONG", each)
    print("events", found["events"])


if __name__ == "__main__":
    sys.exit(main())
