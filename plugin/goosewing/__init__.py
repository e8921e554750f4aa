"""Goosewing: boards, laylines and wing-and-wing, from mark to mark.

Speeds are in knots, angles in degrees true, distances in nautical miles,
durations in hours, times in UTC. Positions are always ``lat, lon``.

Nothing heavy is imported here: name the module you want.

Examples
--------
>>> from goosewing.earth import geodesy
>>> from goosewing.plan import make
"""

__version__ = "0.1.0"
