"""From the captures of the rig's own checks to the checks: what each capture adds, and what all of them say together."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from typing import Any, Literal

from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.fit_result import Estimate
from borewright.core.kept import (
    AcceptanceKept,
    CheckKept,
    RestrictorKept,
    SealedKept,
    SpanChannel,
    SpanKept,
    VolumesKept,
    check_of,
)
from borewright.core.plain import from_plain, to_plain
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import (
    BoreForm,
    Orifice,
    OrificePoint,
    accept_reference,
    restrictor_of_bore,
    restrictor_of_one_orifice,
    restrictor_of_orifices,
)
from borewright.core.rig import ChannelLaw, CheckKind, CheckRefused, RigCheck
from borewright.core.sealed import SealedPoint, judge_sealed, read_sealed_point
from borewright.core.span import ReferenceGauge, SpanPoint, fit_span
from borewright.core.volumes import Volumes, volumes_of_capture
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.readings import GaugeReading
from borewright.service.state import BenchState
from borewright.service.transducers import Transducers

__all__ = ["check_of_bore", "check_of_points", "check_of_sweep", "kind_of", "point_of"]

Channel = Literal["regulated", "cylinder"]

USUAL_U_GAUGE_PA = 500.0  # one reading of a dial, where nothing is stated: about a tenth of a step of 5 kPa, and parallax
USUAL_U_GAUGE = 0.0025  # its span, where nothing is stated: a gauge of 0.4 % class, rectangular
NOMINAL_SHARE = 0.25  # farther from the area that the setup states, it is another restrictor
U_ZERO_PA = 100.0  # drift of a zero since the baseline of its capture, as the budget has it
WANDER_PA = 80.0  # of the difference of two zeros that wander by U_ZERO_PA in ten seconds, over the three that a hose takes to fill
UNTIED = 0.0005  # of two transducers whose sealed check says no more


def kind_of(done: Analyse) -> CheckKind:
    """Which check a capture belongs to."""
    aim = done.purpose.aim
    match aim:
        case "check":
            return "sealed" if done.purpose.kind == "sealed" else "restrictor"
        case "proof" | "place":
            raise CheckRefused("This capture is no check of the rig.")
        case _:
            return aim


def point_of(state: BenchState, done: Analyse, result: CaptureResult, ambient: AirConditions) -> dict[str, Any]:
    """What one capture adds to its check, as plain JSON. result: by the untied laws where the outlet was capped. Raises
    CaptureUnusable."""
    transducers = _known(state)
    if done.purpose.aim == "volumes":
        return _volumes_point(state, done, result, ambient)
    if done.purpose.ties:
        untied = transducers.untied(state.checks)
        sealed = read_sealed_point(
            done.columns,
            (untied.regulated, untied.cylinder),
            result,
            done.shut_s,
            done.ended_s,
            ambient.p_ambient_abs_pa,
            ambient.t_supply_k,
            (untied.regulated_channel, untied.cylinder_channel),
        )
        return dict(to_plain(sealed))
    if not result.p_regulated_gauge_pa > result.p_cylinder_gauge_pa > 0.0:
        raise CaptureUnusable("Nothing flowed through the orifice; see that it is on the hose and open.")
    point = OrificePoint(
        _orifice(state, done),
        result.p_regulated_gauge_pa,
        result.p_cylinder_gauge_pa,
        U_ZERO_PA,
        ambient.p_ambient_abs_pa,
        ambient.t_supply_k,
    )
    return dict(to_plain(point))


def check_of_points(
    state: BenchState, done: Analyse, points: tuple[dict[str, Any], ...], result: CaptureResult, ambient: AirConditions
) -> RigCheck:
    """The check that these points make. Raises CheckRefused when they cannot carry it."""
    match kind_of(done):
        case "sealed":
            return _sealed(state, points)
        case "restrictor":
            return _restrictor(state, points)
        case "volumes":
            return _volumes(state, points)
        case "acceptance":
            return _acceptance(state, from_plain(OrificePoint, points[0]), result, ambient)
        case kind:
            raise CheckRefused(f"No {kind} check can be read from this capture; make the check again.")


def check_of_sweep(state: BenchState, done: Analyse) -> RigCheck:
    """The calibration of both transducers beside a reference gauge. Raises CheckRefused when the readings cannot carry it."""
    setup, paper = state.setup, _paper(state, done)
    gauge = ReferenceGauge(
        str(paper.get("gauge_serial", "")),
        str(paper.get("certificate", "")),
        _date(paper),
        float(paper.get("gauge_u_relative", USUAL_U_GAUGE)),
    )
    u_reading_pa = float(paper.get("gauge_u_pa", USUAL_U_GAUGE_PA))
    highest_pa = max(reading.reference_gauge_pa for reading in done.readings)
    used_to_pa = max(highest_pa, setup.set_pressure_gauge_pa)
    plain = _known(state).uncalibrated()

    def channel(name: Channel, law: ChannelLaw) -> SpanChannel:
        points = tuple(_span_point(law, reading, name, u_reading_pa) for reading in done.readings)
        low, high = setup.transducer_low_gauge_pa, setup.transducer_high_gauge_pa
        span = fit_span(points, low, high, used_to_pa, gauge, law.pa_per_raw)
        return SpanChannel(str(paper.get(f"{name}_serial", "")), points, span)

    kept = SpanKept(
        setup.fingerprint,
        gauge,
        channel("regulated", plain.regulated),
        channel("cylinder", plain.cylinder),
        remark=str(paper.get("remark", "")),
    )
    return _dated(state, kept, passed=True)


def check_of_bore(state: BenchState, bore_m: float, u_bore_m: float, form: BoreForm) -> RigCheck:
    """The restrictor as its bore says; no air is needed. Raises ValueError for a bore that cannot be."""
    fit = restrictor_of_bore(bore_m, form, u_bore_m)
    # a setup may state what the bore would pass as an ideal nozzle, or what it really does
    passed = _near_nominal(state, fit.area_m2) or _near_nominal(state, pi / 4.0 * bore_m**2)
    return _dated(state, RestrictorKept(state.setup.fingerprint, fit.area_m2, fit=fit), passed)


# ---------------------------------------------------------------------- one kind after the other


def _sealed(state: BenchState, points: tuple[dict[str, Any], ...]) -> RigCheck:
    setup, span = state.setup, state.checks.get("span")
    read = tuple(from_plain(SealedPoint, point) for point in points)
    volume_m3 = setup.dead_volume_m3 + setup.hose_volume_m3
    sealed = judge_sealed(read, volume_m3)
    kept = SealedKept(
        setup.fingerprint,
        sealed.own_leak_area_m2,
        sealed.tie_share,
        sealed.p_regulated_gauge_pa,
        sealed,
        read,
        volume_m3,
        span.made_at_unix_s if span is not None and span.passed else None,
    )
    return _dated(state, kept, sealed.passed)


def _restrictor(state: BenchState, points: tuple[dict[str, Any], ...]) -> RigCheck:
    read = tuple(from_plain(OrificePoint, point) for point in points)
    u_tie = _u_tie(state)
    fit = restrictor_of_one_orifice(read[0], u_tie) if len(read) == 1 else restrictor_of_orifices(read, u_tie)
    kept = RestrictorKept(state.setup.fingerprint, fit.area_m2, fit=fit, points=read)
    if len(read) == 1:
        kept = replace(
            kept,
            orifice_area_m2=read[0].orifice.area_m2,
            p_regulated_gauge_pa=read[0].p_regulated_gauge_pa,
            p_cylinder_gauge_pa=read[0].p_cylinder_gauge_pa,
        )
    return _dated(state, kept, fit.fits and _near_nominal(state, fit.area_m2))


def _near_nominal(state: BenchState, area_m2: float) -> bool:
    return abs(area_m2 / state.setup.restrictor_area_m2 - 1.0) <= NOMINAL_SHARE


def _acceptance(state: BenchState, point: OrificePoint, result: CaptureResult, ambient: AirConditions) -> RigCheck:
    """The reference orifice, read as a leak is read, with the restrictor and the tie that the checks gave."""
    regulated_pa, cylinder_pa = point.p_regulated_gauge_pa, point.p_cylinder_gauge_pa
    restrictor = state.restrictor

    def leak_m2(p_cylinder_gauge_pa: float) -> float:
        ambient_pa, t_k = ambient.p_ambient_abs_pa, ambient.t_supply_k
        let_in = restrictor.mass_flow_kg_s(regulated_pa + ambient_pa, p_cylinder_gauge_pa + ambient_pa, t_k)
        return float(let_in / Restrictor(1.0).mass_flow_kg_s(p_cylinder_gauge_pa + ambient_pa, ambient_pa, t_k))

    u_pair_pa = sqrt(2.0 * point.u_p_pa**2 + (_u_tie(state) * cylinder_pa) ** 2)
    per_pa = (leak_m2(cylinder_pa + 50.0) - leak_m2(cylinder_pa - 50.0)) / 100.0
    area = leak_m2(cylinder_pa)
    u_area = sqrt((area * restrictor.u_relative) ** 2 + (per_pa * u_pair_pa) ** 2)
    u_percent = 100.0 * u_pair_pa / regulated_pa
    accepted = accept_reference(point.orifice, area, u_area, result.leakage_percent, u_percent)
    kept = AcceptanceKept(state.setup.fingerprint, point.orifice, accepted, result.leakage_percent, u_percent, area, u_area)
    return _dated(state, kept, accepted.passed)


def _volumes_point(state: BenchState, done: Analyse, result: CaptureResult, ambient: AirConditions) -> dict[str, Any]:
    transducers = _known(state)
    volumes = volumes_of_capture(
        done.columns,
        (transducers.regulated, transducers.cylinder),
        result,
        done.shut_s,
        done.ended_s,
        state.restrictor,
        ambient.p_ambient_abs_pa,
        ambient.t_supply_k,
        "capped" if done.purpose.kind == "sealed" else "orifice",
        (transducers.regulated_channel, transducers.cylinder_channel),
        WANDER_PA,
    )
    return dict(to_plain(volumes))


def _volumes(state: BenchState, points: tuple[dict[str, Any], ...]) -> RigCheck:
    """The hose volume from the capped capture, the dead volume from the one through an orifice."""
    found = [from_plain(Volumes, point) for point in points]
    dead = _best([one.dead_volume for one in found])
    hose = _best([one.hose_volume for one in found])
    reasons = [
        f"{name}: {one.reason}" for name, one in (("dead volume", dead), ("hose volume", hose)) if one.value is None and one.reason
    ]
    kept = VolumesKept(
        state.setup.fingerprint,
        dead.value,
        dead.standard / dead.value if dead.value else 0.0,
        hose.value,
        hose.standard / hose.value if hose.value else 0.0,
        "capture",
        "; ".join(reasons),
    )
    return _dated(state, kept, dead.value is not None and hose.value is not None)


def _best(found: list[Estimate]) -> Estimate:
    known = [one for one in found if one.value is not None]
    return min(known, key=lambda one: one.standard) if known else found[-1]


def _u_tie(state: BenchState) -> float:
    sealed = state.checks.get("sealed")
    found = sealed.result.get("sealed") if sealed is not None and sealed.passed else None
    return float(found["u_tie"]) if isinstance(found, dict) else UNTIED


def _span_point(law: ChannelLaw, reading: GaugeReading, channel: Channel, u_reading_pa: float) -> SpanPoint:
    raw, noise, count = (
        (reading.raw_regulated, reading.raw_noise_regulated, reading.independent_regulated)
        if channel == "regulated"
        else (reading.raw_cylinder, reading.raw_noise_cylinder, reading.independent_cylinder)
    )
    direction: Literal["rising", "falling"] = "rising" if reading.rising else "falling"
    scatter_pa = noise * law.pa_per_raw
    return SpanPoint(reading.reference_gauge_pa, u_reading_pa, float(law.gauge_pa(raw)), scatter_pa, count, direction)


# ---------------------------------------------------------------------- around all of them


def _dated(state: BenchState, kept: CheckKept, passed: bool) -> RigCheck:
    identity = state.session.identity
    if identity is None:
        raise CheckRefused("The rig was lost before the check was read; make the check again.")
    return check_of(kept, state.unix_s, state.who, identity.serial_number, passed)


def _known(state: BenchState) -> Transducers:
    if state.transducers is None:
        raise CaptureUnusable("The rig was lost before the check was read; make the check again.")
    return state.transducers


def _orifice(state: BenchState, done: Analyse) -> Orifice:
    purpose, paper = done.purpose, _paper(state, done)
    certificate = str(paper.get("certificate", ""))
    return Orifice(purpose.orifice_area_m2, purpose.orifice_u_relative, purpose.orifice_serial, certificate, _date(paper))


def _paper(state: BenchState, done: Analyse) -> dict[str, float | str]:
    """What certificates and options say, where this capture belongs to a round."""
    return dict(state.round.paper) if state.round is not None and done.purpose in state.round.purposes else {}


def _date(paper: dict[str, float | str]) -> float | None:
    at = paper.get("certified_at_unix_s")
    return None if at is None else float(at)
