"""What the rig's checks found, in words and in the units that the person has chosen; uncertainties are expanded (k = 2)."""

from __future__ import annotations

from typing import Any

from borewright.core.rig import RigCheck
from borewright.service.shown_units import ShownUnits
from borewright.service.time_words import date_words

__all__ = ["check_words", "figures_of"]


def check_words(check: RigCheck, units: ShownUnits) -> str:
    """Some lines: what was made when and by whom, then what it found."""
    head = f"{check.kind}: {'passed' if check.passed else 'NOT PASSED'}, {date_words(check.made_at_unix_s)}, {check.made_by}"
    return "\n  ".join([head, *figures_of(check, units)])


def figures_of(check: RigCheck, units: ShownUnits) -> tuple[str, ...]:
    """What a check found, line by line; the first one holds the figures that matter most.

    >>> zero = RigCheck("zero", 0.0, "R. Holm", "R-1", True, {"zero_regulated_pa": 40.0, "zero_cylinder_pa": -20.0})
    >>> figures_of(zero, ShownUnits())
    ('zeros +0.04 kPa and -0.02 kPa',)
    """
    lines = {
        "zero": _zero,
        "span": _span,
        "sealed": _sealed,
        "restrictor": _restrictor,
        "tdc": _tdc,
        "volumes": _volumes,
        "acceptance": _acceptance,
    }[check.kind](check.result, units)
    return tuple(lines)


def _pressure(units: ShownUnits, pa: Any, finer: int = 0, *, signed: bool = False) -> str:
    return units.text(float(pa), "pressure_gauge", "kPa", finer, signed=signed)


def _area(units: ShownUnits, area_m2: Any) -> str:
    return units.text(float(area_m2), "area", "mm²", 1)


def _certified(thing: dict[str, Any]) -> str:
    words = [f"no. {thing['serial_number']}" if thing.get("serial_number") else "without serial number"]
    words.append(f"certificate {thing['certificate']}" if thing.get("certificate") else "no certificate on record")
    if thing.get("certified_at_unix_s") is not None:
        words.append(f"of {date_words(thing['certified_at_unix_s'])[:10]}")
    return ", ".join(words)


def _zero(result: dict[str, Any], units: ShownUnits) -> list[str]:
    zeros = [_pressure(units, result[key], 2, signed=True) for key in ("zero_regulated_pa", "zero_cylinder_pa")]
    return [f"zeros {zeros[0]} and {zeros[1]}"]


def _span(result: dict[str, Any], units: ShownUnits) -> list[str]:
    lines = [f"reference gauge {_certified(result['gauge'])}"]
    for name in ("regulated", "cylinder"):
        channel = result[name]
        span = channel["span"]
        serial = f" (no. {channel['transducer_serial']})" if channel["transducer_serial"] else ""
        bow = f", bow {_pressure(units, span['bow_pa'], 2, signed=True)}" if span["bow_shown"] else ""
        lines.append(
            f"{name}{serial}: gain {span['gain']:.5f} ± {200.0 * span['u_gain_left']:.2f} %{bow}, "
            f"largest residual {_pressure(units, span['largest_residual_pa'], 2)}"
        )
        if span["widened"] > 1.0:
            lines.append(f"  the readings scatter {span['widened']:.1f} times as much as is stated of the gauge")
    lines.append("gauge, and what is left: regulated, cylinder")
    points = result["regulated"]["points"]
    left_of = [result[name]["span"]["residuals_pa"] for name in ("regulated", "cylinder")]
    for point, *left in zip(points, *left_of, strict=True):
        way = "up" if point["direction"] == "rising" else "down"
        residuals = ", ".join(_pressure(units, value, 2, signed=True) for value in left)
        lines.append(f"  {_pressure(units, point['reference_gauge_pa'], 1)} {way}: {residuals}")
    return lines


def _sealed(result: dict[str, Any], units: ShownUnits) -> list[str]:
    sealed = result.get("sealed")
    if sealed is None:
        own = f"own leak {_area(units, result['own_leak_area_m2'])}"
        tie = f"transducers differ by {float(result['tie_share']) * 100:+.2f} %"
        return [f"{own}, {tie}, set pressure {_pressure(units, result['p_regulated_gauge_pa'])}"]
    ways = {
        "out": "air gets out",
        "in": "air comes in through the supply valve",
        "both": "air gets out, and comes in through the supply valve",
        "none seen": "none is seen",
    }
    at = [_pressure(units, point["p_regulated_gauge_pa"]) for point in result["points"]]
    lines = [
        f"own leak {_own_leak(units, sealed)}, {_area(units, sealed['limit_area_m2'])} at most may be: {ways[sealed['direction']]}",
        f"transducers differ by {sealed['tie_share'] * 100:+.3f} ± {sealed['u_tie'] * 200:.3f} %, seen at {', '.join(at)}",
    ]
    return lines + [f"mark: {remark}" for remark in sealed["remarks"]]


def _own_leak(units: ShownUnits, sealed: dict[str, Any]) -> str:
    """The leak by its size, the way is said beside it; under a twentieth of the limit its size does not matter."""
    net, u = abs(float(sealed["net_leak_area_m2"])), 2.0 * float(sealed["u_own_leak_area_m2"])
    if net + u < 0.05 * float(sealed["limit_area_m2"]):
        return f"under {_area(units, 0.05 * float(sealed['limit_area_m2']))}"
    return f"{_area(units, net)} ± {_area(units, u)}"


def _restrictor(result: dict[str, Any], units: ShownUnits) -> list[str]:
    fit = result.get("fit")
    if fit is None:
        return [f"effective area {_area(units, result['area_m2'])}"]
    ratio = (
        "" if fit["critical_ratio"] is None else f", critical ratio {fit['critical_ratio']:.3f} ± {2 * fit['u_critical_ratio']:.3f}"
    )
    basis = {"bore": "its bore", "one orifice": "one orifice", "orifices": f"{len(result['points'])} orifices"}[fit["basis"]]
    lines = [f"effective area {_area(units, fit['area_m2'])} ± {200 * fit['u_relative']:.1f} %{ratio}, by {basis}"]
    for point, left in zip(result["points"], fit["residuals"], strict=True):
        orifice = point["orifice"]
        certified = f"orifice {_area(units, orifice['area_m2'])} ± {200 * orifice['u_relative']:.1f} %, {_certified(orifice)}"
        lines.append(f"  {certified}: {left * 100:+.2f} % left" if len(result["points"]) > 1 else f"  {certified}")
    return lines + ([f"mark: {fit['remark']}"] if fit["remark"] else [])


def _tdc(result: dict[str, Any], units: ShownUnits) -> list[str]:
    del units
    lines = [
        f"{result['engine']}: TDC of cylinder {result['reference_cylinder']} is "
        f"{float(result['counts_after_index']):.1f} counts after the index pulse, ±{2 * float(result['u_deg']):.2f}°, "
        f"by {str(result['method']).replace('_', ' ')}"
    ]
    return lines + ([f"mark: {result['mark']}"] if result.get("mark") else [])


def _volumes(result: dict[str, Any], units: ShownUnits) -> list[str]:
    found = []
    for name in ("dead_volume", "hose_volume"):
        volume, u = result[f"{name}_m3"], result[f"u_{name}"]
        words = "not known" if volume is None else f"{units.text(volume, 'volume', 'cm³')} ± {200 * u:.0f} %"
        found.append(f"{name.replace('_', ' ')} {words}")
    return [", ".join(found)] + ([f"mark: {result['reason']}"] if result["reason"] else [])


def _acceptance(result: dict[str, Any], units: ShownUnits) -> list[str]:
    orifice, u = result["orifice"], result["u_leak_area_m2"]
    return [
        result["acceptance"]["words"],
        f"reads {_area(units, result['leak_area_m2'])} ± {_area(units, 2 * u)} for {_area(units, orifice['area_m2'])} ± "
        f"{200 * orifice['u_relative']:.1f} %, {_certified(orifice)}",
    ]
