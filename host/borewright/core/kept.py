"""What each check of the rig keeps, typed, with raw points and serial numbers: the content of RigCheck.result by its kind."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from borewright.core.flow import checked
from borewright.core.plain import from_plain, to_plain
from borewright.core.restrictor_fit import Acceptance, Orifice, OrificePoint, RestrictorFit
from borewright.core.rig import CheckKind, RigCheck, TdcMethod
from borewright.core.sealed import Sealed, SealedPoint
from borewright.core.span import ReferenceGauge, Span, SpanPoint, within

__all__ = [
    "RESULTS",
    "AcceptanceKept",
    "CheckKept",
    "RestrictorKept",
    "SealedKept",
    "SpanChannel",
    "SpanKept",
    "TdcKept",
    "VolumesKept",
    "ZeroKept",
    "check_of",
    "kept_of",
]

DAY_S = 86_400.0

# Oldest records lack what has a default.


@dataclass(frozen=True, slots=True)
class ZeroKept:
    """Both channels at vent. setup, here and below: fingerprint of the rig's setup that the check holds for."""

    setup: str
    zero_regulated_pa: float
    zero_cylinder_pa: float
    noise_regulated_pa: float = 0.0
    noise_cylinder_pa: float = 0.0


@dataclass(frozen=True, slots=True)
class SpanChannel:
    """The calibration of one channel: which transducer, its points, and what came of them."""

    transducer_serial: str
    points: tuple[SpanPoint, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class SpanKept:
    """Span calibration of both channels against one reference gauge. remark: text of the person, for the certificate."""

    setup: str
    gauge: ReferenceGauge
    regulated: SpanChannel
    cylinder: SpanChannel
    interval_s: float = 365.0 * DAY_S
    remark: str = ""


@dataclass(frozen=True, slots=True)
class SealedKept:
    """Sealed check. span_made_at_unix_s: of the span calibration in force, None for none: a tie holds for that one only.

    tie_share is that of the channels with their span applied and no tie.
    """

    setup: str
    own_leak_area_m2: float
    tie_share: float
    p_regulated_gauge_pa: float
    sealed: Sealed | None = None
    points: tuple[SealedPoint, ...] = ()
    volume_m3: float | None = None
    span_made_at_unix_s: float | None = None
    interval_s: float | None = None

    def __post_init__(self) -> None:
        within("tie_share", self.tie_share, -0.2, 0.2)


@dataclass(frozen=True, slots=True)
class RestrictorKept:
    """The restrictor, from one orifice or several, or its bore (no points, and the orifice's figures are None)."""

    setup: str
    area_m2: float
    orifice_area_m2: float | None = None
    p_regulated_gauge_pa: float | None = None
    p_cylinder_gauge_pa: float | None = None
    fit: RestrictorFit | None = None
    points: tuple[OrificePoint, ...] = ()
    interval_s: float | None = None

    def __post_init__(self) -> None:
        checked("area_m2", self.area_m2, above=0.0)


@dataclass(frozen=True, slots=True)
class TdcKept:
    """True TDC as TrueTdc has it, for this encoder, mounting and engine. mark: what goes onto results; readings: raw, (before,
    after) counts of each pair, or one count twice. middle_late_deg: by how much an offset pin puts half way between them after TDC,
    taken off already."""

    counts_after_index: float
    reference_cylinder: int
    u_deg: float
    method: TdcMethod
    spread_deg: float
    backlash_deg: float
    counts_per_rev: int
    running_sign: int
    engine: str
    mark: str = ""
    readings: tuple[tuple[float, float], ...] = ()
    index_count: float | None = None
    setup: str = ""
    middle_late_deg: float = 0.0

    def __post_init__(self) -> None:
        if self.counts_per_rev < 4:
            raise ValueError("counts_per_rev: must be at least 4")
        checked("u_deg", self.u_deg, least=0.0)


@dataclass(frozen=True, slots=True)
class VolumesKept:
    """Dead volume and hose volume with relative standard uncertainties; None where the data did not hold them (reason says why)."""

    setup: str
    dead_volume_m3: float | None
    u_dead_volume: float
    hose_volume_m3: float | None
    u_hose_volume: float
    method: Literal["capture", "reference volume", "stated"]
    reason: str = ""
    reference_volume_m3: float | None = None
    interval_s: float | None = None

    def __post_init__(self) -> None:
        for name in ("dead_volume_m3", "hose_volume_m3"):
            if getattr(self, name) is not None:
                within(name, getattr(self, name), 1e-7, 1e-2)


@dataclass(frozen=True, slots=True)
class AcceptanceKept:
    """A reference orifice read by the rig, with the standard uncertainties of the reading."""

    setup: str
    orifice: Orifice
    acceptance: Acceptance
    leakage_percent: float
    u_leakage_percent: float
    leak_area_m2: float
    u_leak_area_m2: float
    interval_s: float | None = None


CheckKept = ZeroKept | SpanKept | SealedKept | RestrictorKept | TdcKept | VolumesKept | AcceptanceKept

RESULTS: dict[CheckKind, type[Any]] = {
    "zero": ZeroKept,
    "span": SpanKept,
    "sealed": SealedKept,
    "restrictor": RestrictorKept,
    "tdc": TdcKept,
    "volumes": VolumesKept,
    "acceptance": AcceptanceKept,
}
"""What RigCheck.result holds, by kind."""

KINDS: tuple[CheckKind, ...] = tuple(RESULTS)


def kept_of(check: RigCheck) -> Any:
    """The typed result of a check, of the class that RESULTS names for its kind.

    Raises ValueError, "key: reason", for what does not fit.
    """
    return from_plain(RESULTS[check.kind], check.result)


def check_of(kept: CheckKept, made_at_unix_s: float, made_by: str, device_serial: str, passed: bool) -> RigCheck:
    """The check that keeps this result.

    >>> check = check_of(ZeroKept("ab", 10.0, -20.0), 1.7e9, "R. Holm", "R-1", True)
    >>> check.kind, check.result["zero_cylinder_pa"], kept_of(check).setup
    ('zero', -20.0, 'ab')
    """
    kind = next(name for name in KINDS if type(kept) is RESULTS[name])
    return RigCheck(kind, made_at_unix_s, made_by, device_serial, passed, to_plain(kept))
