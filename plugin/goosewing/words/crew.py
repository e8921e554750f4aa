"""The hands' work about a turn in words: told once, one after the other, each with its time."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from goosewing.records import PoleDown
from goosewing.words.figures import by_ship, clock, heading_words, helm_words, seconds_words
from goosewing.words.points import turned_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime, tzinfo

    from goosewing.records import CrewStep, PoleWork
    from goosewing.turns import Stop

_WORDS = {
    "rig_preventer": "rig the preventer, boom staying to {}",
    "ready_pole": "make the pole ready to {}",
    "strike_pole": "strike the pole",
    "headsail_over": "headsail to {}",
    "preventer_off": "preventer off",
    "ease_preventer": "sheet in, easing the preventer off",
    "tack": "tack, boom and headsail to {}",
    "gybe": "gybe, boom and headsail to {}",
    "turn": "turn to {}",
    "set_pole": "set the pole to {}",
    "change_sails": "change sails",
}

_BOW = ("tack", "gybe", "turn")

A_MINUTE = timedelta(minutes=1)


def step_words(step: CrewStep) -> str:
    """Say what hands do.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import CrewStep
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> step_words(CrewStep(kind="set_pole", time=noon, side="starboard"))
    'set the pole to starboard'
    """
    return _WORDS[step.kind].format(step.side)


_BEFOREHAND = ("rig_preventer", "ready_pole", "strike_pole", "headsail_over", "preventer_off")


def beforehand(crew: Sequence[CrewStep], begun: PoleWork) -> list[CrewStep]:
    """Return what hands do from where the pole is begun to be handled."""
    return [each for each in crew if each.time == begun.time and each.kind in _BEFOREHAND]


def at_the_stop(stop: Stop) -> list[CrewStep]:
    """Return what is left to be done at a stop itself."""
    begun = [each for each in (stop.pole_down, stop.pole_ready) if each is not None]
    told = [step for each in begun for step in beforehand(stop.crew, each)]
    return [each for each in stop.crew if each not in told]


def begun_words(crew: Sequence[CrewStep], begun: PoleWork) -> str:
    """Say what is done from there on, and that the preventer stays until the place itself."""
    up = come_up_words(begun)
    words = ", then ".join(filter(None, (up, steps_words(beforehand(crew, begun)))))
    stays = any(step.kind == "ease_preventer" for step in crew)
    return f"{words}, {PREVENTER_STAYS}" if stays else words


def come_up_words(begun: PoleWork) -> str | None:
    """Say to which heading she comes up for the hands' work, from nearer to dead aft.

    Returns
    -------
    str or None
        By the helm's dial, as in "come up to 109°M"; None where she needn't.
    """
    if not isinstance(begun, PoleDown) or round(begun.up_deg) == 0:
        return None
    dials = begun.heading_deg, begun.heading_magnetic_deg, begun.heading_compass_deg
    return f"come up to {helm_words(*dials)}"


PREVENTER_STAYS = "preventer on till the main comes in"
"""Dead downwind it holds the boom until the bow comes up. Common practice, no source."""


def _there(stop: Stop) -> datetime:
    assert stop.time is not None
    return stop.time


def steps_words(steps: Iterable[CrewStep]) -> str:
    """Say what hands do, one after the other."""
    return ", ".join(step_words(each) for each in steps)


def in_turn_words(stop: Stop, zone: tzinfo | None = None) -> str:
    """Say what is done at a stop itself in its order; a time stands where it is a later one.

    Where the bow turns, from which heading to which.
    """
    said: list[str] = []
    told = _there(stop)
    for step in at_the_stop(stop):
        turned = turned_words(stop, helm_only=True) if step.kind in _BOW else None
        words = turned or step_words(step)
        if step.kind in _BOW and step.kind != "turn":
            words += f" ({step_words(step)})"
        if step.time - told >= A_MINUTE:
            told = step.time
            words = f"{clock(told)}{by_ship(told, zone)} {words}"
        if step.kind == "ease_preventer" and said:
            said[-1] += f", {words}"
            continue
        said.append(words)
    return ", then ".join(said)


def work_words(stop: Stop, zone: tzinfo | None = None) -> str:
    """Say when work for a turn begins, and by when she is on the new heading with all done.

    Nothing where both are one minute. The plan's times let her lie still at the place while a
    pole is struck that came down before it.
    """
    board, struck = stop.board, stop.pole_down
    if board is None or not stop.manoeuvres or board.start.time is None:
        return ""
    begins = stop.crew[0].time if stop.crew else _there(stop)
    if struck is None and clock(begins) == clock(board.start.time):
        return ""
    new = heading_words(board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg)
    counts = _at(board.start.time, zone)
    if struck is not None:
        lost = seconds_words(struck.takes_s)
        return f"not before the pole is down ({counts} if its {lost} stop her)"
    done = f"on {new}, all done, by {counts}"
    # What is made ready before has a line of its own.
    return done if stop.pole_ready is not None else f"work begins {_at(begins, zone)}; {done}"


def _at(time: datetime, zone: tzinfo | None) -> str:
    return f"{clock(time)}{by_ship(time, zone)}"
