"""What was worked out among hazards for one plan of a case, for the next plans of it.

A passage is planned, and then once more with the other board first, or under other sails.
Where hazards lie by the thousand, what may be seen from where and how far boards run free is
nearly all of the work, and much of it the same for each of these plans.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Hashable

MOST_KEPT = 12
"""So many are kept: one of a leg among ten thousand islands takes some 10 MB."""


@dataclass(slots=True, eq=False)
class Kept:
    """The latest things worked out, by what they were worked out from."""

    found: dict[Hashable, Any] = field(default_factory=dict)

    def of(self, key: Hashable) -> Any:
        """Return what was kept under a key; None if nothing is."""
        return self.found.get(key)

    def keep(self, key: Hashable, value: Any) -> None:
        """Keep a thing under a key; the oldest is forgotten."""
        self.found.pop(key, None)
        self.found[key] = value
        for oldest in list(self.found)[:-MOST_KEPT]:
            del self.found[oldest]

    def __reduce__(self) -> tuple[type[Kept], tuple[()]]:
        """Another process begins with nothing: it would take longer to send."""
        return Kept, ()
