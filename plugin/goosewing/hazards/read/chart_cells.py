"""Electronic chart cells (IHO S-57): what of them a yacht keeps clear of, given her safe depth.

Classes and attributes are those of the S-57 object catalogue (appendix A, as GDAL carries it
in s57objectclasses.csv and s57expectedinput.csv). Land areas and everything built into the
water count whatever their depth. Depth and dredged areas count where their shallowest depth
(DRVAL1) is less than the safe depth, or is not given; so do rocks, wrecks, obstructions
and marine farms by their sounding (VALSOU), and those that dry, are awash or stand out of
the water in any case. Foul ground and wrecks that are charted as not dangerous don't count
where their depth is not given. Coastline (COALNE), contours and soundings say nothing that land
and depth areas don't; bridges, overhead cables, gates, buoys and beacons and every kind of
regulation are left to the navigator.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from goosewing.errors import InputError
from goosewing.files.disk import shown
from goosewing.hazards.read.layers import faults, gdal
from goosewing.hazards.read.shapes import printable
from goosewing.words.figures import position_words

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from goosewing.hazards.areas import Kind
    from goosewing.hazards.read.shapes import Gathered
    from goosewing.units import Array, BoolArray

KIND = "an S-57 cell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Class:
    """How an object class is taken.

    Attributes
    ----------
    words : str
        What it is called where it has no name of its own.
    kind : "land", "danger" or "shoal"
    depth : str
        The attribute whose value makes it safe; none does if empty.
    area_only : bool
        Its lines repeat what its areas say.
    harmless : mapping of str to int
        Objects of this category don't count unless their depth is given and too little.
    """

    words: str
    kind: Kind = "danger"
    depth: str = ""
    area_only: bool = False
    harmless: tuple[str, int] | None = None


CLASSES: Mapping[str, Class] = {
    "LNDARE": Class(words="land", kind="land"),
    "DEPARE": Class(words="shallow water", kind="shoal", depth="DRVAL1", area_only=True),
    "DRGARE": Class(words="shallow dredged water", kind="shoal", depth="DRVAL1", area_only=True),
    "UNSARE": Class(words="unsurveyed water", kind="shoal"),
    "UWTROC": Class(words="rock", depth="VALSOU"),
    # 1: non-dangerous wreck.
    "WRECKS": Class(words="wreck", depth="VALSOU", harmless=("CATWRK", 1)),
    # 7: foul ground, "over which it is safe to navigate".
    "OBSTRN": Class(words="obstruction", depth="VALSOU", harmless=("CATOBS", 7)),
    "MARCUL": Class(words="marine farm", depth="VALSOU"),
    "FSHFAC": Class(words="fishing stakes"),
    "SLCONS": Class(words="shoreline construction"),
    "PONTON": Class(words="pontoon"),
    "FLODOC": Class(words="floating dock"),
    "HULKES": Class(words="hulk"),
    "OFSPLF": Class(words="platform"),
    "PILPNT": Class(words="pile"),
    "PYLONS": Class(words="pylon"),
    # 7: mooring buoy.
    "MORFAC": Class(words="mooring post", harmless=("CATMOR", 7)),
    "DAMCON": Class(words="dam"),
    "DYKCON": Class(words="dyke"),
    "CAUSWY": Class(words="causeway"),
    "LOGPON": Class(words="log pond"),
    "OILBAR": Class(words="oil barrier"),
}

DEPTH_AREAS = frozenset({"DEPARE", "DRGARE"})
ABOVE_WATER = (1, 2, 4, 5)
"""WATLEV: partly submerged, always dry, covers and uncovers, awash."""

METRES, WGS_84 = 1, 2
"""DSPM's units of depth (DUNI) and horizontal datum (HDAT); 0 where nothing is said."""


def gather(
    gathered: Gathered, file: Path, safe_depth_m: float, tide_m: float | None = None
) -> None:
    """Gather what of a cell is land, too shallow or a danger.

    Parameters
    ----------
    gathered : Gathered
    file : path
        The base cell; its updates (.001 and so on) are applied if they lie beside it.
    safe_depth_m : float
        Less depth counts as a shoal. [m]
    tide_m : float, optional
        Height of tide over the charted depths; without it they count as they are charted. [m]

    Raises
    ------
    InputError
        If it can't be read, holds nothing of the sort, or its depths are not in metres.
    """
    pyogrio = gdal("S-57 cell", shown(file))
    target = file.resolve()
    with faults(target, KIND):
        layers = {str(name) for name, _ in pyogrio.list_layers(target)}
    _check_parameters(gathered, pyogrio, target, layers)
    charted_m = safe_depth_m - (tide_m or 0.0)
    for acronym in [each for each in CLASSES if each in layers]:
        _class(gathered, pyogrio, target, acronym, charted_m)
    if not layers & DEPTH_AREAS:
        gathered.doubts.append(
            f"{gathered.source}: holds no depth areas: only land and dangers are kept clear of."
        )
    gathered.doubts.append(
        _summary(gathered, pyogrio, target, layers, _depths(safe_depth_m, tide_m))
    )
    # A cell of deep water without a danger is a chart all the same.
    gathered.known |= bool(layers & {*CLASSES})


def _depths(safe_depth_m: float, tide_m: float | None) -> tuple[str, str]:
    """Say which depths count, and whether the tide is looked at."""
    if tide_m is None:
        return f"charted depths under {safe_depth_m:g} m", "the tide, "
    return (
        f"depths under {safe_depth_m:g} m with a tide of {tide_m:g} m, charted "
        f"{safe_depth_m - tide_m:g} m,",
        "",
    )


def _class(gathered: Gathered, pyogrio: Any, file: Path, acronym: str, safe_depth_m: float) -> None:
    taken = CLASSES[acronym]
    wanted = {"OBJNAM", "WATLEV", taken.depth, taken.harmless[0] if taken.harmless else ""}
    with faults(file, KIND):
        meta, numbers, shapes, columns = pyogrio.raw.read(
            file, layer=acronym, columns=sorted(wanted - {""}), return_fids=True
        )
        built = shapely.from_wkb(shapes)
    fields = dict(zip(meta["fields"], columns, strict=True))
    kept = counts(taken, fields, len(numbers), safe_depth_m)
    depths = for_want_of_water(taken, fields, len(numbers))
    if taken.area_only:
        kept &= shapely.get_dimensions(built) == 2
    for at in np.flatnonzero(kept):
        gathered.add(
            built[at],
            place=f"{acronym}, feature {numbers[at]}",
            name=_name(taken, fields, int(at)),
            kind=taken.kind,
            depth_m=None if np.isnan(depths[at]) else float(depths[at]),
        )


def for_want_of_water(taken: Class, fields: Mapping[str, Array], number: int) -> Array:
    """Return the charted depths of objects that count for want of water alone. [m].

    Parameters
    ----------
    taken, fields, number
        As for `counts`.

    Returns
    -------
    ndarray, shape (n,)
        NaN where it isn't given, and where they count whatever it is.
    """
    nothing = np.full(number, np.nan)
    bare = np.isin(_numbers(fields.get("WATLEV", nothing)), ABOVE_WATER)
    depth = _numbers(fields.get(taken.depth, nothing)) if taken.depth else nothing
    return np.where(bare, np.nan, depth)


def counts(
    taken: Class, fields: Mapping[str, Array], number: int, safe_depth_m: float
) -> BoolArray:
    """Tell which objects of a class are kept clear of.

    Parameters
    ----------
    taken : Class
    fields : mapping of str to ndarray, shape (n,)
        Attributes by acronym; NaN where not given.
    number : int
        n.
    safe_depth_m : float
        [m]
    """
    nothing = np.full(number, np.nan)
    harmless = np.zeros(number, dtype=bool)
    if taken.harmless is not None:
        name, category = taken.harmless
        harmless = _numbers(fields.get(name, nothing)) == category
    if not taken.depth:
        return ~harmless
    depth = _numbers(fields.get(taken.depth, nothing))
    bare = np.isin(_numbers(fields.get("WATLEV", nothing)), ABOVE_WATER)
    unknown = np.isnan(depth) & ~harmless
    return np.asarray(bare | unknown | (depth < safe_depth_m))


def _numbers(column: Any) -> Array:
    return np.array([np.nan if each is None else float(each) for each in column])


def _name(taken: Class, fields: Mapping[str, Any], at: int) -> str:
    own = fields["OBJNAM"][at] if "OBJNAM" in fields else None
    if isinstance(own, str) and own.strip():
        return printable(own)
    if not taken.depth:
        return taken.words
    depth = float(_numbers([fields[taken.depth][at]])[0])
    return f"{taken.words}, {depth:g} m" if depth == depth else f"{taken.words}, depth not given"


def _check_parameters(gathered: Gathered, pyogrio: Any, file: Path, layers: set[str]) -> None:
    if "DSID" not in layers:
        return
    with faults(file, KIND):
        meta, _, _, columns = pyogrio.raw.read(file, layer="DSID")
    fields = dict(zip(meta["fields"], columns, strict=True))
    unit, datum = (int(np.nan_to_num(fields[n][0])) if n in fields and len(fields[n]) else 0
                   for n in ("DSPM_DUNI", "DSPM_HDAT"))  # fmt: skip
    if unit not in (0, METRES):
        raise InputError("its depths are not in metres", where=gathered.source)
    if datum not in (0, WGS_84):
        gathered.doubts.append(f"{gathered.source}: its positions are not in WGS 84.")


def _summary(
    gathered: Gathered, pyogrio: Any, file: Path, layers: set[str], depths: tuple[str, str]
) -> str:
    covered = "M_COVR" if "M_COVR" in layers else None
    bounds = None
    if covered is not None:
        with faults(file, KIND):
            bounds = pyogrio.read_info(file, layer=covered, force_total_bounds=True)["total_bounds"]
    words = (
        f"{gathered.source}: land, dangers and {depths[0]} are kept clear of; {depths[1]}bridges, "
        "cables overhead and regulations are not looked at."
    )
    if bounds is None or not np.all(np.isfinite(np.asarray(bounds, dtype=float))):
        return words
    west, south, east, north = (float(value) for value in bounds)
    corners = f"{position_words(south, west)} to {position_words(north, east)}"
    return f"{words} Beyond {corners} it knows nothing."
