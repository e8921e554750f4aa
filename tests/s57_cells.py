"""S-57 cells for tests, written by GDAL's own S-57 writer.

pyogrio's wheel carries GDAL's library; its C interface (gdal.h, ogr_api.h) is called directly,
as pyogrio itself can't write into the layers that this driver makes on its own.
"""

from __future__ import annotations

import ctypes
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pyogrio  # loads the library and tells it where its tables are
import pyogrio._io

CODES = {
    "COALNE": 30, "DEPARE": 42, "DEPCNT": 43, "DRGARE": 46, "FSHFAC": 55, "LNDARE": 71,
    "MARCUL": 82, "MORFAC": 84, "OBSTRN": 86, "PONTON": 95, "SLCONS": 122, "SOUNDG": 129,
    "UWTROC": 153, "UNSARE": 154, "WRECKS": 159, "M_COVR": 302, "BRIDGE": 11,
}  # fmt: skip
"""Codes of object classes, from the S-57 catalogue."""

POINT, LINE, AREA = 1, 2, 3
ISOLATED_NODE, CONNECTED_NODE, EDGE = 110, 120, 130


class WriterUnavailableError(Exception):
    """This machine's pyogrio has no GDAL library to call, or one without the writer."""


@cache
def library() -> ctypes.CDLL:
    folder = Path(pyogrio.__file__).parents[1] / "pyogrio.libs"
    found = sorted(folder.glob("libgdal-*"))
    if not found:
        raise WriterUnavailableError("pyogrio is not from a wheel that carries libgdal")
    gdal = ctypes.CDLL(str(found[0]))
    pointer, text, number = ctypes.c_void_p, ctypes.c_char_p, ctypes.c_int
    for name, result, arguments in (
        ("GDALGetDriverByName", pointer, [text]),
        ("GDALCreate", pointer, [pointer, text, number, number, number, number, pointer]),
        ("GDALDatasetGetLayerByName", pointer, [pointer, text]),
        ("GDALClose", number, [pointer]),
        ("CPLGetLastErrorMsg", text, []),
        ("OGR_L_GetLayerDefn", pointer, [pointer]),
        ("OGR_F_Create", pointer, [pointer]),
        ("OGR_F_GetFieldIndex", number, [pointer, text]),
        ("OGR_F_SetFieldInteger", None, [pointer, number, number]),
        ("OGR_F_SetFieldDouble", None, [pointer, number, ctypes.c_double]),
        ("OGR_F_SetFieldString", None, [pointer, number, text]),
        ("OGR_F_SetFieldIntegerList", None, [pointer, number, number, ctypes.POINTER(number)]),
        ("OGR_F_SetGeometryDirectly", number, [pointer, pointer]),
        ("OGR_F_Destroy", None, [pointer]),
        ("OGR_L_CreateFeature", number, [pointer, pointer]),
        ("OGR_G_CreateFromWkt", number, [ctypes.POINTER(text), pointer, ctypes.POINTER(pointer)]),
    ):  # fmt: skip
        function = getattr(gdal, name)
        function.restype, function.argtypes = result, arguments
    return gdal


@dataclass
class Cell:
    """A cell being written.

    Objects are added one by one; a point is (lat, lon), a line or outline a list of them.
    """

    path: Path
    _dataset: int = 0
    _records: dict[int, int] = field(default_factory=dict)
    _features: int = 0

    def __enter__(self) -> Cell:
        gdal = library()
        driver = gdal.GDALGetDriverByName(b"S57")
        self._dataset = gdal.GDALCreate(driver, str(self.path).encode(), 0, 0, 0, 0, None)
        if not self._dataset:
            raise WriterUnavailableError(gdal.CPLGetLastErrorMsg().decode())
        return self

    def __exit__(self, *_: object) -> None:
        library().GDALClose(self._dataset)

    def point(self, acronym: str, place: tuple[float, float], **attributes: Any) -> None:
        node = self._vector("IsolatedNode", ISOLATED_NODE, f"POINT ({place[1]} {place[0]})")
        self._feature(acronym, POINT, [(ISOLATED_NODE, node)], attributes)

    def line(self, acronym: str, places: list[tuple[float, float]], **attributes: Any) -> None:
        self._feature(acronym, LINE, [(EDGE, self._edge(places))], attributes)

    def area(self, acronym: str, outline: list[tuple[float, float]], **attributes: Any) -> None:
        """An outline, first place not repeated."""
        self._feature(acronym, AREA, [(EDGE, self._edge([*outline, outline[0]]))], attributes)

    def _edge(self, places: list[tuple[float, float]]) -> int:
        start = self._node(places[0])
        end = start if places[-1] == places[0] else self._node(places[-1])
        inner = ", ".join(f"{lon} {lat}" for lat, lon in places[1:-1])
        ends: dict[str, int] = {}
        for at, node in enumerate((start, end)):
            ends |= {
                f"NAME_RCNM_{at}": CONNECTED_NODE, f"NAME_RCID_{at}": node, f"ORNT_{at}": 255,
                f"USAG_{at}": 255, f"TOPI_{at}": at + 1, f"MASK_{at}": 255,
            }  # fmt: skip
        return self._vector("Edge", EDGE, f"LINESTRING ({inner})", **ends)

    def _node(self, place: tuple[float, float]) -> int:
        return self._vector("ConnectedNode", CONNECTED_NODE, f"POINT ({place[1]} {place[0]})")

    def _vector(self, layer: str, kind: int, wkt: str, **fields: Any) -> int:
        number = self._records[kind] = self._records.get(kind, 0) + 1
        self._write(layer, {"RCNM": kind, "RCID": number, "RVER": 1, "RUIN": 1, **fields}, wkt)
        return number

    def _feature(
        self, acronym: str, shape: int, parts: list[tuple[int, int]], attributes: dict[str, Any]
    ) -> None:
        self._features += 1
        many = len(parts)
        fields = {
            "RCID": self._features, "PRIM": shape, "GRUP": 2, "OBJL": CODES[acronym], "RVER": 1,
            "AGEN": 540, "FIDN": self._features, "FIDS": 1,
            "NAME_RCNM": [kind for kind, _ in parts], "NAME_RCID": [number for _, number in parts],
            "ORNT": [1] * many, "USAG": [1] * many, "MASK": [2] * many,
        }  # fmt: skip
        self._write(acronym, {**fields, **attributes}, None)

    def _write(self, layer: str, fields: dict[str, Any], wkt: str | None) -> None:
        gdal = library()
        target = gdal.GDALDatasetGetLayerByName(self._dataset, layer.encode())
        assert target, f"no layer {layer}"
        feature = gdal.OGR_F_Create(gdal.OGR_L_GetLayerDefn(target))
        for name, value in fields.items():
            at = gdal.OGR_F_GetFieldIndex(feature, name.encode())
            assert at >= 0, f"{layer} has no {name}"
            if isinstance(value, list):
                values = (ctypes.c_int * len(value))(*value)
                gdal.OGR_F_SetFieldIntegerList(feature, at, len(value), values)
            elif isinstance(value, int):
                gdal.OGR_F_SetFieldInteger(feature, at, value)
            elif isinstance(value, float):
                gdal.OGR_F_SetFieldDouble(feature, at, value)
            else:
                # The writer puts bytes through; text of level 1 is ISO 8859-1.
                gdal.OGR_F_SetFieldString(feature, at, str(value).encode("latin-1"))
        if wkt:
            made = ctypes.c_void_p()
            gdal.OGR_G_CreateFromWkt(ctypes.c_char_p(wkt.encode()), None, ctypes.byref(made))
            gdal.OGR_F_SetGeometryDirectly(feature, made)
        failed = gdal.OGR_L_CreateFeature(target, feature)
        gdal.OGR_F_Destroy(feature)
        assert not failed, gdal.CPLGetLastErrorMsg().decode()
