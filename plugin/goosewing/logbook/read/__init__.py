"""Reads logs: NMEA 0183, Signal K, GPX tracks, CSV; which, by what the file holds."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import IO

from goosewing.errors import InputError
from goosewing.files.disk import MOST_BYTES_OF_LOG, check_readable, shown
from goosewing.logbook.gather import Gathering
from goosewing.logbook.read import gpx, nmea, signalk, table
from goosewing.logbook.samples import Log

BLOCK = 1 << 21
"""Bytes read at a time: the most of a log that is ever held as text."""

LONGEST_LINE = 1 << 20
"""A line beyond is no line of a log."""

LARGEST_TRACK = 300_000_000
"""Bytes; a GPX file is held whole."""

LINES_TO_KNOW_HER = 4000
"""Deltas looked at to find whose log it is."""

MOST_DAMAGED = 0.5
"""If more of a file's lines are damaged than this share, it is no log."""

Progress = Callable[[int, int], None]
"""Told bytes done and bytes in all."""


def read_logs(paths: Sequence[Path], progress: Progress | None = None) -> Log:
    """Read logs into one, their seconds put together.

    Parameters
    ----------
    paths : sequence of path
        Of one boat: the same hours by different devices, or one day after another.
    progress : callable, optional
        Told how far it is.

    Raises
    ------
    InputError
        If a file can't be read or holds no log.
    """
    into = Gathering()
    sizes = [_size(path) for path in paths]
    done = 0
    for path, size in zip(paths, sizes, strict=True):
        begun, whole = done, sum(sizes)

        def tell(bytes_read: int, begun: int = begun, whole: int = whole) -> None:
            if progress is not None:
                progress(begun + bytes_read, whole)

        _read(path, into, tell, path.name if len(paths) > 1 else "")
        done += size
    return into.log([shown(path) for path in paths])


def _size(path: Path) -> int:
    return check_readable(path, "a log", most_bytes=MOST_BYTES_OF_LOG)


def _read(path: Path, into: Gathering, tell: Callable[[int], None], name: str) -> None:
    try:
        with path.open("rb") as file:
            head = file.read(1 << 16)
            file.seek(0)
            kind = _kind(head, path)
            if kind == "gpx":
                if file.seek(0, os.SEEK_END) > LARGEST_TRACK:
                    raise InputError("far too large for a track", where=shown(path))
                file.seek(0)
                gpx.read_track(file.read(), into, shown(path))
            elif kind == "table":
                table.read_table(_text_lines(file, tell, path), into, shown(path))
            elif kind == "deltas":
                _deltas(file, into, tell, path, name)
            elif kind == "multiplexed":
                _multiplexed(file, into, tell, path, name)
            else:
                _sentences(file, into, tell, path, name)
    except OSError as error:
        raise InputError(f"a log cannot be read: {error.strerror}", where=shown(path)) from None


def _kind(head: bytes, path: Path) -> str:
    """Tell a file's kind by how it begins."""
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start:
        raise InputError("is empty (expected a log)", where=shown(path))
    if start.startswith(b"<"):
        return "gpx"
    if start.startswith(b"{"):
        return "deltas"
    first = start.split(b"\n", 1)[0]
    stamp, _, rest = first.partition(b";")
    if stamp.isdigit() and len(stamp) >= 12 and b";" in rest:
        return "multiplexed"
    plain = next((ln for ln in start.split(b"\n") if ln.strip() and not ln.startswith(b"#")), b"")
    if table.delimiter_with_time(plain.decode("utf-8", "replace").strip()) is not None:
        return "table"
    if b"$" in head or b"!" in head:
        return "sentences"
    raise InputError(
        "expected a log: NMEA 0183, Signal K deltas, a GPX track, or CSV with a column time",
        where=shown(path),
    )


def _blocks(file: IO[bytes], tell: Callable[[int], None], path: Path) -> Iterator[bytes]:
    """Whole lines, a block at a time."""
    rest = b""
    while data := file.read(BLOCK):
        tell(file.tell())
        data = rest + data.replace(b"\r", b"\n")
        end = data.rfind(b"\n") + 1
        rest = data[end:]
        if len(rest) > LONGEST_LINE:
            raise InputError("a line without an end: this is no log", where=shown(path))
        if end:
            yield data[:end]
    if rest:
        yield rest + b"\n"


def _text_lines(file: IO[bytes], tell: Callable[[int], None], path: Path) -> Iterator[str]:
    for block in _blocks(file, tell, path):
        yield from block.decode("utf-8", "replace").splitlines()


def _sentences(
    file: IO[bytes], into: Gathering, tell: Callable[[int], None], path: Path, name: str
) -> None:
    changed = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    clock, tally = nmea.Clock(changed.timestamp() // nmea.DAY_S), nmea.Tally()
    for block in _blocks(file, tell, path):
        nmea.read_block(block, clock, into, tally, name)
    _check(tally.sentences, tally.damaged, into, path)
    if not clock.ran:
        raise InputError(
            "no sentence tells the time (RMC, ZDA, GGA or GLL): nothing in it can be told to be "
            "steady",
            where=shown(path),
        )
    for talker, hours in clock.apart_h.items():
        into.notices.append(
            f"{shown(path.name)}: the clock of {talker} is {abs(hours):.1f} h "
            f"{'ahead of' if hours > 0.0 else 'behind'} {clock.talker}'s, which is followed."
        )
    if not clock.dated:
        into.dated = False
        into.notices.append(
            f"{shown(path.name)} tells no date: the day the file was last changed is taken."
        )


def _deltas(
    file: IO[bytes], into: Gathering, tell: Callable[[int], None], path: Path, name: str
) -> None:
    own = signalk.own_context(islice(file, LINES_TO_KNOW_HER))
    file.seek(0)
    reader = signalk.Reader(into, own, name)
    for block in _blocks(file, tell, path):
        for line in block.splitlines():
            if line.strip():
                reader.take(line)
    reader.finish()
    _check(reader.read, reader.damaged, into, path)
    if not reader.read and reader.timeless:
        raise InputError("its deltas have no times with their zone", where=shown(path))


def _multiplexed(
    file: IO[bytes], into: Gathering, tell: Callable[[int], None], path: Path, name: str
) -> None:
    heads = (line.split(b";", 2)[-1] for line in islice(file, LINES_TO_KNOW_HER))
    own = signalk.own_context(line for line in heads if line.startswith(b"{"))
    file.seek(0)
    reader, tally = signalk.Reader(into, own, name), nmea.Tally()
    for block in _blocks(file, tell, path):
        lines = block.splitlines(keepends=True)
        documents = [line for line in lines if b";{" in line[:80]]
        for line in documents:
            stamp, _, payload = line.split(b";", 2)
            reader.take(payload, int(stamp) / 1000.0 if stamp.isdigit() else None)
        plain = block if not documents else b"".join(ln for ln in lines if b";{" not in ln[:80])
        if plain:
            nmea.read_stamped_block(plain, into, tally, name)
    reader.finish()
    _check(reader.read + tally.sentences, reader.damaged + tally.damaged, into, path)


def _check(sound: int, damaged: int, into: Gathering, path: Path) -> None:
    """Refuse what is no log; mention what was lost of one."""
    if not sound:
        raise InputError(
            "holds no sentence or delta that is whole: this is no log, or it is damaged",
            where=shown(path),
        )
    share = damaged / (sound + damaged)
    if share > MOST_DAMAGED:
        raise InputError(
            f"{damaged} of its {sound + damaged} sentences are damaged: expected a log",
            where=shown(path),
        )
    if share > 0.01:
        into.notices.append(
            f"{shown(path.name)}: {damaged} of {sound + damaged} sentences are damaged and left."
        )
