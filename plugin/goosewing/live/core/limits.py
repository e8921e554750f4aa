"""The wind's limits: what the sails are carried in, and how near dead downwind is safe."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from goosewing.live.core import sensing
from goosewing.live.core.copies import replace
from goosewing.live.core.sensing import lasting
from goosewing.live.core.standing import present_board
from goosewing.live.core.state import Event

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, State

Beyond = Literal["strong", "light"]


def carried(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell when the wind leaves what the sails set are carried in, and when it is back."""
    board, name = present_board(state), sensing.carried(state)
    if board is None or state.gusting is None or name is None:
        return state, []
    sails = next((s for s in desk.boat.sail_sets if s.name == name), None)
    if sails is None:
        return state, []
    wind, least, most = state.gusting.east_kn, sails.tws_kn[0], sails.strongest_tws_kn
    was = state.told.beyond
    beyond = _beyond(wind, least, most, desk.rules.limit_back_kn if was else 0.0)
    state, for_s = lasting(state, "beyond", beyond != was)
    if beyond == was or for_s < desk.rules.limit_for_s:
        return state, []
    state, _ = lasting(state, "beyond", False)
    words = f"{wind:.0f} kn of true wind: within the limits of {name} again."
    if beyond:
        limit = f"to {most:g}" if beyond == "strong" else f"from {least:g}"
        words = f"{wind:.1f} kn of true wind: {name} is carried {limit} kn."
    event = Event(
        time_s=state.now_s, kind="beyond_limits" if beyond else "within_limits",
        message=words, severity="warn" if beyond else "normal",
        values={"tws_kn": wind, "sail_set": name},
    )  # fmt: skip
    return replace(state, told=replace(state.told, beyond=beyond)), [event]


def _beyond(wind_kn: float, least: float, most: float, room: float) -> Beyond | None:
    if wind_kn > most - room:
        return "strong"
    return "light" if wind_kn < least + (room if least > 0.0 else 0.0) else None


def dead_downwind(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Warn when she sails so nearly dead downwind that a swing of the wind gybes her."""
    rules, off = desk.rules, sensing.off_bow_deg(state)
    near = off is not None and abs(off) >= rules.dead_downwind_deg
    # Without a heading or a wind nobody knows: the warning stands.
    clear = off is not None and abs(off) < rules.clear_downwind_deg
    state, near_s = lasting(state, "dead_downwind", near)
    state, clear_s = lasting(state, "clear_downwind", clear)
    if near and not state.told.dead_downwind and near_s >= rules.dead_downwind_for_s:
        assert off is not None
        side = "starboard" if off > 0.0 else "port"
        event = Event(
            time_s=state.now_s, kind="dead_downwind", severity="warn",
            message=f"True wind {abs(off):.0f}° to {side}, nearly dead downwind: she may gybe by "
            "herself. Preventer on, or head up.",
            values={"twa_deg": off},
        )  # fmt: skip
        return replace(state, told=replace(state.told, dead_downwind=True)), [event]
    if state.told.dead_downwind and clear and clear_s >= rules.dead_downwind_for_s:
        event = Event(
            time_s=state.now_s, kind="clear_of_dead_downwind",
            message="No longer dead downwind.",
        )  # fmt: skip
        return replace(state, told=replace(state.told, dead_downwind=False)), [event]
    return state, []
