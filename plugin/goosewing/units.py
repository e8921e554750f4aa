"""Exact factors between the units used inside and those met at the rim.

Inside: knots, nautical miles, degrees true, hours. Everything else is
converted where it enters or leaves, with the factors of this module.
"""

from datetime import datetime, timedelta
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
"""What every computation returns: an array (or 0-d scalar) of doubles."""

BoolArray: TypeAlias = NDArray[np.bool_]
"""Yes or no for each element."""

AnyArray: TypeAlias = NDArray[Any]
"""An array of whatever a file held."""

METRES_PER_NM = 1852.0
"""Metres in one international nautical mile (exact, by definition)."""

METRES_PER_SECOND_PER_KNOT = METRES_PER_NM / 3600.0
"""Metres per second in one knot (exact, by definition)."""

SECONDS_PER_HOUR = 3600.0
"""Seconds in one hour."""


def nearest_minute(time: datetime) -> datetime:
    """Round a time to the minute, as all that is printed rounds it.

    Examples
    --------
    >>> nearest_minute(datetime(2027, 6, 1, 23, 59, 30))
    datetime.datetime(2027, 6, 2, 0, 0)
    """
    return (time + timedelta(seconds=30)).replace(second=0, microsecond=0)
