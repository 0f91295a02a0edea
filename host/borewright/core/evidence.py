"""Evidence for stroke and hose: which TDC is the compression one, and that the hose is in this cylinder.

Where the squeeze is judged see core.squeeze; here is what it leaves behind, how it is carried through the firing order, and when a
later squeeze contradicts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.engine import Engine
from borewright.core.squeeze import SqueezeVerdict, SqueezeWatch, vent_noise_pa

__all__ = [
    "HoseEvidence",
    "SqueezeVerdict",
    "SqueezeWatch",
    "StrokeEvidence",
    "carry_over",
    "contradicts",
    "hose_from_squeeze",
    "may_be_carried",
    "nearest_compression_tdc",
    "stroke_from_squeeze",
    "vent_noise_pa",
]


@dataclass(frozen=True, slots=True)
class StrokeEvidence:
    """The compression TDC of a cylinder lies at tdc_count, and every whole cycle from there.

    kind: squeeze, cam (its signal), carried (by count through the firing order), declared (by said_by). boot_id: of the device
    whose counts these are. at_s: when, in device time. either_tdc: the valves did not open, so that one TDC of this cylinder is as
    good as the other and nothing is said about the stroke of any other cylinder.
    """

    kind: Literal["squeeze", "cam", "carried", "declared"]
    cylinder: int
    tdc_count: float
    boot_id: int
    at_s: float
    said_by: str = ""
    either_tdc: bool = False


@dataclass(frozen=True, slots=True)
class HoseEvidence:
    """The hose is in this cylinder.

    kind: squeeze (rise and fall in step), puff_read_back, declared. shared_with: cylinders that a squeeze cannot tell from this one
    because they move in step. read_back: the person looked which hole it is.
    """

    kind: Literal["squeeze", "puff_read_back", "declared"]
    cylinder: int
    boot_id: int
    at_s: float
    read_back: bool = False
    shared_with: tuple[int, ...] = ()
    said_by: str = ""

    @property
    def needs_read_back(self) -> bool:
        """True when the squeeze alone does not show it.

        >>> HoseEvidence("squeeze", 2, 1, 0.0).needs_read_back, HoseEvidence("squeeze", 1, 1, 0.0, shared_with=(4,)).needs_read_back
        (False, True)
        """
        return self.kind == "puff_read_back" or bool(self.shared_with)


def nearest_compression_tdc(evidence: StrokeEvidence, near_count: float, engine: Engine, counts_per_rev: int) -> float:
    """The count of the cylinder's compression TDC that is nearest to near_count.

    >>> one = Engine("demo", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6)
    >>> nearest_compression_tdc(StrokeEvidence("squeeze", 1, 100.0, 1, 0.0), 3000, one, 1440)
    2980.0
    """
    cycle_count = counts_per_rev * engine.cycle_deg / 360.0
    return evidence.tdc_count + cycle_count * round((near_count - evidence.tdc_count) / cycle_count)


def carry_over(
    evidence: StrokeEvidence, engine: Engine, to_cylinder: int, counts_per_rev: int, running_sign: Literal[1, -1] = 1
) -> StrokeEvidence:
    """The same evidence for another cylinder, by count through the firing order; for the same cylinder it stays what it is.

    Stroke only: nothing is said about the hose. Raises ValueError when the engine has no such cylinder.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> carry_over(StrokeEvidence("squeeze", 1, 100.0, 1, 0.0), four, 4, 1440).tdc_count
    1540.0
    """
    between_deg = engine.firing_angle_deg(to_cylinder) - engine.firing_angle_deg(evidence.cylinder)
    if to_cylinder == evidence.cylinder:
        return evidence
    tdc_count = evidence.tdc_count + running_sign * between_deg % engine.cycle_deg * counts_per_rev / 360.0
    kind: Literal["carried", "declared"] = "declared" if evidence.kind == "declared" else "carried"
    return StrokeEvidence(kind, to_cylinder, tdc_count, evidence.boot_id, evidence.at_s, evidence.said_by, evidence.either_tdc)


def may_be_carried(evidence: StrokeEvidence, engine: Engine, to_cylinder: int) -> bool:
    """Whether the evidence says anything about the stroke of that cylinder.

    It does not where the squeeze rose at both TDCs although valves are fitted: then the phase of the others is unknown.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> [may_be_carried(StrokeEvidence("squeeze", 1, 100.0, 1, 0.0, either_tdc=both), four, 3) for both in (False, True)]
    [True, False]
    """
    same = evidence.cylinder == to_cylinder
    return same or not evidence.either_tdc or engine.cycle == "two-stroke" or engine.valve_gear == "not_fitted"


def stroke_from_squeeze(verdict: SqueezeVerdict, cylinder: int, boot_id: int, at_s: float) -> StrokeEvidence | None:
    """What a verdict says about the stroke: nothing unless it shows where compression is.

    Where it rises at both the valves do not move, and either TDC will do: the caller says so to the person.
    """
    if verdict.tdc_count is None or verdict.kind not in ("compression_here", "overlap_here", "rises_at_both"):
        return None
    return StrokeEvidence("squeeze", cylinder, verdict.tdc_count, boot_id, at_s, either_tdc=verdict.kind == "rises_at_both")


def hose_from_squeeze(verdict: SqueezeVerdict, cylinder: int, boot_id: int, at_s: float) -> HoseEvidence | None:
    """What a verdict says about the hose: nothing unless the rise and fall is in step with this cylinder."""
    if cylinder not in verdict.cylinders or verdict.kind not in ("compression_here", "overlap_here", "rises_at_both"):
        return None
    others = tuple(other for other in verdict.cylinders if other != cylinder)
    return HoseEvidence("squeeze", cylinder, boot_id, at_s, shared_with=others)


def contradicts(
    verdict: SqueezeVerdict,
    evidence: StrokeEvidence,
    engine: Engine,
    cylinder: int,
    counts_per_rev: int,
    running_sign: Literal[1, -1] = 1,
) -> bool:
    """True when a squeeze in `cylinder` shows compression where the evidence held so far, carried over to it, shows overlap.

    Then either the phase is wrong or a hose is in another hole than was said, and all evidence has to be dropped.
    """
    if verdict.tdc_count is None or not verdict.compression or engine.cycle != "four-stroke":
        return False
    held = carry_over(evidence, engine, cylinder, counts_per_rev, running_sign)
    off = nearest_compression_tdc(held, verdict.tdc_count, engine, counts_per_rev) - verdict.tdc_count
    return abs(off) > counts_per_rev / 2.0
