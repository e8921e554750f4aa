"""How what concerns the boat file is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from goosewing_cli.show import console_for
from goosewing_cli.show_targets import show_targets

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.oddities import Oddity
    from goosewing.velocities.targets import Targets


def show_check(odd: Sequence[Oddity], places: Sequence[str], targets: Targets) -> None:
    """Print what is odd, a line each, then the targets."""
    console = console_for()
    if not odd:
        console.print(Text("Nothing odd found."))
    for each, where in zip(odd, places, strict=True):
        # Whole lines: a row and column broken over two is not found again.
        console.print(Text(f"Odd: {where}: {_words(each)}"), soft_wrap=True)
    console.print()
    show_targets(targets)


def _words(each: Oddity) -> str:
    if each.twa_deg is not None and each.tws_kn is not None:
        return f"at {each.twa_deg:g}° in {each.tws_kn:g} kn of wind, {each.what}"
    return each.what if each.sail_set is None else f"{each.sail_set} {each.what}"
