"""The checks of the rig that the tests of a report rest on, in a line each, with the certificates behind them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.report.model import RigLine

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck
    from borewright.service.report_numbers import Shown
    from borewright.service.report_results import StageTests
    from borewright.store import Store

__all__ = ["Served", "checks_of", "rig_lines"]

_NAMES = {
    "zero": "zero",
    "span": "span",
    "sealed": "sealed check",
    "restrictor": "restrictor",
    "tdc": "true TDC",
    "volumes": "volumes",
    "acceptance": "reference orifice",
}
_KINDS = tuple(_NAMES)
_NEEDED = ("zero", "span", "sealed", "restrictor", "tdc")


@dataclass(frozen=True, slots=True)
class Served:
    """A check and the stages whose tests rest on it."""

    check: RigCheck
    labels: tuple[str, ...]


def checks_of(store: Store, stages: Sequence[StageTests]) -> tuple[Served, ...]:
    """The newest check of each kind before the last test of each stage and rig; one that serves several stages stands once."""
    serving: dict[tuple[int, str, float], tuple[RigCheck, list[str]]] = {}
    for stage in stages:
        for serial, unix_s in _rigs_of(stage).items():
            for kind, check in store.rig_checks_before(serial, unix_s).items():
                key = (_KINDS.index(kind), serial, check.made_at_unix_s)
                serving.setdefault(key, (check, []))[1].append(stage.label)
    return tuple(Served(check, tuple(labels)) for _, (check, labels) in sorted(serving.items(), key=lambda item: item[0]))


def _rigs_of(stage: StageTests) -> dict[str, float]:
    """When each rig that the stage was tested with took its last test that counts."""
    last_s: dict[str, float] = {}
    for one in stage.captures:
        if one.device_serial and one.state == "complete":
            last_s[one.device_serial] = max(one.started_at_unix_s, last_s.get(one.device_serial, 0.0))
    return dict(sorted(last_s.items()))


def rig_lines(checks: Sequence[Served], stages: Sequence[StageTests], shown: Shown) -> tuple[RigLine, ...]:
    """The checks in words, and those that are lacking."""
    serials = {serial for stage in stages for serial in _rigs_of(stage)}
    lines = []
    for kind in _KINDS:
        for served in checks:
            check = served.check
            if check.kind == kind:
                name = _named(kind, served.labels, len(stages), check.device_serial if len(serials) > 1 else "")
                made = ", ".join(filter(None, (shown.moment(check.made_at_unix_s), check.made_by)))
                found = "; ".join(([] if check.passed else ["NOT PASSED"]) + list(_found(check, shown)))
                lines.append(RigLine(name, made, found, _certificates(check, shown)))
        for serial in sorted(serials) if kind in _NEEDED else ():
            without = tuple(
                stage.label
                for stage in stages
                if serial in _rigs_of(stage)
                and not any(
                    served.check.kind == kind and served.check.device_serial == serial and stage.label in served.labels
                    for served in checks
                )
            )
            if without:
                lines.append(
                    RigLine(
                        _named(kind, without, len(stages), serial if len(serials) > 1 else ""),
                        "never",
                        "not made before these tests",
                    )
                )
    return tuple(lines)


def _named(kind: str, labels: Sequence[str], stages: int, serial: str) -> str:
    parts = [f"rig {serial}"] if serial else []
    parts += [", ".join(labels)] if 0 < len(labels) < stages else []
    return _NAMES[kind] + (f" ({'; '.join(parts)})" if parts else "")


def _found(check: RigCheck, shown: Shown) -> Iterable[str]:
    result = check.result
    try:
        yield from _FOUND[check.kind](result, shown)
    except (KeyError, TypeError, ValueError, IndexError):  # of an older program, or changed by hand
        yield "what it found cannot be read"


def _zero(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    zeros = [shown.text(float(result[f"zero_{side}_pa"]), "pressure_gauge", "kPa", 2) for side in ("regulated", "cylinder")]
    yield f"regulated {zeros[0]}, cylinder {zeros[1]}"


def _span(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    for side in ("regulated", "cylinder"):
        span = result[side]["span"]
        left = shown.text(float(span["largest_residual_pa"]), "pressure_gauge", "kPa", 2)
        yield f"{side} gain {float(span['gain']):.4f} ± {200.0 * float(span['u_gain_left']):.2f} %, at most {left} left"


def _sealed(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    sealed = result.get("sealed")
    if sealed is None:
        yield f"own leak {shown.text(float(result['own_leak_area_m2']), 'area', 'mm²', 1)}"
        return
    limit, net = float(sealed["limit_area_m2"]), abs(float(sealed["net_leak_area_m2"])) + 2.0 * float(sealed["u_own_leak_area_m2"])
    yield f"own leak at most {shown.text(max(net, 0.05 * limit), 'area', 'mm²', 1)}, limit {shown.text(limit, 'area', 'mm²', 1)}"
    yield f"transducers differ by {100.0 * float(sealed['tie_share']):+.3f} %".replace("-", "−")


def _restrictor(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    fit = result.get("fit")
    area = shown.text(float(result["area_m2"]), "area", "mm²", 1)
    if fit is None:
        yield f"effective area {area}"
        return
    points = len(result["points"])
    basis = {"bore": "by its bore", "one orifice": "by one orifice", "orifices": f"by {points} orifices"}[fit["basis"]]
    yield f"effective area {area} ± {200.0 * float(fit['u_relative']):.1f} %, {basis}"


def _tdc(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    del shown
    method = str(result["method"]).replace("_", " ")
    yield f"cylinder {int(result['reference_cylinder'])}, by {method}, ± {2.0 * float(result['u_deg']):.2f}°"


def _volumes(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    for name in ("dead_volume", "hose_volume"):
        volume, u_percent = result[f"{name}_m3"], 200.0 * float(result[f"u_{name}"])
        words = "not known" if volume is None else f"{shown.text(float(volume), 'volume', 'cm³')} ± {u_percent:.0f} %"
        yield f"{name.replace('_', ' ')} {words}"


def _acceptance(result: Mapping[str, Any], shown: Shown) -> Iterable[str]:
    read, u = float(result["leak_area_m2"]), 2.0 * float(result["u_leak_area_m2"])
    true = float(result["orifice"]["area_m2"])
    yield f"reads {shown.text(read, 'area', 'mm²')} ± {shown.text(u, 'area', 'mm²')} for {shown.text(true, 'area', 'mm²')}"


_FOUND = {
    "zero": _zero,
    "span": _span,
    "sealed": _sealed,
    "restrictor": _restrictor,
    "tdc": _tdc,
    "volumes": _volumes,
    "acceptance": _acceptance,
}


def _certificates(check: RigCheck, shown: Shown) -> str:
    """Of the reference gauge or the orifices that the check was made with; empty where it needs none."""
    result = check.result
    if check.kind == "span":
        return _certified("gauge", result.get("gauge"), shown)
    if check.kind == "acceptance":
        return _certified("orifice", result.get("orifice"), shown)
    if check.kind == "restrictor":
        points = result.get("points") or ()
        said = [_certified("orifice", point.get("orifice"), shown) for point in points if isinstance(point, Mapping)]
        return "; ".join(dict.fromkeys(words for words in said if words))
    return ""


def _certified(what: str, thing: Any, shown: Shown) -> str:
    if not isinstance(thing, Mapping):
        return ""
    words = [f"{what} no. {thing['serial_number']}" if thing.get("serial_number") else f"{what} without number"]
    words.append(f"certificate {thing['certificate']}" if thing.get("certificate") else "no certificate")
    if isinstance(at := thing.get("certified_at_unix_s"), int | float):
        words.append(f"of {shown.date(at)}")
    return ", ".join(words)
