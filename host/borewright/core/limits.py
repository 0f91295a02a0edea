"""The limits that the host holds the rig and the person to, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Limits"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of readiness and of the procedures that lead to it. Plain SI; angles in crank degrees.

    "Project" marks a decision of this project, "common practice" what the trade does without a source that could be named.

    >>> Limits().waivable <= {"sealed", "restrictor"}
    True
    """

    # link
    quiet_link_s: float = 0.5  # project: no gap or fault for so long; the device shuts after the same silence

    # rig
    zero_pa: float = 2_000.0  # project: zero-corrected reading at vent, 0.2 % of a 1000 kPa range
    zero_moved_pa: float = 1_000.0  # project: half of that; ten times the drift that the budget allows for, so marked
    zero_age_s: float = 12 * 3600.0  # project: once a working day, and looked at again before every opening
    sealed_age_s: float = 30 * 86400.0  # common practice: monthly
    restrictor_age_s: float = 90 * 86400.0  # common practice: every quarter
    waivable: frozenset[str] = frozenset({"sealed", "restrictor"})  # may be marked instead of done; nothing else ever

    # reference
    index_tolerance_count: int = 2  # project: an index pulse is one or two edges wide
    squeeze_peak_late_deg: float = 1.0  # project: air leaks and cools, so an honest peak is never late

    # piston stop
    contacts_apart_min_deg: float = 20.0  # project: nearer to TDC the piston hardly moves
    contacts_apart_max_deg: float = 120.0  # project: farther away the stop is too long to be safe
    stop_pairs: int = 2  # project
    stop_spread_deg: float = 0.5  # project: a third of the position window

    # stroke and hose
    squeeze_vent_fraction: float = 0.6  # project: of the cylinder side's rated pressure

    # position
    window_deg: float = 1.5  # project: within 1.71 deg of TDC a piston of 86 mm stroke moves less than 0.025 mm
    recovery_deg: float = 180.0  # AC 43.13-1B para 8-14: overshot, back up at least half a turn

    # still
    still_count: int = 1  # project
    still_s: float = 1.0  # project

    # air
    vented_gauge_pa: float = 5_000.0  # project: under this the cylinder counts as vented
    seen_gauge_pa: float = 15_000.0  # project: more than noise, drift and an unzeroed transducer show at vent
    opening_s: float = 1.0  # project: regulated pressure in range within this time of the opening

    # people
    confirmed_s: float = 600.0  # project
    confirmed_crank_deg: float = 2.0  # project

    # the opening
    ready_s: float = 10.0  # project: ready is good for one opening within this time
    puff_s: float = 0.2  # project
    watch_s: float = 1.0  # project
    hold_renewal_s: float = 60.0  # project
