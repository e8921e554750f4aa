"""Copies of the core's records with some fields changed, cheap enough for every reading.

`dataclasses.replace` looks at every field and runs the initialiser: some 15 µs for a record of
forty fields, paid fifty times a second for what the sensors say. A frozen record that keeps its
fields in a dict is copied as that dict, in about 1 µs. So the records that change with every
reading have no slots; all of this room's are without ``__post_init__``, which is left out here.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    # To the type checker it is that function: names and types of the fields are checked.
    from dataclasses import replace as replace
else:

    def replace(record: Any, /, **changes: Any) -> Any:
        """Return the record with these fields changed.

        Raises
        ------
        TypeError
            If it has no such field.

        Examples
        --------
        >>> @dataclasses.dataclass(frozen=True)
        ... class Point:
        ...     x: float
        ...     y: float
        >>> replace(Point(1.0, 2.0), y=3.0)
        Point(x=1.0, y=3.0)
        """
        held = getattr(record, "__dict__", None)
        if held is None:
            return dataclasses.replace(record, **changes)
        copy = object.__new__(type(record))
        copy.__dict__.update(held, **changes)
        if len(copy.__dict__) != len(held):
            unknown = ", ".join(sorted(set(changes) - set(held)))
            raise TypeError(f"{type(record).__name__} has no {unknown}")
        return copy
