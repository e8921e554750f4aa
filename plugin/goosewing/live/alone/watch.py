"""The running service without a host: sentences in, advice to the crew, a plan to the plotter.

`Watch` is what happens, a sentence or a second at a time: it knows no clock. `sail` keeps
it with live links, `play` with a recorded log whose own times drive it.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from goosewing.errors import GoosewingError, InputError
from goosewing.exchange.handheld.plans import contents_of
from goosewing.exchange.handheld.routes import PRESETS, fit
from goosewing.exchange.nmea.readings import Framer, Heard, LogClock, heard, seconds_of
from goosewing.exchange.nmea.routes import DEFAULT_TALKER, format_contents
from goosewing.exchange.nmea.wires import Address, Listener, Sender, read_log
from goosewing.files.disk import shown
from goosewing.live.alone import overlay, steering
from goosewing.live.alone.one_line import one_line
from goosewing.live.core import health
from goosewing.live.core.sensing import variation_deg
from goosewing.live.core.state import (
    Acknowledge,
    Cleared,
    Desk,
    Event,
    Order,
    PlanReady,
    Reading,
    Replaced,
    Route,
    Tick,
)
from goosewing.live.memory_file import MemoryFile
from goosewing.live.panel import document as panel
from goosewing.live.panel.counter import Asked
from goosewing.live.planner import Planner
from goosewing.live.watchkeeper import Watchkeeper

if TYPE_CHECKING:
    from goosewing.compass.headings import VariationAt
    from goosewing.live.core.state import Observation, Output
    from goosewing.live.panel.counter import WatchCounter
    from goosewing.records import Plan

RECEIVER_AHEAD_S = 60.0
"""A receiver's time that is later by more is believed before this computer's."""

OWN_PAST_S, OWN_PAST_TIMES = 60.0, 20
"""One source alone is believed after so long and so many times."""

CLAIMS_AGREE_S = 5.0
CLAIM_LASTS_S = 60.0
MOST_CLAIMS = 16

MOST_WAITING = 5000
"""Pieces of bytes that may wait; what comes beyond is dropped and counted."""

VARIATION_EVERY_S = 600.0

TURNED_FOR_S = 20.0
"""In a recorded log a turn is taken as seen to once she has been on the new tack so long."""

TURN_AT_LATEST_S = 300.0
"""Or after this: under a poled headsail no instrument tells the tack."""

LONGEST_GAP_S = 60.0
"""Of a log's silence no more is counted second by second, or waited for."""

LOOKED_AHEAD = 400
"""A log without a time, or a date, in so many sentences has none."""

GARBAGE_AFTER = 50
"""So many damaged lines and not one sentence: that is no wire of sentences."""

LEAST_SEEN_S = 2.0
"""Enter within so short a time of a turn falling due is not meant for it."""

UNTOLD_AFTER_S = 30.0
"""A compass whose variation nobody has told so long is useless."""


class Show(Protocol):
    """Whoever tells the crew; called from the watch's own thread."""

    def line(self, text: str, severity: str = "normal") -> None:
        """Tell something, for good."""

    def status(self, words: Callable[[], str], *, changed: bool) -> None:
        """Show how it stands, in place of what stood there; `changed` if it is another state."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What the crew has asked for.

    Attributes
    ----------
    desk : Desk
    route : Route
    overlay : Path or None
        The folder of the plotter's GPX.
    inputs : tuple of Path
        Files that are never overwritten.
    receiver : Address or None
        Where route sentences go.
    steers : bool
        Whether steering data go there too.
    state : Path or None
        The file that keeps what was passed, for a restart.
    talker : str
    variation : callable or None
        The model of the variation, where no number was given.
    """

    desk: Desk
    route: Route
    overlay: Path | None = None
    inputs: tuple[Path, ...] = ()
    receiver: Address | None = None
    steers: bool = False
    talker: str = DEFAULT_TALKER
    variation: VariationAt | None = None
    state: Path | None = None


@dataclass(slots=True)
class Counts:
    """What came in."""

    read: int = 0
    passed_over: int = 0
    damaged: int = 0
    dropped: int = 0

    @property
    def words(self) -> str:
        """How it is shown."""
        said = [f"{self.read} sentence{'' if self.read == 1 else 's'}"]
        said += [f"{self.damaged} damaged"] if self.damaged else []
        said += [f"{self.dropped} dropped"] if self.dropped else []
        return ", ".join(said)


Ordered = Callable[[Order, Desk], None]


class Watch:
    """What is known and what goes out; every time is given to it.

    Parameters
    ----------
    setup : Setup
    show : Show
    sender : Sender or None
        Where sentences go.
    ordered : callable or None
        Has a plan made elsewhere, for `made`; None makes it at once.
    """

    def __init__(
        self,
        setup: Setup,
        show: Show,
        *,
        sender: Sender | None = None,
        ordered: Ordered | None = None,
    ) -> None:
        self.setup = setup
        self.show = show
        self.counts = Counts()
        self.counter: WatchCounter | None = None
        self.keeper = Watchkeeper(replace(setup.desk, steers=setup.steers))
        if setup.state is not None:
            self.keeper.remember(MemoryFile(setup.state, self._warn, inputs=setup.inputs))
        self._sender = sender
        self._ordered = ordered
        self._guide: steering.Guide | None = None
        self._names: dict[steering.Place, str] = {}
        self._said: tuple[str, str] = ("", "")
        self._variation_s = float("-inf")
        self._begun_s = float("inf")
        self._warned: set[str] = set()
        self._waiting: tuple[tuple[int, str], float] | None = None
        self._overlay: overlay.Overlay | None = None
        if setup.overlay is not None:
            path = setup.overlay / overlay.NAME
            self._overlay = overlay.Overlay(path=path, tell=self._warn, inputs=setup.inputs)

    @property
    def desk(self) -> Desk:
        """The desk as it is now."""
        return self.keeper.desk

    def begin(self, now_s: float) -> None:
        """Take the route; an old plan must not stand for a new one."""
        if self._overlay is not None:
            self._overlay.hold(overlay.NOTHING, now_s)
        self.observe(self.setup.route)

    def hear(self, said: Heard, source: str, now_s: float) -> None:
        """Take what one sentence says."""
        if said.values:
            self.observe(Reading(time_s=now_s, source=source, values=said.values))

    def tick(self, now_s: float) -> None:
        """Let a second be over: look, steer, show."""
        try:
            self._look(now_s)
            self._steer(self.steering)
        except Exception as error:
            # What is steered by, or shown, must not outlive the look that it came from.
            self._steer(lambda: steering.nothing(now_s, talker=self.setup.talker))
            if self.counter is not None:
                self.counter.error(_fault_words(error))
            raise
        self._status()

    def _look(self, now_s: float) -> None:
        self.observe(Tick(time_s=now_s))
        if self.counter is not None:
            self.counter.look(self.keeper)
        self._vary(now_s)
        self._doubt(now_s)
        self._note_turn(now_s)
        if self._overlay is not None:
            self._overlay.heal(now_s)
        if self._sender is not None:
            self._sender.hold(health.status(self.keeper.state)[0] != "advising")

    def _steer(self, sentences: Callable[[], tuple[str, ...]]) -> None:
        if self.setup.steers and self._sender is not None:
            self._sender.steer(sentences())

    def _note_turn(self, now_s: float) -> None:
        """Note since when a turn has waited: nobody can have seen to it before."""
        pending, planned = self.keeper.state.pending, self.keeper.state.planned
        if pending is None or planned is None:
            self._waiting = None
            return
        turn = (planned.order.number, pending.point)
        if self._waiting is None or self._waiting[0] != turn:
            self._waiting = (turn, now_s)

    def receive(self, asked: Asked) -> None:
        """Take an order of the crew, and answer it."""
        order = asked.order
        why_not = self.keeper.refusal(order)
        if why_not is None:
            if isinstance(order, Acknowledge):
                self._say_acknowledged(order)
            self.observe(order)
        asked.answer(why_not)

    def _say_acknowledged(self, order: Acknowledge) -> None:
        pending = self.keeper.state.pending
        if pending is not None and order.point == pending.point:
            self.show.line(f"{pending.point} acknowledged: {pending.words}.")

    def acknowledge(self) -> None:
        """Take the turn that waits as seen to."""
        pending = self.keeper.state.pending
        if pending is None:
            self.show.line("There is no turn to acknowledge.")
            return
        now_s = self.keeper.state.now_s
        if self._waiting is None or now_s - self._waiting[1] < LEAST_SEEN_S:
            # Pressed for the turn before, or before this one could be read.
            self.show.line(f"{pending.point} has only just fallen due: once more, if it is done.")
            return
        order = Acknowledge(point=pending.point)
        self._say_acknowledged(order)
        self.observe(order)

    def made(self, order: Order, ready: PlanReady | str) -> None:
        """Take a plan that was asked for."""
        self._take(self.keeper.made(order, ready))

    def steering(self) -> tuple[str, ...]:
        """Return the steering data of this second."""
        state = self.keeper.state
        self._guide = steering.guide(state, self._guide, self._names)
        return steering.sentences(state, self.desk, self._guide, talker=self.setup.talker)

    # ---- what follows -------------------------------------------------------------------

    def observe(self, observation: Observation) -> None:
        """Take an observation into the core, and act on what follows."""
        if self._ordered is None:
            self._take(self.keeper.in_turn(observation))
        else:
            self._take(self.keeper.observe(observation))

    def _take(self, outputs: Sequence[Output]) -> None:
        if self.counter is not None:
            self.counter.tell(outputs)
        for output in outputs:
            if isinstance(output, Event) and not _unspoken(output):
                at = datetime.fromtimestamp(output.time_s, UTC)
                self.show.line(f"{at:%H:%M:%S}Z  {output.message}", output.severity)
            elif isinstance(output, Replaced | Cleared):
                self._published()
            elif isinstance(output, Order) and self._ordered is not None:
                self._ordered(output, self.desk)

    def _published(self) -> None:
        """Hand a new plan to the plotter, or take the old one from it."""
        planned, now_s = self.keeper.state.planned, self.keeper.state.now_s
        if planned is None:
            self._put(overlay.NOTHING, now_s)
            self._send_no_more()
            return
        self._put(overlay.format_overlay(planned.plan), now_s)
        if self._sender is not None:
            self._send(planned.plan)

    def _put(self, text: str, now_s: float) -> None:
        if self._overlay is not None:
            self._overlay.hold(text, now_s)

    def _send(self, plan: Plan) -> None:
        assert self._sender is not None
        contents = replace(contents_of(plan), waypoints=(), tracks=())
        try:
            contents = fit(contents, PRESETS["small"]).contents
            sentences = format_contents(contents, talker=self.setup.talker)
        except GoosewingError as error:
            self._warn(f"the plan can't be sent as sentences: {error}")
            self._send_no_more()
            return
        self._names = steering.names_of(contents, plan)
        self._sender.route(sentences)

    def _send_no_more(self) -> None:
        """Send the old route no more; a plotter can't be told to forget it."""
        if self._sender is not None and self._sender.route(()):
            self._names = {}
            self.show.line("The plotter still holds the route it was sent before.", "alert")

    def _vary(self, now_s: float) -> None:
        """Let the model tell the variation where she is."""
        place, model = self.keeper.state.place, self.setup.variation
        if model is None or place is None or now_s - self._variation_s < VARIATION_EVERY_S:
            return
        self._variation_s = now_s
        try:
            variation = model(place.lat, place.lon, datetime.fromtimestamp(now_s, UTC))
        except GoosewingError as error:
            self._warn(str(error))
            return
        self.keeper.desk = replace(self.desk, variation_deg=variation)

    def _doubt(self, now_s: float) -> None:
        """Tell once what the crew has to mend."""
        self._begun_s = min(self._begun_s, now_s)
        if self.counts.read == 0 and self.counts.damaged >= GARBAGE_AFTER:
            self._tell_once("Only garbage comes in: is it NMEA 0183, and the baud rate right?")
        state = self.keeper.state
        magnetic = state.readings.get("heading_magnetic_deg")
        if not magnetic or now_s - self._begun_s < UNTOLD_AFTER_S:
            return
        if variation_deg(state, self.desk) is None:
            self._tell_once("The compass is of no use without the variation: --variation DEG.")

    def tell_fault(self, error: Exception) -> None:
        """Tell a fault in the engine, once."""
        self._tell_once(_fault_words(error), "warn")

    def _tell_once(self, words: str, severity: str = "alert") -> None:
        if words not in self._warned:
            self._warned.add(words)
            self.show.line(words, severity)

    def _warn(self, words: str) -> None:
        self.show.line(words, "alert")

    def _status(self) -> None:
        said = health.status(self.keeper.state)
        changed, self._said = said != self._said, said
        self.show.status(self.status_words, changed=changed)

    def status_words(self) -> str:
        """Say how it stands, in one line."""
        document = panel.panel(self.keeper.state, self.desk)
        return f"{one_line(document)} | {self.counts.words}"


# ---- under way ------------------------------------------------------------------------------


@dataclass(slots=True)
class _Claim:
    """What a source says the time is, as an offset to the steady clock, and since when."""

    offset_s: float
    since_s: float
    last_s: float
    times: int = 1


def _fault_words(error: Exception) -> str:
    return f"A fault in the engine ({type(error).__name__}: {error})."


def _unspoken(event: Event) -> bool:
    """Whether an event asks nothing of the crew: a shift in which they hold on."""
    return event.kind in ("headed", "lifted") and event.severity == "normal"


class RunningClock:
    """UTC that runs by the steady clock, from this computer's time.

    A small computer aboard often wakes with the time it was switched off at: a time that is
    later is believed where two sources say it, or one has said it for a minute on end. A
    single source that says two wild times is not. One that is earlier than this computer's
    own is not believed: old receivers count weeks wrong. A time that was believed is
    given up again where the sources agree on another.
    """

    def __init__(
        self,
        wall: Callable[[], float] = time.time,
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self._steady = steady
        self._own = self._base = wall() - steady()
        self._claims: dict[str, _Claim] = {}

    def now(self) -> float:
        """Return seconds since 1970-01-01T00:00Z."""
        return self._base + self._steady()

    def hear(self, receiver_s: float, source: str = "") -> bool:
        """Take a receiver's time; return whether the clock was set by it."""
        steady = self._steady()
        offset = receiver_s - steady
        claim = self._claimed(source, offset, steady)
        wanted = max(offset, self._own)
        if abs(wanted - self._base) <= RECEIVER_AHEAD_S or not self._sure(source, claim, steady):
            return False
        self._base = wanted
        return True

    def _claimed(self, source: str, offset_s: float, steady_s: float) -> _Claim:
        claim = self._claims.get(source)
        fresh = claim is not None and claim.last_s >= steady_s - CLAIM_LASTS_S
        if claim is not None and fresh and abs(claim.offset_s - offset_s) <= CLAIMS_AGREE_S:
            claim.last_s, claim.times = steady_s, claim.times + 1
            return claim
        if len(self._claims) >= MOST_CLAIMS:
            self._claims.clear()
        claim = self._claims[source] = _Claim(offset_s, steady_s, steady_s)
        return claim

    def _sure(self, source: str, claim: _Claim, steady_s: float) -> bool:
        """Whether another source says the same, or this one has long said so."""
        if claim.times >= OWN_PAST_TIMES and steady_s - claim.since_s >= OWN_PAST_S:
            return True
        return any(
            abs(each.offset_s - claim.offset_s) <= CLAIMS_AGREE_S
            and each.last_s >= steady_s - CLAIM_LASTS_S
            for name, each in self._claims.items()
            if name != source
        )


@dataclass(frozen=True, slots=True)
class Bytes:
    """What a link heard."""

    link: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Made:
    """A plan that was made, or why not."""

    order: Order
    ready: PlanReady | str


@dataclass(frozen=True, slots=True)
class Said:
    """What a link tells of itself."""

    words: str


@dataclass(frozen=True, slots=True)
class SeenTo:
    """The crew has seen to whatever turn waits."""


Item = Bytes | Made | Said | SeenTo | Asked
"""What waits to be taken."""


class Post:
    """What waits to be taken, from any thread; bytes are dropped when there are too many."""

    def __init__(self) -> None:
        self._waiting: queue.Queue[Item] = queue.Queue()
        self.dropped = 0

    def put(self, item: Item) -> None:
        """Add something."""
        if isinstance(item, Bytes) and self._waiting.qsize() >= MOST_WAITING:
            self.dropped += 1
            return
        self._waiting.put(item)

    def take(self, within_s: float) -> Item | None:
        """Wait so long for the next."""
        try:
            return self._waiting.get(timeout=max(within_s, 0.0))
        except queue.Empty:
            return None


def sail(
    setup: Setup,
    addresses: tuple[Address, ...],
    show: Show,
    *,
    post: Post,
    counter: WatchCounter | None = None,
    clock: RunningClock | None = None,
) -> None:
    """Keep watch by live links, until interrupted.

    Raises
    ------
    InputError
        If a port of this machine can't be listened on.
    """
    clock = clock or RunningClock()
    planner = Planner(lambda order, plan: post.put(Made(order, plan)))
    sender = _sender(setup, post)
    listeners = [
        Listener(address, _ear(post, at), lambda words: post.put(Said(words)))
        for at, address in enumerate(addresses)
    ]
    watch = Watch(setup, show, sender=sender, ordered=planner.order)
    watch.counter = counter
    try:
        for link in [*listeners, *([sender] if sender else [])]:
            link.start()
        watch.begin(clock.now())
        _keep(watch, post, clock, _Ears(addresses))
    finally:
        if sender is not None and setup.steers:
            sender.steer(steering.nothing(clock.now(), talker=setup.talker))
        for link in [*listeners, *([sender] if sender else [])]:
            link.end()


def _ear(post: Post, link: int) -> Callable[[bytes], None]:
    return lambda data: post.put(Bytes(link, data))


def _sender(setup: Setup, post: Post) -> Sender | None:
    if setup.receiver is None:
        return None
    return Sender(setup.receiver, lambda words: post.put(Said(words)))


class _Ears:
    """The sentences of several links, each framed for itself."""

    def __init__(self, addresses: tuple[Address, ...]) -> None:
        self._framers = [Framer() for _ in addresses]
        self._names = [f" on {a.words}" if len(addresses) > 1 else "" for a in addresses]

    def hear(self, item: Bytes, counts: Counts) -> Iterator[tuple[Heard, str]]:
        framer = self._framers[item.link]
        for sentence in framer.feed(item.data):
            said = _counted(sentence, counts)
            if said is not None:
                yield said, f"{said.talker}{self._names[item.link]}"
        counts.damaged = sum(each.damaged for each in self._framers)


def _counted(sentence: str, counts: Counts) -> Heard | None:
    said = heard(sentence)
    counts.read += said is not None
    counts.passed_over += said is None
    return said


def _keep(watch: Watch, post: Post, clock: RunningClock, ears: _Ears) -> None:
    following = float("-inf")
    while True:
        now = clock.now()
        if now >= following:
            watch.counts.dropped = post.dropped
            _safely(watch, partial(watch.tick, now))
            following = float(int(now)) + 1.0
        item = post.take(following - clock.now())
        if isinstance(item, Bytes):
            _hear(watch, ears.hear(item, watch.counts), clock)
        elif item is not None:
            _handle(watch, item)


def _hear(watch: Watch, sentences: Iterable[tuple[Heard, str]], clock: RunningClock) -> None:
    for said, source in sentences:
        time_s = None if said.clock is None else seconds_of(said.clock)
        if time_s is not None and clock.hear(time_s, source):
            watch.show.line("The computer's clock was not right: the receivers' time is taken.")
        _safely(watch, partial(watch.hear, said, source, clock.now()))


def _handle(watch: Watch, item: Made | Said | SeenTo | Asked) -> None:
    if isinstance(item, Said):
        watch.show.line(item.words, "alert")
    elif isinstance(item, Made):
        _safely(watch, partial(watch.made, item.order, item.ready))
    elif isinstance(item, SeenTo):
        _safely(watch, watch.acknowledge)
    else:
        _safely(watch, partial(watch.receive, item))


def _safely(watch: Watch, act: Callable[[], None]) -> None:
    """Let no single line, and no fault in the engine, end the watch."""
    try:
        act()
    except GoosewingError as error:
        watch.show.line(str(error), "alert")
    except Exception as error:
        watch.tell_fault(error)


# ---- a recorded log ---------------------------------------------------------------------------


def timed(pieces: Iterable[bytes], counts: Counts, today: date) -> tuple[LogClock, Iterator[Heard]]:
    """Read a log.

    Returns
    -------
    clock : LogClock
        At the log's beginning.
    sentences : iterator of Heard
        Each sets the clock as it is taken.
    """
    found = (_counted(sentence, counts) for sentence in _sentences(pieces, counts))
    read = (said for said in found if said is not None)
    begins: list[Heard] = []
    for said in read:
        begins.append(said)
        dated = said.clock is not None and said.clock.day is not None
        if dated or len(begins) >= LOOKED_AHEAD:
            break
    clock = LogClock(begins, today)

    def hear() -> Iterator[Heard]:
        for said in chain(begins, read):
            clock.hear(said)
            yield said

    return clock, hear()


def _sentences(pieces: Iterable[bytes], counts: Counts) -> Iterator[str]:
    framer = Framer()
    for data in pieces:
        yield from framer.feed(data)
        counts.damaged = framer.damaged
    yield from framer.finish()
    counts.damaged = framer.damaged


def play(
    setup: Setup,
    log: Path | str,
    show: Show,
    *,
    speed: float,
    post: Post,
    counter: WatchCounter | None = None,
) -> Watch:
    """Play a recorded log; its own times drive the service, and plans are made at once.

    A turn is acknowledged here when she has turned in the log: nobody is asked.

    Parameters
    ----------
    speed : float
        1 as it was, 10 ten times as fast, 0 as fast as it can be read.

    Raises
    ------
    InputError
        If the disk refuses the log.
    """
    sender = _sender(setup, post)
    watch = Watch(setup, show, sender=sender)
    watch.counter = counter
    clock, sentences = timed(read_log(log), watch.counts, datetime.now(UTC).date())
    player = _Player(watch, post, speed)
    _tell_clock(clock, show)
    if sender is not None:
        sender.start()
    try:
        watch.begin(clock.time_s)
        for said in sentences:
            player.go_to(clock.time_s)
            _safely(watch, partial(watch.hear, said, said.talker, clock.time_s))
        player.last_look()
    finally:
        if sender is not None:
            sender.end()
    if watch.counts.read == 0:
        raise InputError("holds no NMEA 0183 sentence", where=shown(log))
    return watch


def _tell_clock(clock: LogClock, show: Show) -> None:
    if clock.counted:
        show.line("The log has no times: each burst of sentences is taken as a second.")
    elif not clock.dated:
        show.line("The log has no date: today's is taken.")


class _Player:
    """Time as a log has it: second by second, at a pace."""

    def __init__(self, watch: Watch, post: Post, speed: float) -> None:
        self._watch = watch
        self._post = post
        self._speed = speed
        self.time_s: float | None = None
        self._due = time.monotonic()
        self._waits: tuple[str, float, float | None] | None = None

    def go_to(self, time_s: float) -> None:
        """Let time go on to this one; a clock that goes back is the core's to tell."""
        before, self.time_s = self.time_s, time_s
        if before is None or time_s < before:
            self._watch.tick(time_s)
            return
        self._wait(min(time_s - before, LONGEST_GAP_S))
        first = int(before) + 1
        for second in range(first, min(int(time_s), first + int(LONGEST_GAP_S)) + 1):
            self._second(float(second))
        if time_s - before > LONGEST_GAP_S:
            self._second(float(int(time_s)))

    def _second(self, now_s: float) -> None:
        self._watch.tick(now_s)
        self._turned(now_s)

    def _wait(self, gap_s: float) -> None:
        if self._speed > 0.0:
            self._due += gap_s / self._speed
        while (item := self._post.take(self._left())) is not None:
            if not isinstance(item, Bytes):
                _handle(self._watch, item)

    def _left(self) -> float:
        return self._due - time.monotonic() if self._speed > 0.0 else 0.0

    def _turned(self, now_s: float) -> None:
        """Take a turn as seen to, once the log shows it or it is long past."""
        state = self._watch.keeper.state
        pending = state.pending
        if pending is None:
            self._waits = None
            return
        point, since, on_it = self._waits or (pending.point, now_s, None)
        on_it = (on_it or now_s) if state.tack == pending.tack else None
        self._waits = (point, since, on_it)
        seen = on_it is not None and now_s - on_it >= TURNED_FOR_S
        if seen or now_s - since >= TURN_AT_LATEST_S:
            self._waits = None
            self._watch.acknowledge()

    def last_look(self) -> None:
        """Look once more, at the log's last second."""
        if self.time_s is not None:
            self._watch.tick(float(int(self.time_s) + 1))
