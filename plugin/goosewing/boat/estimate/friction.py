"""Friction of the wetted surface: the line of 1957 and what thickness adds to it.

References
----------
.. [1] International Towing Tank Conference, Madrid 1957: C_F = 0.075 / (log10 Re − 2)².
.. [2] S. F. Hoerner, *Fluid-Dynamic Drag*: 1 + 2 (t/c) + 60 (t/c)⁴ for foils (second-hand).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.units import Array

SEA_WATER_KG_M3 = 1025.0
KINEMATIC_VISCOSITY_M2_S = 1.19e-6
"""Of sea water at 15 °C, in m²/s."""

LEAST_REYNOLDS = 1e4
"""Below it the line climbs beyond reason; no yacht that sails gets there."""


def ittc57(reynolds: ArrayLike) -> Array:
    """Return the frictional coefficient of the line of 1957 [1]_.

    Parameters
    ----------
    reynolds : array_like
        Speed times length over kinematic viscosity; taken as 1e4 where it is less.

    Examples
    --------
    >>> print(f"{ittc57(1e7):.6f}")
    0.003000
    """
    re = np.maximum(np.asarray(reynolds, dtype=np.float64), LEAST_REYNOLDS)
    return np.asarray(0.075 / (np.log10(re) - 2.0) ** 2)


def reynolds_number(speed_m_s: ArrayLike, length_m: float) -> Array:
    """Return speed times length over the kinematic viscosity of sea water."""
    return np.asarray(np.asarray(speed_m_s) * length_m / KINEMATIC_VISCOSITY_M2_S)


def foil_form_factor(thickness_ratio: float) -> float:
    """Return 1 + k of a foil by its thickness over its chord [2]_.

    Examples
    --------
    >>> round(foil_form_factor(0.12), 4)
    1.2524
    """
    return 1.0 + 2.0 * thickness_ratio + 60.0 * thickness_ratio**4


def dynamic_pressure(speed_m_s: ArrayLike) -> Array:
    """Return ½ρV² in sea water, in Pa."""
    return np.asarray(0.5 * SEA_WATER_KG_M3 * np.asarray(speed_m_s) ** 2)
