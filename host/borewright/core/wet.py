"""The wet test: the same cylinder dry and with a measured dose of oil on its rings."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Literal

from borewright.core.flow import checked

__all__ = ["SCATTER", "WetVerdict", "wet_verdict"]

SCATTER = 0.03
"""What a turn of the crank changes by itself, as a share of the leak (project: as the stop-off tests reckon)."""
_K = 2.0


@dataclass(frozen=True, slots=True)
class WetVerdict:
    """What oil changed. change_percent of the dry leak area, negative where it leaks less; expanded_percent: k about 2."""

    verdict: Literal["tighter", "no shown difference", "leaks more"]
    change_percent: float
    expanded_percent: float
    words: str


def wet_verdict(dry_area: float, u_dry: float, wet_area: float, u_wet: float, *, scatter_relative: float = SCATTER) -> WetVerdict:
    """Dry against wet leak area, both in one unit, with standard uncertainties (k = 1) that the two do not share.

    dry_area above 0, all others at least 0. Source of the reading: common practice; of the bound: twice the combined uncertainty.

    >>> wet_verdict(0.60, 0.004, 0.30, 0.004).words
    'with oil it leaks 50 ± 7 % less: oil reaches the rings, so the rings and the bore are where to look'
    >>> wet_verdict(0.60, 0.004, 0.59, 0.004).verdict
    'no shown difference'
    """
    dry = float(checked("dry_area", dry_area, above=0.0))
    wet = float(checked("wet_area", wet_area, least=0.0))
    u = hypot(
        float(checked("u_dry", u_dry, least=0.0)),
        float(checked("u_wet", u_wet, least=0.0)),
        float(checked("scatter_relative", scatter_relative, least=0.0)) * hypot(dry, wet),
    )
    change, expanded = 100.0 * (wet - dry) / dry, 100.0 * _K * u / dry
    figure = f"{abs(change):.0f} ± {expanded:.0f} %"
    if change < -expanded:
        words = f"with oil it leaks {figure} less: oil reaches the rings, so the rings and the bore are where to look"
        return WetVerdict("tighter", change, expanded, words)
    if change > expanded:
        words = (
            f"with oil it leaks {figure} more, which oil does not do: something else changed; let the oil run off and take dry and "
            "wet again"
        )
        return WetVerdict("leaks more", change, expanded, words)
    words = (
        f"with oil no shown difference ({change:+.0f} ± {expanded:.0f} %): it speaks for valves, gasket or a crack, or for a hole "
        "that oil does not close (piston, ring land, stuck or broken ring), or the oil did not reach the rings"
    )
    return WetVerdict("no shown difference", change, expanded, words)
