"""Boats that no yard would build, for tests that must hold for every boat."""

from __future__ import annotations

import numpy as np

from goosewing.boat.model import Boat, Leeway, Manoeuvres, PolarTable, SailSet


def random_table(rng: np.random.Generator, first: float, last: float, top: float) -> PolarTable:
    """A rough, humped table: no boat, but every shape that the sums must take."""
    twa = np.linspace(first, last, rng.integers(3, 14))
    tws = np.sort(rng.choice(np.arange(4, 34), size=rng.integers(1, 6), replace=False)).astype(
        float
    )
    values = top * rng.uniform(0.3, 1.0, (len(twa), 1)) * np.linspace(0.5, 1.0, len(tws))
    return PolarTable(tws_kn=tws, twa_deg=twa, values=values)


def random_boat(seed: int) -> Boat:
    """A boat with one to three sail sets, random tables, costs and leeway."""
    rng = np.random.default_rng(seed)
    sets = []
    for number in range(rng.integers(1, 4)):
        first, last = rng.uniform(20, 80), rng.uniform(120, 180)
        polar = random_table(rng, first, last, rng.uniform(4, 9))
        heel = PolarTable(
            tws_kn=polar.tws_kn, twa_deg=polar.twa_deg, values=polar.values * rng.uniform(0, 4)
        )
        sets.append(
            SailSet(
                name=f"set {number}",
                polar=polar,
                heel=heel if rng.random() < 0.7 else None,
                poled=bool(rng.random() < 0.3),
            )
        )
    costs = dict(zip(
        ("tack_s", "gybe_s", "set_pole_s", "strike_pole_s", "change_sails_s"),
        rng.uniform(0, 400, 5), strict=True,
    ))  # fmt: skip
    return Boat(
        name=f"random {seed}",
        polar_angle="track" if rng.random() < 0.3 else "heading",
        leeway=Leeway(coefficient=float(rng.uniform(0, 15))),
        manoeuvres=Manoeuvres(**costs),
        sail_sets=tuple(sets),
    )
