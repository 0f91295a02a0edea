"""What the papers of a scenario's rig state of it, drawn by the seed about what it is."""

from __future__ import annotations

from boresim.noise import seeded_normal, seeded_unit
from boresim.scenario import Scenario

__all__ = ["stated_restrictor"]


def stated_restrictor(scenario: Scenario) -> tuple[float, float]:
    """Sonic conductance in m³/(s·Pa) at ANR and critical ratio as the restrictor's certificate has them.

    What the restrictor passes is off from what is stated by restrictor_u, and the critical ratio within its limit.

    >>> from boresim.scenario import load_scenario
    >>> scenario = load_scenario("hillclimb-before")
    >>> abs(stated_restrictor(scenario)[0] / scenario.rig.air.restrictor_conductance_m3_s_pa - 1.0) < 0.02
    True
    """
    air, seed = scenario.rig.air, scenario.seed
    conductance = air.restrictor_conductance_m3_s_pa / (1.0 + air.restrictor_u * seeded_normal(seed, "restrictor"))
    off = air.restrictor_critical_ratio_limit * (2.0 * seeded_unit(seed, "critical ratio") - 1.0)
    return conductance, air.restrictor_critical_ratio - off
