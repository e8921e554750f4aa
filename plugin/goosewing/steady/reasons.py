"""Why a leg is sailed as it is, in sailors' words, with the break-even of a sail change."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.earth import geodesy
from goosewing.words.figures import listed, off_the_wind, three_figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.earth.course import Course
    from goosewing.steady.boards import Ways
    from goosewing.steady.round_hazards import Round
    from goosewing.units import Array
    from goosewing.velocities.velocity_set import VelocitySet


def for_leg(
    held: VelocitySet,
    course: Course,
    ways: Ways,
    way: int,
    before: Mode | None,
    mark: str,
    added_h: Array,
) -> tuple[str, ...]:
    """Say why a leg is sailed on these boards.

    Parameters
    ----------
    held : VelocitySet
    course : Course
    ways : Ways
        All ways to sail the leg.
    way : int
        The one chosen.
    before : Mode or None
        What she sails under when the leg begins; None if free to choose.
    mark : str
        The mark's name.
    added_h : ndarray, shape (o,)
        What each way would add to the passage: no reason may say otherwise. [h]

    Returns
    -------
    tuple of str
        A sentence each; empty where there is nothing to explain.
    """
    said = [_lie(held, course, ways, way, mark, added_h)]
    pays = break_even(held, ways, course.distance_nm, before)
    if pays is not None and _tells(held, ways, way, pays, course.distance_nm, added_h):
        said.append(_break_even_words(held, ways, pays, course.distance_nm))
    return tuple(said)


def among_hazards(
    held: VelocitySet,
    course: Course,
    among: Round,
    way: int,
    before: Mode | None,
    mark: str,
    added_h: Array,
) -> tuple[str, ...]:
    """Say why a leg is sailed on these boards where hazards decide it, or some of it.

    Parameters
    ----------
    held, course, before, mark, added_h
        As for `for_leg`.
    among : Round
        All ways to sail the leg.
    way : int
        The one chosen.

    Returns
    -------
    tuple of str
        A sentence each.
    """
    direct = np.flatnonzero(among.clear[: among.direct])
    if way < among.direct and not (among.across is not None and among.straight):
        said = list(for_leg(held, course, _some(among.ways, direct),
                            int(np.flatnonzero(direct == way)[0]), before, mark,
                            added_h[direct]))  # fmt: skip
    else:
        off = abs(float(geodesy.wrap_180(course.bearing_deg - held.airs.twd_deg)))
        across = "hazards decide the boards"
        if among.across is not None:
            across = f"{among.across.called} lies across the straight course"
        said = [f"{mark} bears {three_figures(course.bearing_deg)}, {off_the_wind(off)}: {across}."]
    order = _order_words(held, among, way)
    return tuple([*said, order] if order else said)


def _order_words(held: VelocitySet, among: Round, way: int) -> str | None:
    ways = among.ways
    first = held.modes[ways.mode[way, 0]].tack
    if way < among.direct:
        in_the_way = among.blocked_by[int(ways.partner[way])]
        if in_the_way is None:
            return None
        return f"Round {in_the_way.called} the {first} board comes first."
    hands = {
        hand: dict.fromkeys(side.area.called for side in among.passed[way] if side.hand == hand)
        for hand in ("port", "starboard")
    }
    left = [f"{_a_few(list(names))} to {hand}" for hand, names in hands.items() if names]
    if left:
        return f"She leaves {' and '.join(left)}."
    return f"Between the hazards she turns {int(ways.turns[way])} times."


def _a_few(names: Sequence[str]) -> str:
    """List names; of many only the first."""
    if len(names) <= MOST_NAMED + 1:
        return listed(names)
    return listed([*names[:MOST_NAMED], f"{len(names) - MOST_NAMED} more"])


def _some(ways: Ways, rows: NDArray[np.intp]) -> Ways:
    return replace(
        ways,
        **{
            each.name: getattr(ways, each.name)[rows]
            for each in fields(ways)
            if getattr(ways, each.name) is not None
        },
    )


def _tells(
    held: VelocitySet,
    ways: Ways,
    way: int,
    pays: BreakEven,
    distance_nm: float,
    added_h: Array,
) -> bool:
    """Whether the break-even explains what was chosen, and is not far beyond the leg.

    It looks at one leg: what the other would add to the whole passage must agree.
    """
    sets = _sail_sets(held, ways)
    chosen = set(sets[way])
    worth = distance_nm > pays.distance_nm
    reference, other = (pays.changing, pays.keeping)[:: 1 if worth else -1]
    agrees = added_h[other] > max(added_h[way], 0.0)
    near = pays.distance_nm < FAR_BEYOND * distance_nm
    return bool(chosen == set(sets[reference]) and agrees and near)


def _lie(held: VelocitySet, course: Course, ways: Ways, way: int, mark: str, added_h: Array) -> str:
    off = abs(float(geodesy.wrap_180(course.bearing_deg - held.airs.twd_deg)))
    where = f"{mark} bears {three_figures(course.bearing_deg)}, {off_the_wind(off)}"
    straight = _fastest_straight_kn(ways, course)
    if ways.turns[way] == 0:
        return f"{where}: straight there."
    if straight is None:
        return f"{where}: no sail set can be held on that course, so it takes boards."
    made_good = course.distance_nm / float(ways.elapsed_h[way].sum())
    if made_good <= straight:
        return f"{where}: {_boards_words(ways, added_h)}."
    return f"{where}: straight she makes {straight:.1f} kn, on boards {made_good:.1f} kn made good."


def _boards_words(ways: Ways, added_h: Array) -> str:
    """Say why boards that make no more good are sailed: by what the passage takes in all."""
    added_min = 60.0 * float(np.min(added_h[ways.turns == 0], initial=np.inf))
    if added_min >= 0.5:
        return f"straight there, manoeuvres and all, would take {added_min:.0f} min longer"
    if added_min > -0.5:
        return "boards take no longer than the straight course"
    return f"boards as asked for, {-added_min:.0f} min slower than the straight course"


def _fastest_straight_kn(ways: Ways, course: Course) -> float | None:
    single = ways.turns == 0
    if not single.any():
        return None
    return course.distance_nm / float(ways.elapsed_h[single].sum(axis=1).min())


MOST_NAMED = 4
"""Hazards named on a hand; the others are counted."""

FAR_BEYOND = 10.0
"""A break-even so many times the leg's length is no news."""


class BreakEven(NamedTuple):
    """From what distance a change of sails repays its manoeuvres."""

    changing: int
    """Index of the way that repays its sail changes first."""
    keeping: int
    """Index of the best way that keeps them."""
    distance_nm: float


def break_even(
    held: VelocitySet, ways: Ways, distance_nm: float, before: Mode | None
) -> BreakEven | None:
    """Find the distance from which a change of sails repays its manoeuvres on this bearing.

    Parameters
    ----------
    held : VelocitySet
    ways : Ways
    distance_nm : float
        Length of the leg. [nm]
    before : Mode or None
        What she sails under when the leg begins.

    Returns
    -------
    BreakEven or None
        None if the fastest way changes no sails, or nothing else can be sailed.
    """
    hours = ways.elapsed_h.sum(axis=1)
    cost = _manoeuvring_h(held, ways, before)
    changes = _changes_sails(held, ways, before)
    kept = np.flatnonzero(~changes & np.isfinite(hours))
    if not kept.size or not changes[np.nanargmin(hours)]:
        return None
    keeping = int(kept[np.argmin((hours + cost)[kept])])
    gain_per_nm = (hours[keeping] - hours) / distance_nm
    extra = cost - cost[keeping]
    repays = changes & (gain_per_nm > 0.0) & (extra > 0.0)
    if not repays.any():
        return None
    pays = np.where(repays, extra / np.where(repays, gain_per_nm, 1.0), np.inf)
    return BreakEven(int(np.argmin(pays)), keeping, float(pays.min()))


def _sail_sets(held: VelocitySet, ways: Ways) -> NDArray[np.intp]:
    """Sail set of the first and the last board of every way, shape (o, 2)."""
    sail_set = np.array([mode.sail_set for mode in held.modes])
    return sail_set[np.column_stack((ways.mode[:, 0], ways.mode[:, -1]))]


def _changes_sails(held: VelocitySet, ways: Ways, before: Mode | None) -> NDArray[np.bool_]:
    first, last = _sail_sets(held, ways).T
    poled = np.array([mode.poled for mode in held.modes])[ways.mode]
    crosses = _sides(held)[ways.mode[:, 0]] != _sides(held)[ways.mode[:, -1]]
    # A gybe under the pole takes it down and sets it again.
    changes = (first != last) | (crosses & poled[:, 0])
    if before is not None:
        changes |= first != before.sail_set
    return np.asarray(changes)


def _sides(held: VelocitySet) -> NDArray[np.intp]:
    """Side of every mode: +1 port tack, −1 starboard."""
    return np.array([mode.side for mode in held.modes])


def _manoeuvring_h(held: VelocitySet, ways: Ways, before: Mode | None) -> Array:
    from goosewing.steady.cheapest_chain import Costs

    table = manoeuvres.cost_table_h(held.boat, held.modes)
    start = () if before is None else (held.modes.index(before),)
    costs = Costs(held.modes, table, start)
    return costs.inside(ways) + costs.starting(ways)


def _break_even_words(held: VelocitySet, ways: Ways, pays: BreakEven, distance_nm: float) -> str:
    pair = [held.modes[i] for i in (ways.mode[pays.changing, 0], ways.mode[pays.changing, -1])]
    names = list(dict.fromkeys(mode.name for mode in pair))
    what = (
        "Setting the pole" if any(m.poled for m in pair) else f"Changing to {' and '.join(names)}"
    )
    kept = held.modes[ways.mode[pays.keeping, 0]].name
    verdict = "" if distance_nm > pays.distance_nm else f", so she keeps {kept}"
    return (
        f"{what} pays on legs over {pays.distance_nm:.1f} nm on this bearing; "
        f"this one is {distance_nm:.1f} nm{verdict}."
    )
