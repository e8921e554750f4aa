r"""The running service: it keeps laylines, turning points and plan true under way.

``python -m goosewing.live`` speaks JSON lines with a host, protocol version 1: one JSON
object a line, UTF-8, on standard input (host to service) and standard output (service to
host, nothing else there). Standard error carries plain words. The end of input ends the
service at once, exit code 0. The service never reads a clock: every time is the host's.
With ``--in-turn`` each plan is made before the next line is read, so that a recorded log
gives the same answers again.

Host to service
---------------
``{"type": "hello", "version": 1, "boat": "/abs/boat.toml", "performance": 1.0, "options": {…}}``
    First of all; ``state``, optional: the file that keeps what was passed. Answered with
    ``{"type": "hello", "version": 1, "name": "goosewing", "release": …}``, or with an error
    and exit code 2. Options, all optional:
    ``margin_deg``, ``corridor_nm``, ``shortest_board_min`` as of the plan command;
    ``stand_by_min``: minutes before a turn at which to say stand by ([5, 1]);
    ``rounding_nm`` (0.1): how near a mark is rounded; ``variation_deg``, east positive,
    where none is received; ``prefer``: a source for each of ``wind``, ``position``,
    ``heading``, ``log``, ``course``, ``current``; ``wind_paths``: ``"true"`` or
    ``"apparent"``, which to take where a source gives both; ``shifts``: how far and how long
    the wind wanders ("5/10": 5°, 10 min; or "auto"): plans are then made for its mean over
    some hours, and ``turn_pays`` is told by the rule of shifts.
``{"type": "observe", "time": "…Z", "source": "…", "values": [{"path": …, "value": …}, …]}``
    Signal K paths and SI units as the host has them; a value may be null. ``time`` is the
    values' own.
``{"type": "tick", "time": "…Z"}``
    The host's clock, once a second, so that ages run on without data. It may be set back.
``{"type": "plan", "id": …, "name": …, "points": [{"lat", "lon", "name"}, …],
"from_here": true, "next": 1, "forecast": [{"time", "wind_from_deg", "wind_kn", "gust_kn",
"set_deg", "drift_kn"}, …]}``
    Plan this route, in place of the one before. ``next``: the point to sail to, counted
    from 0; ``resume`` (true): whether marks passed before count. Without a forecast the
    wind of now is held steady; with one it passes to the forecast within an hour.
``{"type": "acknowledge", "point": "T1"}``
    The crew has seen to the turning point. Until then, or until she is seen to have made
    it, it stays the next one. With an ``id`` this and the next three are answered
    ``{"type": "answered", "id", "content": {} | null, "message"}``: null says why not.
``{"type": "undo", "point": "T1"}``
    The turn that was taken as made was not.
``{"type": "carry", "sail_set": …, "tack": "port" | "starboard"}``
    What is up.
``{"type": "answer", "question": "passed" | "turn", "choice": "yes" | "no"}``
    The answer to what was asked (``shown.question`` of the panel).
``{"type": "clear"}``
    Forget the route; what was published of it goes away.
``{"type": "export", "id": …, "format": "gpx" | "handheld"}``
    Answered with ``{"type": "export", "id": …, "format": …, "content": "<gpx…>"}``.
``{"type": "bye"}``
    Exit code 0.

Service to host
---------------
``{"type": "status", "time", "state": "waiting" | "advising" | "stale" | "failed",
"message", "ages_s": {…}, "engine_ms", "dropped"}``
    On change, and at least every 5 ticks. ``engine_ms``: how long the last plan took;
    ``dropped``: messages dropped because newer ones had come.
``{"type": "event", "time", "kind", "state": "normal" | "alert" | "warn", "message",
"values": {…}}``
    Kinds: ``approach``, ``handle_pole``, ``turn_now``, ``new_order``, ``turn_done``,
    ``turn_undone``, ``asked``, ``answered``, ``dead_downwind``, ``clear_of_dead_downwind``,
    ``on_layline``, ``overstood``, ``headed``, ``lifted``, ``turn_pays``, ``shifts_off``,
    ``wing_pays``, ``wing_no_longer_pays``, ``beyond_limits``, ``within_limits``, ``mark_rounded``,
    ``replanned``, ``stale``, ``recovered``, ``position_jumped``,
    ``sources_disagree``, ``sources_agree``, ``clock``. A mark rounded tells its name, the
    number of the point that is next (past the last at the end), and the route's id.
``{"type": "publish", "reason": "replanned" | "cleared" | "update", "resources":
[{"kind": "routes" | "waypoints" | "notes" | "laylines" | "regions", "id", "value": {…} | null}, …],
"deltas": [{"path", "value"}, …], "plan": {…} | null}``
    To be passed on as it is. A resource of null is deleted; ids stay the same over plans
    of one route. A delta of null is not known any more. ``plan`` is the document
    ``goosewing.plan/1``, with the reason ``replanned`` only; its ``shown`` holds the words of
    a page's table and chart (`goosewing.live.panel.table`).
``{"type": "error", "message", "fatal"}``
    One line about a message that made no sense; the conversation goes on unless fatal.

What is damped, when advice stops, when a plan is made anew: `goosewing.live.core.damping`
and the thresholds of `goosewing.live.core.state.Rules`.
"""
