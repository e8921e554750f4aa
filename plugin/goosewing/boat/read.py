"""Boat files (TOML), read and held to account; the tables beside them: `goosewing.boat.tables`.

Whatever is wrong is refused in one line that names the file and the key. Keys and
types are held against the descriptions below; what the values mean is for the model
to judge.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

import msgspec

from goosewing.boat.bands import band_of, read_bands
from goosewing.boat.model import Boat, Engine, Leeway, Manoeuvres, Performance, SailSet
from goosewing.boat.tables import Quantity, Tables, file_text, read_table
from goosewing.errors import InputError
from goosewing.files import toml

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator

__all__ = ["Tables", "read_boat", "read_table"]

MOST_KEYS_TOLD = 12
"""Where more are known, the nearest to the one that isn't are told."""

_AT = re.compile(r"(?P<fault>.*?)(?: - at `\$\.?(?P<key>[^`]*)`)?", re.DOTALL)
_UNKNOWN = re.compile(r"Object contains unknown field `(.*)`")
_MISSING = re.compile(r"Object missing required field `(.*)`")


class _LeewayKeys(msgspec.Struct, forbid_unknown_fields=True):
    coefficient: float | None = None
    largest_deg: float | None = None


class _PerformanceKeys(msgspec.Struct, forbid_unknown_fields=True):
    upwind: float | None = None
    reach: float | None = None
    run: float | None = None


class _ManoeuvreKeys(msgspec.Struct, forbid_unknown_fields=True):
    tack_s: float | None = None
    gybe_s: float | None = None
    set_pole_s: float | None = None
    strike_pole_s: float | None = None
    change_sails_s: float | None = None


class _EngineKeys(msgspec.Struct, forbid_unknown_fields=True):
    speed_kn: float
    least_vmc_kn: float
    litres_per_hour: float | None = None


class _SailSetKeys(msgspec.Struct, forbid_unknown_fields=True):
    name: str
    polar: str
    heel: str | None = None
    twa_deg: tuple[float, float] | None = None
    tws_kn: tuple[float, float] | None = None
    poled: bool = False


class _BoatKeys(msgspec.Struct, forbid_unknown_fields=True):
    name: str
    sail_sets: list[dict[str, Any]]
    polar_angle: str | None = None
    polar_height_m: float | None = None
    night_poled: bool | None = None
    confidence: str | None = None
    leeway: _LeewayKeys = msgspec.field(default_factory=_LeewayKeys)
    performance: _PerformanceKeys = msgspec.field(default_factory=_PerformanceKeys)
    manoeuvres: _ManoeuvreKeys = msgspec.field(default_factory=_ManoeuvreKeys)
    engine: _EngineKeys | None = None


_Keys = TypeVar("_Keys", bound=msgspec.Struct)


def read_boat(path: str | os.PathLike[str]) -> Boat:
    """Read a boat file and the tables that it names, relative to itself.

    Parameters
    ----------
    path : path-like
        A TOML file.

    Returns
    -------
    Boat

    Raises
    ------
    InputError
        If the boat file or any of its tables can't be read or makes no sense.
    """
    file = Path(path)
    keys = checked(_BoatKeys, toml_of(file), str(file))
    _check_name(keys.name, f"{file}: name")
    sets = tuple(_sail_set(raw, i + 1, file) for i, raw in enumerate(keys.sail_sets))
    if keys.confidence is not None:
        sets = _with_bands(sets, _beside(file, keys.confidence, f"{file}: confidence"))
    with placed(str(file)):
        boat = Boat(
            name=keys.name,
            sail_sets=sets,
            leeway=Leeway(**_given(keys.leeway)),
            performance=Performance(**_given(keys.performance)),
            manoeuvres=Manoeuvres(**_given(keys.manoeuvres)),
            engine=None if keys.engine is None else Engine(**_given(keys.engine)),
            **_given(keys, "polar_angle", "polar_height_m", "night_poled"),
        )
    if boat.polar_angle == "heading":
        for sails in sets:
            _check_ever_sailed(sails, str(file))
    return boat


def boat_files(path: str | os.PathLike[str]) -> list[Path]:
    """Name the files that a boat is read from: the boat file and its tables.

    Raises
    ------
    InputError
        If the boat file can't be read.
    """
    file = Path(path)
    keys = checked(_BoatKeys, toml_of(file), str(file))
    names = [raw[key] for raw in keys.sail_sets for key in ("polar", "heel") if key in raw]
    names += [] if keys.confidence is None else [keys.confidence]
    return [file, *(file.parent / name for name in names)]


def table_files(path: str | os.PathLike[str]) -> dict[tuple[str, str], Path]:
    """Tell which file each table of a boat is read from, by sail set and "polar" or "heel".

    A long polar that brings its heel is named for both.

    Raises
    ------
    InputError
        If the boat file can't be read.
    """
    file = Path(path)
    keys = checked(_BoatKeys, toml_of(file), str(file))
    return {
        (raw["name"], which): file.parent / raw.get(which, raw["polar"])
        for raw in keys.sail_sets
        for which in ("polar", "heel")
    }


def toml_of(file: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    InputError
        If it can't be read or is no TOML.
    """
    return toml.parsed(file_text(file), where=str(file))


def checked(kind: type[_Keys], raw: dict[str, Any], where: str) -> _Keys:
    """Hold keys and types against a description; reword what msgspec finds.

    Raises
    ------
    InputError
        With the key at fault.
    """
    try:
        return msgspec.convert(raw, kind)
    except msgspec.ValidationError as error:
        raise InputError(_reworded(str(error), kind), where=where) from None


def _reworded(text: str, kind: type[msgspec.Struct]) -> str:
    match = _AT.fullmatch(text)
    fault, key = (match["fault"], match["key"] or "") if match else (text, "")
    prefix = f"{key}." if key else ""
    if unknown := _UNKNOWN.fullmatch(fault):
        known = _known_keys(kind, key)
        # Of many keys those that come nearest: a line of all of them is read by nobody.
        if len(known) > MOST_KEYS_TOLD:
            near = get_close_matches(unknown[1].lower(), known, n=5, cutoff=0.4)
            known = tuple(near) or (*known[:MOST_KEYS_TOLD], "…")
        return f'unknown key "{prefix}{unknown[1]}"; known here: {", ".join(known)}'
    if missing := _MISSING.fullmatch(fault):
        return f'the key "{prefix}{missing[1]}" is missing'
    plain = fault.replace("`", "").replace("Expected", "expected")
    for python, in_toml in _TOML_NAMES.items():
        plain = re.sub(rf"\b{python}\b", in_toml, plain)
    return f"{key or 'top level'}: {plain.replace(' | null', '')}"


_TOML_NAMES = {
    "float": "a number",
    "int": "a whole number",
    "str": "a text in quotes",
    "bool": "true or false",
    "array": "a list",
    "object": "a table of keys",
}


def _known_keys(kind: type[msgspec.Struct], key: str) -> tuple[str, ...]:
    named = {field.name: field.type for field in msgspec.structs.fields(kind)}.get(key)
    for inner in (named, *get_args(named)):
        if isinstance(inner, type) and issubclass(inner, msgspec.Struct):
            return inner.__struct_fields__
    return kind.__struct_fields__


def _given(keys: msgspec.Struct, *names: str) -> dict[str, Any]:
    """Return the keys that the file holds; the others keep the model's defaults."""
    wanted = names or keys.__struct_fields__
    values = ((name, getattr(keys, name)) for name in wanted)
    return {name: value for name, value in values if value is not None}


@contextmanager
def placed(where: str) -> Iterator[None]:
    """Put the place before what the model objects to."""
    try:
        yield
    except InputError as error:
        raise InputError(str(error), where=where) from None


def _check_name(name: str, where: str) -> None:
    if not name.strip() or not name.isprintable():
        raise InputError("expected a name of printable characters", where=where)


def _sail_set(raw: dict[str, Any], number: int, file: Path) -> SailSet:
    where = f"{file}: sail set {number}"
    keys = checked(_SailSetKeys, raw, where)
    _check_name(keys.name, f"{where}, name")
    tables = _read_table_named(file, keys.polar, "boat_speed_kn", f"{where}, polar")
    if tables.boat_speed is None:
        raise InputError(f'"{keys.polar}" has no boat_speed_kn column', where=f"{where}, polar")
    heel = tables.heel
    if keys.heel is not None:
        if heel is not None:
            raise InputError(
                f'heel is given twice: by "{keys.polar}" and by "{keys.heel}"', where=where
            )
        heel = _read_table_named(file, keys.heel, "heel_deg", f"{where}, heel").heel
        if heel is None:
            raise InputError(f'"{keys.heel}" has no heel_deg column', where=f"{where}, heel")
    with placed(str(file)):
        return SailSet(
            name=keys.name,
            polar=tables.boat_speed,
            heel=heel,
            **_given(keys, "twa_deg", "tws_kn", "poled"),
        )


def _read_table_named(file: Path, name: str, quantity: Quantity, where: str) -> Tables:
    return read_table(_beside(file, name, where), quantity)


def _beside(file: Path, name: str, where: str) -> Path:
    """Return the file of a name beside the boat file, if there is one."""
    if not name.strip() or not name.isprintable():
        raise InputError("expected a file name", where=where)
    table = file.parent / name
    try:
        missing = not table.exists()
    except OSError:
        missing = True
    if missing:
        raise InputError(f'no such file: "{name}", looked for beside the boat file', where=where)
    return table


def _with_bands(sets: tuple[SailSet, ...], table: Path) -> tuple[SailSet, ...]:
    """Give every sail set that the table of bands names its band."""
    rows = read_bands(table)
    known = {sails.name for sails in sets}
    for name in rows:
        if name not in known:
            raise InputError(f'the boat file has no sail set "{name}"', where=str(table))
    with placed(str(table)):
        return tuple(
            replace(sails, band=band_of(sails.polar, rows[sails.name], sails.name))
            if sails.name in rows
            else sails
            for sails in sets
        )


def _check_ever_sailed(sails: SailSet, where: str) -> None:
    """Refuse limits that leave nothing of the table: surely a slip of the pen."""
    polar = sails.polar
    if sails.twa_deg[0] > polar.last_twa_deg or sails.twa_deg[1] < polar.first_twa_deg:
        raise InputError(
            f'sail set "{sails.name}": its table, {polar.first_twa_deg:g} to '
            f"{polar.last_twa_deg:g} degrees, has nothing within its twa_deg",
            where=where,
        )
    if sails.tws_kn[0] > polar.last_tws_kn:
        raise InputError(
            f'sail set "{sails.name}": its table ends at {polar.last_tws_kn:g} kn, '
            "below its tws_kn",
            where=where,
        )
