"""The uncertainty of what is read from the steady part alone, where the capture as a whole cannot be fitted."""

from __future__ import annotations

import math

import numpy as np

from borewright.core.autocorrelation import type_a
from borewright.core.capture import CaptureResult
from borewright.core.flow import Floats, leak_area_m2, leakage_percent
from borewright.core.instrument import Instrument
from borewright.core.propagation import Input, propagate
from borewright.core.restrictor import Restrictor
from borewright.core.uncertainty import Budget

__all__ = ["steady_budgets"]

UNSETTLED_S = 10.0  # what moves by a slope for so long is not settled: gas and walls go on for some ten seconds


def steady_budgets(
    p_regulated_gauge_pa: Floats, p_cylinder_gauge_pa: Floats, result: CaptureResult, instrument: Instrument
) -> tuple[Budget, ...]:
    """Budgets of leakage in % and of leak area in mm² from the two pressures of the steady part.

    p_*_gauge_pa: all samples of the capture, zeros of its vented baseline taken off. First order (JCGM 100), the noise with its
    correlation; what the reading may still have to settle is taken from its slope. The leak area's budget is left out where
    nothing leaks that could be seen.
    """
    read = slice(*result.steady_read)
    ratio = p_cylinder_gauge_pa[read] / np.mean(p_regulated_gauge_pa[read])
    at = np.linspace(-1.0, 1.0, ratio.size)
    _, u_ratio, dof = type_a(ratio - np.polynomial.Polynomial.fit(at, ratio, 1)(at))
    regulated, cylinder = result.p_regulated_gauge_pa, result.p_cylinder_gauge_pa
    unsettled = abs(result.slope_percent_per_s) / 100.0 * UNSETTLED_S * regulated
    inputs = {
        "noise": Input(0.0, u_ratio * regulated, dof, "A", label="noise of the readings"),
        "zero_regulated": Input(0.0, instrument.u_zero_pa, label="drift of the regulated transducer's zero"),
        "zero_cylinder": Input(0.0, instrument.u_zero_pa, label="drift of the cylinder transducer's zero"),
        "tie": Input(0.0, instrument.u_tie, label="tie of the two transducers"),
        "gain": Input(0.0, instrument.u_gain, label="span of the transducers"),
        "bow": Input.rectangular(0.0, instrument.bow_pa, "non-linearity of the transducers"),
        "bend_regulated": Input.rectangular(0.0, instrument.converter_pa, "converter of the regulated channel"),
        "bend_cylinder": Input.rectangular(0.0, instrument.converter_pa, "converter of the cylinder channel"),
        "unsettled": Input.rectangular(0.0, unsettled, "what is still to settle"),
    }

    def pair(values: dict[str, float]) -> tuple[float, float]:
        """Both pressures as they are when the errors are these."""
        off_regulated = values["zero_regulated"] + values["bend_regulated"]
        off_cylinder = values["zero_cylinder"] + values["bend_cylinder"] + values["noise"] + values["unsettled"]
        share = values["gain"]

        def true(read_pa: float, off: float, gain: float) -> float:
            x = read_pa / instrument.range_pa
            return (read_pa - off - 4.0 * x * (1.0 - x) * values["bow"]) / (1.0 + gain)

        return true(regulated, off_regulated, share), true(cylinder, off_cylinder, share + values["tie"])

    leakage = propagate(lambda **values: float(leakage_percent(*pair(values))), inputs, "leakage", "%")
    if result.leak_area_m2 <= 0.0:
        return (leakage,)
    # the steady part does not show how far the air takes on the walls' warmth
    warmed = instrument.t_cylinder_k - instrument.t_supply_k
    u_inside = math.hypot(instrument.u_t_cylinder_k, warmed / math.sqrt(3.0))
    air = {
        "restrictor": Input(1.0, instrument.restrictor.u_relative, label="restrictor"),
        "ambient": Input(instrument.p_ambient_abs_pa, instrument.u_p_ambient_pa, label="ambient pressure"),
        "supply": Input(instrument.t_supply_k, instrument.u_t_supply_k, label="temperature of the supplied air"),
        "inside": Input(instrument.t_cylinder_k, u_inside, label="temperature of the air in the cylinder"),
    }

    def area_mm2(**values: float) -> float:
        p_regulated, p_cylinder = pair(values)
        low = min(p_cylinder, p_regulated * (1.0 - 1e-9))
        nozzle = instrument.restrictor.area_m2 * values["restrictor"]
        ideal = leak_area_m2(nozzle, p_regulated, low, values["ambient"], values["supply"], values["inside"])
        curve = _curve(instrument.restrictor, p_regulated + values["ambient"], low + values["ambient"])
        return float(ideal) * curve * 1e6

    return leakage, propagate(area_mm2, inputs | air, "leak area", "mm²")


def _curve(restrictor: Restrictor, p_up_abs_pa: float, p_down_abs_pa: float) -> float:
    """What the restrictor passes, in units of what an ideal nozzle of its area would."""
    ratio = p_down_abs_pa / p_up_abs_pa
    ideal = float(Restrictor(restrictor.area_m2).flow_function(ratio))
    return float(restrictor.flow_function(ratio)) / ideal if ideal > 0.0 else 1.0
