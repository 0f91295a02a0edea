"""All that is known of one rig by its checks: how old each is, the laws they correct, and the instrument that follows from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import sqrt

from borewright.core.instrument import Instrument
from borewright.core.kept import DAY_S, RestrictorKept, SealedKept, SpanKept, VolumesKept, kept_of
from borewright.core.limits import Limits
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw, CheckKind, RigCheck, RigSetup
from borewright.core.sealed import ONE_PRESSURE_TIE
from borewright.core.span import Span

__all__ = ["Calibration", "calibrated_laws", "calibration_of", "instrument_of", "interval_s"]

_UNKNOWN = Instrument(Restrictor(1e-6))  # what an instrument is taken for where nothing is known
DEFAULT_INTERVAL_S: dict[CheckKind, float | None] = {
    "zero": Limits().zero_age_s,
    "sealed": Limits().sealed_age_s,
    "restrictor": Limits().restrictor_age_s,
    "span": 365.0 * DAY_S,  # common practice: yearly, as is the reference gauge's own certificate
    "volumes": 365.0 * DAY_S,  # project: a volume changes when a hose does, and that is another setup
    "acceptance": DAY_S,  # the same day
    "tdc": None,  # holds for one fitting of the encoder, whatever its age
}
GAUGE_INTERVAL_S = 365.0 * DAY_S
U_UNTIED = 0.002  # project: two transducers of 0.15 % each, never tied
U_RESTRICTOR_UNCHECKED = 0.10  # a bore passes 0.81 to 1 of the ideal nozzle when well made, 0.56 when sharp (Weisbach)
U_RESTRICTOR_PLAIN = 0.015  # one orifice without a certificate on record
CLOCK_SLACK_S = 3600.0
NEEDED: tuple[CheckKind, ...] = ("span", "sealed", "restrictor")
NOUNS: dict[CheckKind, str] = {
    "zero": "the zero",
    "span": "the span calibration",
    "sealed": "the sealed check",
    "restrictor": "the restrictor check",
    "tdc": "true TDC",
    "volumes": "the volumes",
    "acceptance": "the reading of the reference orifice",
}


# ---------------------------------------------------------------- the calibration as one thing


@dataclass(frozen=True, slots=True)
class Calibration:
    """One rig: its device, its setup, and the newest check of each kind, passed or not, with raw points and serial numbers."""

    device_serial: str
    setup: RigSetup
    checks: tuple[RigCheck, ...]

    @property
    def by_kind(self) -> dict[str, RigCheck]:
        """The checks by their kind."""
        return {check.kind: check for check in self.checks}

    def due(self, now_unix_s: float) -> tuple[str, ...]:
        """What is overdue at this time (seconds since 1970), or was never done, one sentence each."""
        found = self.by_kind
        words = [f"{NOUNS[kind]} was never made" for kind in NEEDED if kind not in found]
        for check in self.checks:
            overdue = _overdue(check, now_unix_s)
            if overdue:
                words.append(overdue)
        span = found.get("span")
        if span is not None:
            gauge = kept_of(span).gauge
            if gauge.certified_at_unix_s is not None and now_unix_s > gauge.certified_at_unix_s + GAUGE_INTERVAL_S:
                days = (now_unix_s - gauge.certified_at_unix_s) / DAY_S
                words.append(f"the certificate of reference gauge {gauge.serial_number} is {days:.0f} days old")
        return tuple(words)


def calibration_of(device_serial: str, setup: RigSetup, checks: Iterable[RigCheck]) -> Calibration:
    """The newest check of each kind of this device and, where a check belongs to a setup, of this setup."""
    newest: dict[str, RigCheck] = {}
    for check in sorted(checks, key=lambda check: check.made_at_unix_s):
        if check.device_serial == device_serial and _holds_for(check, setup):
            newest[check.kind] = check
    return Calibration(device_serial, setup, tuple(newest.values()))


def _holds_for(check: RigCheck, setup: RigSetup) -> bool:
    return check.kind == "tdc" or check.result.get("setup") == setup.fingerprint


def interval_s(check: RigCheck) -> float | None:
    """How long a check holds; None: for as long as what it was made with stays as it is."""
    stated = check.result.get("interval_s")
    return float(stated) if isinstance(stated, int | float) else DEFAULT_INTERVAL_S[check.kind]


def _overdue(check: RigCheck, now_unix_s: float) -> str | None:
    noun = NOUNS[check.kind]
    if not check.passed:
        return f"{noun} did not pass"
    holds_s = interval_s(check)
    age_s = now_unix_s - check.made_at_unix_s
    if age_s < -CLOCK_SLACK_S:
        return f"{noun} is dated in the future; look at the clock"
    if holds_s is None or age_s <= holds_s:
        return None
    return f"{noun} is {_time(age_s)} old, where {_time(holds_s)} are allowed"


def _time(seconds: float) -> str:
    return f"{seconds / 3600.0:.0f} hours" if seconds < 2.0 * DAY_S else f"{seconds / DAY_S:.0f} days"


# ---------------------------------------------------------------- what it means for a reading


def calibrated_laws(
    regulated: ChannelLaw, cylinder: ChannelLaw, checks: Mapping[str, RigCheck], tie: bool = True
) -> tuple[ChannelLaw, ChannelLaw]:
    """The laws as device and setup give them (gain 1), corrected by the span calibration and, with tie, by the sealed check.

    A sealed check is read with tie=False, because its tie replaces the one before. Zeros are carried over by the gain's change;
    checks that did not pass correct nothing.
    """
    span = _passed(checks, "span")
    if span is not None:
        kept: SpanKept = kept_of(span)
        regulated, cylinder = kept.regulated.span.applied_to(regulated), kept.cylinder.span.applied_to(cylinder)
    sealed = _tie_of(checks) if tie else None
    if sealed is not None:
        share = 1.0 / (1.0 + sealed.tie_share)
        cylinder = replace(cylinder, gain=cylinder.gain * share, zero_pa=cylinder.zero_pa * share, bow_pa=cylinder.bow_pa * share)
    return regulated, cylinder


def _passed(checks: Mapping[str, RigCheck], kind: str) -> RigCheck | None:
    check = checks.get(kind)
    return check if check is not None and check.passed else None


def _tie_of(checks: Mapping[str, RigCheck]) -> SealedKept | None:
    """The sealed check whose tie holds: it passed, and was read with the span calibration that is in force."""
    sealed, span = _passed(checks, "sealed"), _passed(checks, "span")
    if sealed is None:
        return None
    kept: SealedKept = kept_of(sealed)
    return kept if kept.span_made_at_unix_s == (span.made_at_unix_s if span is not None else None) else None


def instrument_of(
    setup: RigSetup,
    checks: Mapping[str, RigCheck],
    p_ambient_abs_pa: float,
    t_supply_k: float,
    t_cylinder_k: float | None = None,
    *,
    now_unix_s: float | None = None,
    u_p_ambient_pa: float = 100.0,
    u_t_supply_k: float = 1.5,
    u_t_cylinder_k: float = 2.0,
    resolution_pa: float = 305.0,
    converter_pa: float = 0.0,
) -> tuple[Instrument, tuple[str, ...]]:
    """The best that is known of the rig, and marks that say what was assumed or is overdue (now_unix_s None: age is not looked at).

    checks: the newest of each kind, of this device and setup; the laws must be those of `calibrated_laws` with the same checks.
    t_cylinder_k None: the same as the supply. u_*: standard uncertainties; resolution_pa: one raw step; converter_pa: half-width of
    the converter's own non-linearity.

    >>> instrument, marks = instrument_of(RigSetup(), {}, 101_325.0, 293.15)
    >>> instrument.restrictor.u_relative, marks[0]
    (0.1, 'assumed: the span of the transducers, never calibrated')
    """
    marks: list[str] = []
    u_gain, bow_pa = _span_known(checks, marks)
    u_tie = _tie_known(checks, marks)
    restrictor = _restrictor_known(setup, checks, marks)
    dead, u_dead, hose, u_hose = _volumes_known(setup, checks, marks)
    if now_unix_s is not None:
        kinds = ("span", "sealed", "restrictor", "volumes")
        late = (_overdue(checks[kind], now_unix_s) for kind in kinds if _passed(checks, kind) is not None)
        marks.extend(f"overdue: {words}" for words in late if words)
    instrument = Instrument(
        restrictor=restrictor,
        p_ambient_abs_pa=p_ambient_abs_pa,
        u_p_ambient_pa=u_p_ambient_pa,
        t_supply_k=t_supply_k,
        u_t_supply_k=u_t_supply_k,
        t_cylinder_k=t_supply_k if t_cylinder_k is None else t_cylinder_k,
        u_t_cylinder_k=u_t_cylinder_k,
        dead_volume_m3=dead,
        u_dead_volume=u_dead,
        hose_volume_m3=hose,
        u_hose_volume=u_hose,
        range_pa=setup.transducer_high_gauge_pa - setup.transducer_low_gauge_pa,
        u_gain=u_gain,
        u_tie=u_tie,
        bow_pa=bow_pa,
        converter_pa=converter_pa,
        resolution_pa=resolution_pa,
    )
    return instrument, tuple(marks)


def _span_known(checks: Mapping[str, RigCheck], marks: list[str]) -> tuple[float, float]:
    """(u_gain, bow_pa). Tied, both channels follow the regulated one, so its calibration is theirs."""
    span = _passed(checks, "span")
    if span is None:
        marks.append("assumed: the span of the transducers, never calibrated")
        return _UNKNOWN.u_gain, _UNKNOWN.bow_pa
    of: Span = kept_of(span).regulated.span
    return of.u_gain_left, of.bow_left_pa if of.bow_shown else min(of.bow_left_pa, _UNKNOWN.bow_pa)


def _tie_known(checks: Mapping[str, RigCheck], marks: list[str]) -> float:
    tie = _tie_of(checks)
    if tie is None:
        span = _passed(checks, "span")
        if span is not None:
            kept: SpanKept = kept_of(span)
            marks.append("assumed: the transducers agree as far as each one's calibration says; no sealed check ties them since")
            return sqrt(kept.regulated.span.u_gain**2 + kept.cylinder.span.u_gain**2)
        marks.append("assumed: how far the transducers differ; no sealed check ties them")
        return U_UNTIED
    if tie.sealed is None:
        marks.append("the transducers are tied at one pressure only")
        return sqrt(ONE_PRESSURE_TIE**2 + 2.0 * (_UNKNOWN.u_zero_pa / max(tie.p_regulated_gauge_pa, 1.0)) ** 2)
    if tie.sealed.pressures == 1:
        marks.append("the transducers are tied at one pressure only")
    return tie.sealed.u_tie


def _restrictor_known(setup: RigSetup, checks: Mapping[str, RigCheck], marks: list[str]) -> Restrictor:
    check = _passed(checks, "restrictor")
    if check is None:
        marks.append("assumed: the restrictor's area, from the rig's setup; never checked by an orifice")
        return Restrictor(setup.restrictor_area_m2, u_relative=U_RESTRICTOR_UNCHECKED)
    kept: RestrictorKept = kept_of(check)
    if kept.fit is None:
        marks.append("the restrictor was checked by one orifice without a certificate on record")
        return Restrictor(kept.area_m2, u_relative=U_RESTRICTOR_PLAIN)
    if kept.fit.remark:
        marks.append(kept.fit.remark)
    return kept.fit.restrictor


def _volumes_known(setup: RigSetup, checks: Mapping[str, RigCheck], marks: list[str]) -> tuple[float, float, float, float]:
    """Dead and hose volume with relative uncertainties: measured where that is better than what the setup states."""
    check = _passed(checks, "volumes")
    kept: VolumesKept | None = kept_of(check) if check is not None else None
    stated = (setup.dead_volume_m3, _UNKNOWN.u_dead_volume), (setup.hose_volume_m3, _UNKNOWN.u_hose_volume)
    if kept is None:
        return *stated[0], *stated[1]
    dead = _better("dead volume", stated[0], (kept.dead_volume_m3, kept.u_dead_volume), marks)
    hose = _better("hose volume", stated[1], (kept.hose_volume_m3, kept.u_hose_volume), marks)
    return *dead, *hose


def _better(noun: str, stated: tuple[float, float], measured: tuple[float | None, float], marks: list[str]) -> tuple[float, float]:
    value, u = measured
    if value is None:
        return stated
    if abs(value - stated[0]) > 3.0 * sqrt((value * u) ** 2 + (stated[0] * stated[1]) ** 2):
        marks.append(f"the {noun} was measured as {value * 1e6:.1f} cm³, where the rig's setup states {stated[0] * 1e6:.1f} cm³")
        return value, u
    return (value, u) if u < stated[1] else stated
