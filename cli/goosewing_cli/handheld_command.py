"""`goosewing handheld`: a route that a handheld GPS takes."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from goosewing_cli import inputs
from goosewing_cli.declared import argument, command, option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.exchange.handheld.routes import Contents, Fitted, Limits


class Preset(StrEnum):
    """A bundle of limits."""

    small = "small"
    larger = "larger"


class GpxVersion(StrEnum):
    """What the receiver reads."""

    old = "1.0"
    new = "1.1"


class TrackFate(StrEnum):
    """What becomes of tracks."""

    auto = "auto"
    keep = "keep"
    route = "route"
    drop = "drop"


@command(help="Make a route that a handheld GPS takes.")
def handheld(
    plan: Annotated[
        Path | None,
        argument("PLAN.gpx", help="A plan, or any planner's routes, marks, tracks."),
    ] = None,
    out: Annotated[
        Path | None, option("--out", metavar="FILE", help="Write the receiver's GPX.")
    ] = None,
    preset: Annotated[
        Preset,
        option(
            "--preset",
            help="small: 30 points, names of 6 capitals and digits, comments of 16; "
            "larger: 50 points, names of 10 letters, digits and blanks, comments of 40.",
        ),
    ] = Preset.small,
    points: Annotated[
        int | None, option("--points", metavar="N", help="Most points in a route.")
    ] = None,
    name_length: Annotated[
        int | None, option("--name-length", metavar="N", help="Most characters in a name.")
    ] = None,
    charset: Annotated[
        str | None,
        option("--charset", metavar="SET", help="Characters of a name, such as A-Z0-9."),
    ] = None,
    comment_length: Annotated[
        int | None,
        option("--comment-length", metavar="N", help="Most characters in a comment."),
    ] = None,
    track_points: Annotated[
        int | None, option("--track-points", metavar="N", help="Most points in a track.")
    ] = None,
    tracks: Annotated[
        TrackFate,
        option("--tracks", help="Tracks: kept, made routes, or left out."),
    ] = TrackFate.auto,
    gpx: Annotated[
        GpxVersion, option("--gpx", help="GPX version the receiver reads.")
    ] = GpxVersion.new,
    no_extensions: Annotated[
        bool, option("--no-extensions", help="Write no extension elements.")
    ] = False,
    tolerance: Annotated[
        float,
        option("--tolerance", metavar="METRES", help="How far thinning may move a track."),
    ] = 20.0,
    check: Annotated[
        Path | None,
        option("--check", metavar="FILE", help="Say whether this GPX fits, and why not."),
    ] = None,
    nmea: Annotated[
        str | None,
        option(
            "--nmea",
            metavar="TARGET",
            help="Send sentences to tcp://HOST:PORT, udp://HOST:PORT, serial:DEVICE[:BAUD] "
            "or FILE.",
        ),
    ] = None,
    talker: Annotated[
        str, option("--talker", metavar="ID", help="Who speaks in the sentences.")
    ] = "GP",
    pace: Annotated[float, option("--pace", metavar="N", help="Most sentences a second.")] = 10.0,
) -> None:
    """Make a route that a handheld GPS takes."""
    from goosewing.errors import InputError

    chosen: dict[str, Any] = {
        "points": points,
        "name_length": name_length,
        "charset": charset,
        "comment_length": comment_length,
        "track_points": track_points,
    }
    given = {name: value for name, value in chosen.items() if value is not None}
    limits = _limits(preset, given, tracks=tracks, gpx=gpx, no_extensions=no_extensions)
    if check is not None:
        _check(check, limits)
    if plan is not None:
        read = [plan] if check is None else [plan, check]
        fitted = _fitted(plan, limits, tolerance, wanted=out is not None or nmea is not None)
        deliver(fitted, out=out, nmea=nmea, talker=talker, pace=pace, inputs_read=read)
    elif check is None:
        raise InputError("PLAN.gpx is needed, or --check FILE")
    elif out is not None or nmea is not None:
        raise InputError("--out and --nmea need PLAN.gpx to make a route of")


def _limits(
    preset: Preset,
    given: dict[str, Any],
    *,
    tracks: TrackFate,
    gpx: GpxVersion,
    no_extensions: bool,
) -> Limits:
    from goosewing.exchange.handheld.routes import PRESETS

    base = PRESETS[preset.value]
    return replace(
        base,
        gpx_version=gpx.value,
        tracks=tracks.value,
        extensions=base.extensions and not no_extensions,
        **given,
    )


def _check(path: Path, limits: Limits) -> None:
    from goosewing.errors import InputError
    from goosewing.exchange.handheld import routes as sizes
    from goosewing.exchange.handheld.files import read_contents
    from goosewing.files.disk import shown

    reasons = sizes.check(read_contents(path), limits)
    for reason in reasons:
        click.echo(f"{shown(path)}: {reason}")
    if reasons:
        raise InputError(f"does not fit, {len(reasons)} reasons", where=shown(path))
    click.echo(f"{shown(path)}: fits")


def _fitted(plan: Path, limits: Limits, tolerance_m: float, *, wanted: bool) -> Fitted:
    from goosewing.errors import InputError
    from goosewing.exchange.handheld import routes as sizes
    from goosewing.exchange.handheld.files import read_contents
    from goosewing.files.disk import shown

    if not wanted:
        raise InputError("--out FILE or --nmea TARGET is needed")
    contents = read_contents(plan)
    try:
        return sizes.fit(contents, limits, tolerance_m=tolerance_m)
    except InputError as error:
        raise InputError(str(error), where=shown(plan)) from None


def deliver(
    fitted: Fitted,
    *,
    out: Path | None,
    nmea: str | None,
    talker: str,
    pace: float,
    inputs_read: list[Path],
) -> None:
    """Tell what was changed, write the files, all or none, then send the sentences."""
    from goosewing.exchange.handheld.files import format_contents
    from goosewing.exchange.handheld.routes import with_cautions
    from goosewing.exchange.nmea import wires
    from goosewing.files.disk import shown, write_all

    wires.check_pace(pace)
    target = None if nmea is None else wires.parse_target(nmea)
    sentences = () if target is None else _sentences(fitted.contents, talker)
    log = Path(target.path) if target is not None and target.kind == "file" else None
    inputs.check_outputs([out, log], inputs_read)
    for line in fitted.report.lines:
        click.echo(line)
    written: dict[Path, bytes | str] = {}
    if out is not None:
        written[out] = format_contents(with_cautions(fitted.contents))
    if log is not None:
        written[log] = "".join(sentences)
    write_all(written, inputs=inputs_read)
    if out is not None:
        click.echo(f"Written: {shown(out)}, {_counted(fitted.contents)}")
    if target is None:
        return
    if log is None:
        wires.send(sentences, target, pace=pace)
    if fitted.contents.tracks:
        click.echo("left out: tracks, which sentences don't know")
    click.echo(f"Handed over: {len(sentences)} sentences to {target.words}")


def _counted(contents: Contents) -> str:
    numbers = (
        (len(contents.routes), "route"),
        (len(contents.waypoints), "waypoint"),
        (len(contents.tracks), "track"),
    )
    return ", ".join(f"{n} {word}{'' if n == 1 else 's'}" for n, word in numbers if n)


def _sentences(contents: Contents, talker: str) -> Sequence[str]:
    from goosewing.errors import InputError
    from goosewing.exchange.nmea import routes as nmea

    sentences = nmea.format_contents(contents, talker=talker)
    if not sentences:
        raise InputError("nothing to send: neither route nor waypoint, and sentences know no track")
    return sentences
