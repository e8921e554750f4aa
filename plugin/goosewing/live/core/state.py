"""What the running service knows, as frozen records, and what comes in and goes out of it.

Inside: knots, degrees true, nautical miles; times are seconds since
1970-01-01T00:00Z, and always come with what was observed. Angles on the bow are
negative to port where a record says "signed".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from goosewing.live.core.copies import replace
from goosewing.records import Tack, Value

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.hazards.chart import Chart
    from goosewing.records import LaylineBand, Mark, Plan
    from goosewing.shifts.rule import ShiftRule
    from goosewing.velocities.velocity_set import VelocitySet


EventKind = Literal[
    "approach", "handle_pole", "turn_now", "new_order", "turn_done", "turn_undone", "on_layline",
    "overstood",
    "headed", "lifted", "turn_pays", "shifts_off", "wing_pays", "wing_no_longer_pays",
    "beyond_limits", "within_limits", "dead_downwind", "clear_of_dead_downwind", "mark_rounded",
    "asked", "answered", "replanned", "stale", "recovered", "position_jumped", "sources_disagree",
    "sources_agree", "clock",
]  # fmt: skip

Severity = Literal["normal", "alert", "warn"]

NEVER = float("-inf")
"""Before the first observation."""

ServiceState = Literal["waiting", "advising", "stale", "failed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """Every threshold of the service; what has no source is our choice.

    Ages after which an input no longer counts, in seconds; how far wind, stream and
    position may move before a new plan is made, and for how long they must have
    stayed there; what an event needs to be told, and to be told again.
    """

    position_stale_s: float = 10.0
    wind_stale_s: float = 30.0
    heading_stale_s: float = 10.0
    log_stale_s: float = 15.0
    course_stale_s: float = 10.0
    current_stale_s: float = 60.0

    clock_back_s: float = 2.0
    """A clock that goes back by more has been set; by less, lines came out of order."""
    lag_s: float = 10.0
    """A source this far from the host's clock has a clock of its own."""

    wind_tau_s: float = 60.0
    """Time constant of the damped wind at 10 kn: see `goosewing.live.core.damping`."""
    swinging_deg_s: float = 2.0
    """While she turns faster, not by a seaway's yaw, log and compass say nothing of the stream."""
    stream_doubt_kn: float = 0.35
    """A stream known no better than this, along either axis, is not known."""

    frozen_s: float = 20.0
    """A position that does not move for so long while she makes way is frozen."""
    fastest_kn: float = 60.0
    jump_nm: float = 0.1
    believed_s: float = 10.0
    """A position that jumped is believed once it has stayed there for so long."""

    disagree_deg: float = 20.0
    disagree_kn: float = 4.0
    disagree_s: float = 30.0

    wind_moved_deg: float = 5.0
    wind_moved_kn: float = 1.0
    wind_moved_share: float = 0.12
    stream_moved_kn: float = 0.3
    off_track_nm: float = 0.1
    off_track_share: float = 0.03
    moved_for_s: float = 45.0
    plans_apart_s: float = 90.0
    retry_s: float = 60.0

    rounding_nm: float = 0.1
    stand_by_s: tuple[float, ...] = (300.0, 60.0)
    """So long before a turn the crew is told to stand by."""
    large_turn_deg: float = 30.0
    """A mark where she turns by more is told of ahead as a turn is."""
    dead_downwind_deg: float = 175.0
    """From this wind angle on an accidental gybe is near: common practice, no source."""
    clear_downwind_deg: float = 172.0
    dead_downwind_for_s: float = 8.0
    gap_s: float = 600.0
    """After a longer silence the crew is asked what was done in it."""
    drifted_nm: float = 1.0
    gap_kn: float = 12.0
    """So far, and so fast, she may have gone in a gap without being asked."""
    astern_for_s: float = 60.0
    answer_within_s: float = 300.0
    """A turn from before the restart that nobody answers for is planned again after so long."""
    undo_s: float = 180.0
    """So long a turn that was taken as made can be taken back."""
    overstood_nm: float = 0.05
    wing_gain: float = 1.02
    wing_loss: float = 1.005
    wing_for_s: float = 30.0
    limit_back_kn: float = 1.0
    limit_for_s: float = 10.0
    turned_for_s: float = 20.0
    settled_deg: float = 20.0
    """On the new tack and within this of its wind angle, the turn is made."""

    update_every_s: float = 2.0
    status_every_ticks: int = 5


# ---- what comes in ------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Values that one source gave at one time, already in the units of this package."""

    time_s: float
    source: str
    values: tuple[tuple[str, Value], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """Time goes on, by the host's clock."""

    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One row of a forecast at the boat's place."""

    time_s: float
    wind_from_deg: float
    wind_kn: float
    gust_kn: float | None = None
    set_deg: float | None = None
    drift_kn: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """The marks to be sailed, and which of them is next."""

    id: str
    name: str
    marks: tuple[Mark, ...]
    next: int = 1
    from_here: bool = True
    forecast: tuple[Outlook, ...] = ()
    resume: bool = True
    """Whether marks passed before count; not where the crew has named the next one."""
    remembered: Memory | None = None
    """What was kept of the same marks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReady:
    """A plan that was asked for is made."""

    number: int
    plan: Plan
    rule: ShiftRule | None = None
    """For shifts on the first leg, where that was wanted and there is one."""
    bands: tuple[LaylineBand, ...] = ()
    no_rule: str | None = None
    """Why one that was wanted isn't there, where it couldn't be worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFailed:
    """A plan that was asked for can't be made."""

    number: int
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge:
    """The crew has seen to a turning point."""

    point: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """The turn that was taken as made was not."""

    point: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Carries:
    """The crew says what is up."""

    sail_set: str
    tack: Tack


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The crew answers what was asked."""

    question: str
    choice: str


@dataclass(frozen=True, slots=True)
class Clear:
    """Forget the route and its plan."""


CrewOrder = Acknowledge | Undo | Carries | Answer | Clear
Observation = Reading | Tick | Route | PlanReady | PlanFailed | CrewOrder


# ---- what goes out ------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something the crew should know, in plain words."""

    time_s: float
    kind: EventKind
    message: str
    severity: Severity = "normal"
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A plan is wanted; whoever makes it answers with `PlanReady` or `PlanFailed`."""

    number: int
    reason: str
    time_s: float
    marks: tuple[Mark, ...]
    route_id: str
    next: int
    wind_from_deg: float
    wind_kn: float
    set_deg: float
    drift_kn: float
    stream_doubt_kn: float | None
    """How well the stream is known, as a standard deviation; None where it is not known, and
    none is reckoned with."""
    forecast: tuple[Outlook, ...]
    start_tack: Tack | None
    start_with: str | None
    shift_deg: float
    """How far the wind had turned since the plan before, clockwise positive."""
    quiet: bool = False
    """Whether the new plan is told only where it changes what is advised."""
    keeps: bool = False
    """Whether the plan before stands where nothing changes."""
    wants_rule: bool = False
    """Whether a rule for shifts is to be worked out with it."""
    behind: Mark | None = None
    """Where the leg that she is on begins: a corridor lies along the whole of it."""
    hasty: bool = False
    """Whether wind and stream had hardly been heard: nobody is told to turn by such a plan."""


class Reason(NamedTuple):
    """Why a plan is to be made; told only where advice changes; dropped where nothing does."""

    words: str
    quiet: bool = False
    keeps: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Replaced:
    """A new plan stands in the place of the one before."""

    plan: Plan
    route: Route
    bands: tuple[LaylineBand, ...] = ()
    """Of its first leg's laylines in shifty wind."""


@dataclass(frozen=True, slots=True)
class Cleared:
    """There is no plan any more: what was published of it goes away."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """The numbers of the moment, for displays; None is not known, angles signed."""

    target_angle_deg: float | None = None
    target_speed_kn: float | None = None
    beat: tuple[float, float, float] | None = None
    """Angle, boat speed and speed made good to windward. [°, kn, kn]"""
    gybe: tuple[float, float, float] | None = None
    polar_speed_kn: float | None = None
    speed_ratio: float | None = None
    made_good_kn: float | None = None
    made_good_to_mark_kn: float | None = None
    opposite_heading_deg: float | None = None
    leeway_deg: float | None = None
    stream: tuple[float, float, float] | None = None
    """Set, drift, and the standard deviation of the drift. [°, kn, kn]"""
    layline_nm: float | None = None
    """Along her course to the layline that crosses it."""
    layline_s: float | None = None
    opposite_nm: float | None = None
    """On the other tack, to the layline parallel to her course."""
    opposite_s: float | None = None
    turn: str | None = None
    turn_nm: float | None = None
    turn_s: float | None = None
    awaiting: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Update:
    """Figures for the displays."""

    time_s: float
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """What the service does, what it lacks, and how old its inputs are."""

    time_s: float
    state: ServiceState
    message: str
    ages_s: Mapping[str, float | None]


Output = Event | Order | Replaced | Cleared | Update | Status


# ---- what is known ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sample:
    """A value and when it was good."""

    value: Any
    seen_s: float


@dataclass(frozen=True, slots=True)
class SourceClock:
    """When a source last spoke by its own clock, how far that lay behind, what is corrected."""

    time_s: float
    lag_s: float
    correction_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Average:
    """A damped vector, *towards* east and north [kn], and since when it is averaged."""

    east_kn: float
    north_kn: float
    since_s: float
    seen_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """The stream as estimated, with what log and compass read too much.

    Attributes
    ----------
    mean : tuple of float
        Towards east, towards north [kn], what the log reads too much [share of 1], what
        the compass reads too much [rad].
    covariance : tuple of tuple of float
        Of these four.
    noise : float
        Variance of one measurement of the velocity over the ground, as it is met. [kn²]
    since_s, seen_s : float
        When the first and the last measurement was taken. [s]
    """

    mean: tuple[float, float, float, float]
    covariance: tuple[tuple[float, ...], ...]
    noise: float
    since_s: float
    seen_s: float
    through: Average | None = None
    """Her velocity through the water over the last seconds, by log and compass."""

    @property
    def east_kn(self) -> float:
        """Return the part towards east."""
        return self.mean[0]

    @property
    def north_kn(self) -> float:
        """Return the part towards north."""
        return self.mean[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where she is believed to be."""

    lat: float
    lon: float
    seen_s: float
    moved_s: float
    """When the position last changed at all."""
    doubted: tuple[float, float, float] | None = None
    """A position far off, and since when it has been given: lat, lon, seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sense:
    """What the sensors say together at one look; None where they are silent."""

    heading_deg: float | None = None
    heading_from: str = ""
    boat_speed_kn: float | None = None
    speed_from: str = ""
    course_deg: float | None = None
    ground_speed_kn: float | None = None
    leeway_deg: float = 0.0
    wind: tuple[float, float] | None = None
    """Wind over the water of this moment, *towards* east and north. [kn]"""
    wind_from: str = ""
    sails: tuple[str, ...] = ()
    """Names of the sails reported as set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A plan and what it was made for."""

    order: Order
    plan: Plan

    def board_at(self, number: int) -> int:
        """Return which of the present leg's boards counts as the one of that number.

        Along the leg she may have counted one board more than a plan made anew has.
        """
        return min(number, len(self.plan.legs[0].boards) - 1)

    rule: ShiftRule | None = None
    """For shifts on its first leg."""
    bands: tuple[LaylineBand, ...] = ()
    no_rule: str | None = None
    """Why the rule wanted for it couldn't be worked out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """A turn that is due and not yet acknowledged."""

    point: str
    board: int
    """The board of the present leg that begins with it."""
    tack: Tack
    sail_set: str
    words: str
    changes_tack: bool
    """Whether wind and compass can tell that it was made."""
    undone: bool = False
    """The crew has said that it was not made: only they say when it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A turn that was taken as made, and what stood before it."""

    pending: Pending
    planned: Planned
    board: int
    nth: int
    tack: Tack | None
    sail_set: str | None
    time_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """What must not be forgotten when the service is started anew.

    Attributes
    ----------
    content : str
        Of which marks: `goosewing.live.core.memory.content_of`.
    time_s : float
        When it was so. [s]
    next : int
        The mark to be sailed to.
    passed : tuple of str
        The marks that were rounded.
    lat, lon : float or None
        Where she was. [°]
    tack, sail_set : str or None
        What was up.
    up_since_s : float or None
        Since when. [s]
    pending : Pending or None
        The turn that waited for the crew.
    used : tuple of str
        Names that turns have had.
    """

    content: str
    time_s: float
    next: int = 1
    passed: tuple[str, ...] = ()
    lat: float | None = None
    lon: float | None = None
    tack: Tack | None = None
    sail_set: str | None = None
    up_since_s: float | None = None
    pending: Pending | None = None
    used: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that the crew may give."""

    key: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What only the crew can know; until it is answered, or she shows it, nothing is ordered.

    Attributes
    ----------
    key : str
        "passed": were marks rounded? "turn": was a turn made?
    words : str
    choices : tuple of Choice
    next : int
        The mark to sail to, if the answer is yes.
    turn : Pending or None
        The turn it is about.
    asked_s : float
        Since when it stands.
    """

    key: Literal["passed", "turn"]
    words: str
    choices: tuple[Choice, ...]
    next: int = 0
    turn: Pending | None = None
    asked_s: float = NEVER


@dataclass(frozen=True, slots=True, kw_only=True)
class Countdown:
    """When the next turn is due, smoothed so that the time to it falls steadily."""

    point: str
    due_s: float
    seen_s: float
    apart_since_s: float | None = None
    """Since when what is measured has been far from it."""


@dataclass(frozen=True, kw_only=True)
class Since:
    """Since when a condition has held without a break; None where it does not hold. [s]."""

    on_port: float | None = None
    on_starboard: float | None = None
    swung: float | None = None
    standing: float | None = None
    disagree: float | None = None
    beyond: float | None = None
    wind_moved: float | None = None
    stream_moved: float | None = None
    off_track: float | None = None
    early: float | None = None
    strayed: float | None = None
    settled: float | None = None
    wing_turned: float | None = None
    dead_downwind: float | None = None
    clear_downwind: float | None = None
    astern: float | None = None
    slow: float | None = None
    mean_moved: float | None = None
    turn_pays: float | None = None

    def of_plan(self) -> Since:
        """Return what goes on when a new plan stands: nothing that the old one had begun."""
        return replace(
            self, wind_moved=None, stream_moved=None, off_track=None, early=None, strayed=None,
            settled=None,
        )  # fmt: skip

    def of_sensors(self) -> Since:
        """Return what goes on without any plan."""
        return Since(
            disagree=self.disagree, swung=self.swung, standing=self.standing,
            slow=self.slow, on_port=self.on_port, on_starboard=self.on_starboard,
        )  # fmt: skip

    def shifted(self, by_s: float) -> Since:
        """Return the same, for a clock that was set."""
        times = {f.name: getattr(self, f.name) for f in fields(self)}
        return Since(**{k: None if t is None else t + by_s for k, t in times.items()})


SinceName = Literal[
    "on_port", "on_starboard", "swung", "standing", "disagree", "beyond", "wind_moved",
    "stream_moved", "off_track", "early", "strayed", "settled", "wing_turned", "dead_downwind",
    "clear_downwind", "astern", "slow", "mean_moved", "turn_pays",
]  # fmt: skip

Lie = Literal["short", "on", "over", "out"]
"""How she lies to a layline."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """What was told already, so that it is told once."""

    disagree: str | None = None
    beyond: Literal["strong", "light"] | None = None
    dead_downwind: bool = False
    wing_tried: bool = False
    stood_by: tuple[str, float] | None = None
    """For which turn, and how long before it at the last. [s]"""
    pole: tuple[int, str] | None = None
    """On the way to which mark of the route, and before which turn or mark, the crew was told to
    handle the pole."""
    late: bool = False
    lies: Mapping[tuple[str, str], Lie] = field(default_factory=dict)
    astern: tuple[int, ...] = ()
    """Numbers of the marks that the crew was asked about."""
    up: bool = False
    """That nobody has said what is up."""
    turn_pays: bool = False
    """That a turn pays by the rule of shifts."""
    shifts_off: str | None = None
    """Why the shifts that the crew has named are not answered."""

    def of_plan(self) -> Told:
        """Return what stays told when a new plan stands."""
        return replace(self, late=False, lies={})

    def of_sensors(self) -> Told:
        """Return what stays told without any plan."""
        return Told(
            disagree=self.disagree, dead_downwind=self.dead_downwind, shifts_off=self.shifts_off
        )


@dataclass(frozen=True, kw_only=True)
class State:
    """All that the service remembers; it does not grow with time."""

    now_s: float = NEVER
    second: int | None = None
    ticked: bool = False
    ticks_since_status: int = 0
    sources: Mapping[str, SourceClock] = field(default_factory=dict)
    readings: Mapping[str, Mapping[str, Sample]] = field(default_factory=dict)
    chosen: Mapping[str, str] = field(default_factory=dict)
    place: Place | None = None
    sense: Sense = field(default_factory=Sense)
    wind: Average | None = None
    mean_wind: Average | None = None
    """The wind over the water over many shifts, where the crew has named them."""
    gusting: Average | None = None
    """The wind's strength over the last seconds, for the limits; as its first component."""
    stream: Stream | None = None
    course_made: Average | None = None
    """Her velocity over the ground over the last minute, for times ahead."""
    steered: Average | None = None
    """Where her bow has pointed over the last seconds, as a vector of length 1."""
    tack: Tack | None = None
    sail_set: str | None = None
    """What is up, as the crew has said or done; None where nobody has."""
    up_since_s: float | None = None
    held: VelocitySet | None = None
    since: Since = field(default_factory=Since)
    told: Told = field(default_factory=Told)
    route: Route | None = None
    passed: tuple[str, ...] = ()
    """The route's marks that were rounded."""
    used: tuple[str, ...] = ()
    """The highest name of each letter that a turn of this passage has had."""
    remembered: Memory | None = None
    """Kept from before the service was started, and not yet looked at."""
    question: Question | None = None
    waits: Pending | None = None
    """A turn that was due before the restart and is still to be made, for the plan to come."""
    nearest_nm: float | None = None
    orders: int = 0
    waiting: Order | None = None
    planned: Planned | None = None
    failure: str | None = None
    failed_s: float | None = None
    weighed: Order | None = None
    """The newest order whose plan was no reason to change the one that stands."""
    board: int = 0
    nth: int = 0
    """Which of that board's orders holds."""
    nth_since_s: float | None = None
    """Since when, where it was given along the board."""
    pending: Pending | None = None
    done: Done | None = None
    countdown: Countdown | None = None
    finished: str | None = None
    stale: tuple[str, ...] = ()
    status: tuple[str, str] | None = None
    updated_s: float | None = None
    wanted: str | None = None
    """Why a plan is to be made at the next look."""
    hasty: bool = False
    """The one that was made begins with a turn, but wind and stream had hardly been heard: it is
    made again once they are."""


AsksForPlan = Callable[[State, "Desk"], str | None]
"""Looks at the state once a second; a reason, in plain words, asks for a new plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What does not change while the service runs.

    Attributes
    ----------
    boat : Boat
    rules : Rules
    corridor_nm, margin_deg, shortest_board_min
        As `goosewing.options.Options`.
    variation_deg : float or None
        For a magnetic heading where no variation is received, east positive. [°]
    prefer : mapping
        Group of paths ("wind", "position", "heading", "log", "course", "current") to
        the source that is believed as long as it is fresh.
    wind_paths : "true" or "apparent"
        Which is taken where a source gives both.
    shift_rule : callable or None
        A hook: looks at the state once a second, and may ask for a new plan.
    shifts : str or None
        How far and how long the wind wanders, such as "5/10", or "auto": then plans are made for
        its mean, and shifts are answered by their rule.
    steers : bool
        Whether steering data are sent: then only the crew says that a turn was made.
    chart : Chart or None
        What is kept clear of.
    """

    boat: Boat
    rules: Rules = field(default_factory=Rules)
    corridor_nm: float | None = None
    margin_deg: float = 0.0
    shortest_board_min: float | None = None
    variation_deg: float | None = None
    prefer: Mapping[str, str] = field(default_factory=dict)
    wind_paths: Literal["true", "apparent"] = "true"
    shift_rule: AsksForPlan | None = None
    shifts: str | None = None
    steers: bool = False
    chart: Chart | None = None
