"""The canoe body by the systematic series of Delft: wave-making drag, wetted area, stability.

Coefficients were compared in two or three independent texts that quote the papers; none
of the papers was open. Against 22 hulls of the series as measured in 1981 both
regressions come out a fifth low between Froude numbers 0.35 and 0.45, with little
scatter: 15 % is the doubt to take along.

References
----------
.. [1] J. A. Keuning and M. Katgert, "A bare hull resistance prediction method derived from
   the results of the Delft Systematic Yacht Hull Series extended to higher speeds,"
   Innov'Sail 2008.
.. [2] J. A. Keuning and U. B. Sonnenberg, "Approximation of the hydrodynamic forces on a
   sailing yacht based on the Delft Systematic Yacht Hull Series," HISWA 1998.
.. [3] J. Gerritsma, J. A. Keuning and A. Versluis, "Sailing yacht performance in calm water
   and in waves," 11th Chesapeake Sailing Yacht Symposium, 1993.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.boat.estimate.friction import SEA_WATER_KG_M3

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

    from goosewing.units import Array

GRAVITY_M_S2 = 9.81

# Fn, a0 … a7 of [1]_.
KEUNING_KATGERT = np.array(
    [
        (0.15, -0.0005, 0.0023, -0.0086, -0.0015, 0.0061, 0.0010, 0.0001, 0.0052),
        (0.20, -0.0003, 0.0059, -0.0064, 0.0070, 0.0014, 0.0013, 0.0005, -0.0020),
        (0.25, -0.0002, -0.0156, 0.0031, -0.0021, -0.0070, 0.0148, 0.0010, -0.0043),
        (0.30, -0.0009, 0.0016, 0.0337, -0.0285, -0.0367, 0.0218, 0.0015, -0.0172),
        (0.35, -0.0026, -0.0567, 0.0446, -0.1091, -0.0707, 0.0914, 0.0021, -0.0078),
        (0.40, -0.0064, -0.4034, -0.1250, 0.0273, -0.1341, 0.3578, 0.0045, 0.1115),
        (0.45, -0.0218, -0.5261, -0.2945, 0.2485, -0.2428, 0.6293, 0.0081, 0.2086),
        (0.50, -0.0388, -0.5986, -0.3038, 0.6033, -0.0430, 0.8332, 0.0106, 0.1336),
        (0.55, -0.0347, -0.4764, -0.2361, 0.8726, 0.4219, 0.8990, 0.0096, -0.2272),
        (0.60, -0.0361, 0.0037, -0.2960, 0.9661, 0.6123, 0.7534, 0.0100, -0.3352),
        (0.65, 0.0008, 0.3728, -0.3667, 1.3957, 1.0343, 0.3230, 0.0072, -0.4632),
        (0.70, 0.0108, -0.1238, -0.2026, 1.1282, 1.1836, 0.4973, 0.0038, -0.4477),
        (0.75, 0.1023, 0.7726, 0.5040, 1.7867, 2.1934, -1.5479, -0.0115, -0.0977),
    ]
)

# Fn, u0 … u5 of [2]_: what 20° of heel adds, in thousandths of the weight.
HEEL_RESIDUARY = np.array(
    [
        (0.25, -0.0268, -0.0014, -0.0057, 0.0016, -0.0070, -0.0017),
        (0.30, 0.6628, -0.0632, -0.0699, 0.0069, 0.0459, -0.0004),
        (0.35, 1.6433, -0.2144, -0.1640, 0.0199, -0.0540, -0.0268),
        (0.40, -0.8659, -0.0354, 0.2226, 0.0188, -0.5800, -0.1133),
        (0.45, -3.2715, 0.1372, 0.5547, 0.0268, -1.0064, -0.2026),
        (0.50, -0.1976, -0.1480, -0.6593, 0.1862, -0.7489, -0.1648),
        (0.55, 1.5873, -0.3749, -0.7105, 0.2146, -0.4818, -0.1174),
    ]
)

# Heel in degrees, s0 … s3 of [2]_: the wetted area heeled, in percent.
HEELED_WETTED_AREA = np.array(
    [
        (0.0, 0.0, 0.0, 0.0, 0.0),
        (5.0, -4.112, 0.054, -0.027, 6.329),
        (10.0, -4.522, -0.132, -0.077, 8.738),
        (15.0, -3.291, -0.389, -0.118, 8.949),
        (20.0, 1.850, -1.200, -0.109, 5.364),
        (25.0, 6.510, -2.305, -0.066, 3.443),
        (30.0, 12.334, -3.911, 0.024, 1.767),
        (35.0, 14.648, -5.182, 0.102, 3.497),
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hull:
    """The canoe body: the hull without keel and rudder.

    Attributes
    ----------
    lwl_m, bwl_m, depth_m : float
        Length and beam on the waterline, draught of the canoe body alone. [m]
    volume_m3 : float
        Displaced. [m³]
    prismatic, midship : float
        Coefficients.
    lcb, lcf : float
        Centres of buoyancy and of flotation, from the forward perpendicular, as shares
        of the waterline.
    """

    lwl_m: float
    bwl_m: float
    depth_m: float
    volume_m3: float
    prismatic: float
    midship: float
    lcb: float
    lcf: float

    @property
    def weight_n(self) -> float:
        """Weight of the water that it displaces, in N."""
        return SEA_WATER_KG_M3 * GRAVITY_M_S2 * self.volume_m3

    @property
    def slenderness(self) -> float:
        """Waterline over the cube root of the volume."""
        return float(self.lwl_m / self.volume_m3 ** (1.0 / 3.0))

    @property
    def waterplane_m2(self) -> float:
        """Area of the waterplane, by the fit to the series, in m²."""
        share = (
            1.313 * self.prismatic
            - 0.0857 * self.prismatic * self.slenderness
            + 0.0371 * self.slenderness
        )
        return self.lwl_m * self.bwl_m * share

    @property
    def wetted_m2(self) -> float:
        """Wetted area upright, by the fit to the series [3]_, in m²."""
        return wetted_area(self.volume_m3, self.lwl_m, self.bwl_m, self.depth_m, self.midship)

    def froude(self, speed_m_s: ArrayLike) -> Array:
        """Return V/√(g·LWL)."""
        return np.asarray(np.asarray(speed_m_s) / np.sqrt(GRAVITY_M_S2 * self.lwl_m))


def wetted_area(
    volume_m3: float, lwl_m: float, bwl_m: float, depth_m: float, midship: float
) -> float:
    """Return the wetted area of a canoe body upright [3]_, in m².

    Examples
    --------
    >>> round(wetted_area(7.63, 10.02, 3.17, 0.57, 0.752), 2)
    24.33
    """
    form = (1.97 + 0.171 * bwl_m / depth_m) * (0.65 / midship) ** (1.0 / 3.0)
    return float(form * np.sqrt(volume_m3 * lwl_m))


def heeled_wetted_share(hull: Hull, heel_deg: ArrayLike) -> Array:
    """Return the wetted area at a heel over that upright [2]_."""
    ratio = hull.bwl_m / hull.depth_m
    terms = np.array([1.0, ratio, ratio**2, hull.midship])
    percent = HEELED_WETTED_AREA[:, 1:] @ terms
    heel = np.asarray(heel_deg, dtype=np.float64)
    return np.asarray(1.0 + 0.01 * np.interp(heel, HEELED_WETTED_AREA[:, 0], percent))


class Nodes(NamedTuple):
    """A drag over weight at the Froude numbers of its source."""

    froude: Array
    share: Array


def residuary_katgert(hull: Hull) -> Nodes:
    """Return the residuary resistance upright over the weight, by the paper of 2008 [1]_."""
    volume = hull.volume_m3 ** (1.0 / 3.0)
    terms = np.array(
        [
            hull.lcb,
            hull.prismatic,
            volume**2 / hull.waterplane_m2,
            hull.bwl_m / hull.lwl_m,
            hull.lcb / hull.lcf,
            hull.bwl_m / hull.depth_m,
            hull.midship,
        ]
    )
    table = KEUNING_KATGERT
    return Nodes(table[:, 0], table[:, 1] + table[:, 2:] @ terms * volume / hull.lwl_m)


def heel_residuary(hull: Hull) -> Nodes:
    """Return what 20° of heel adds to the residuary resistance, over the weight [2]_."""
    ratio = hull.bwl_m / hull.depth_m
    # Percent of the waterline from its middle, aft negative: unlike in the upright formula.
    lcb_percent = 100.0 * (0.5 - hull.lcb)
    terms = np.array([1.0, hull.lwl_m / hull.bwl_m, ratio, ratio**2, lcb_percent, lcb_percent**2])
    return Nodes(HEEL_RESIDUARY[:, 0], 1e-3 * (HEEL_RESIDUARY[:, 1:] @ terms))


def heel_growth(heel_rad: ArrayLike) -> Array:
    """Return how the addition of heel grows: 6·φ^1.7, which is 1 at 20° [2]_."""
    return np.asarray(6.0 * np.abs(np.asarray(heel_rad)) ** 1.7)


def drag_curve(nodes: list[Nodes]) -> Callable[[Array], Array]:
    """Join drags over weight into one smooth curve of the Froude number.

    Parameters
    ----------
    nodes : list of Nodes
        Held at zero or more; zero where a source has no value yet.

    Returns
    -------
    callable
        From a Froude number, shape (...), to shares of shape (..., len(nodes)); beyond
        the last node in a straight line that never falls.
    """
    from scipy.interpolate import PchipInterpolator

    first = min(each.froude[0] for each in nodes)
    last = max(each.froude[-1] for each in nodes)
    at = np.arange(round(20 * first), round(20 * last) + 1) / 20.0
    columns = np.column_stack([_on(at, each) for each in nodes])
    at = np.concatenate(([0.0], at))
    columns = np.maximum(np.vstack((np.zeros(len(nodes)), columns)), 0.0)
    curve: Any = PchipInterpolator(at, columns)
    slope = np.maximum(columns[-1] - columns[-2], 0.0) / (at[-1] - at[-2])

    def value(froude: Array) -> Array:
        beyond = np.maximum(froude - at[-1], 0.0)[..., np.newaxis]
        return np.asarray(curve(np.minimum(froude, at[-1])) + slope * beyond)

    return value


def _on(at: Array, nodes: Nodes) -> Array:
    """Put nodes on the common grid of twentieths; before the first 0, after the last in line."""
    slope = (nodes.share[-1] - nodes.share[-2]) / (nodes.froude[-1] - nodes.froude[-2])
    beyond = np.maximum(at - nodes.froude[-1], 0.0)
    return np.asarray(np.interp(at, *nodes, left=0.0) + max(slope, 0.0) * beyond)


# --- stability -------------------------------------------------------------------------------


def metacentre_above_keel_m(hull: Hull) -> float:
    """Return KM from the bottom of the canoe body [3]_, in m."""
    return 0.664 * hull.depth_m + 0.111 * hull.bwl_m**2 / hull.depth_m


def righting_arm(hull: Hull, metacentric_height_m: float, heel_rad: ArrayLike) -> Array:
    """Return GZ = GM·sin φ + LWL·D3·φ² [3]_, falling with beam over depth, in m."""
    heel = np.asarray(heel_rad)
    d3 = 0.0636 - 0.0196 * hull.bwl_m / hull.depth_m
    return np.asarray(metacentric_height_m * np.sin(heel) + hull.lwl_m * d3 * heel**2)
