"""What the picture of the piston stop shows: both contacts, the mid-point, the crank as it stands. Without Qt.

Angles are crank degrees after TDC, in the running direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, radians, sin, sqrt
from typing import TYPE_CHECKING

from borewright.core.crank import contacts_apart_count, piston_travel_m, true_tdc_count
from borewright.core.rig import TrueTdc

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.motion import CrankTracker
    from borewright.core.pistonstop import PistonStop

__all__ = ["AS_AN_EXAMPLE_DEG", "ContactLine", "Linkage", "StopModel", "linkage", "stop_model"]

AS_AN_EXAMPLE_DEG = 40.0  # where a contact is drawn while nobody knows yet where it is
WAITING_DEG = -75.0


@dataclass(frozen=True, slots=True)
class Linkage:
    """Where the parts of the crank drive are, as shares of the throw, from the crank's centre: x across, y up along the cylinder.

    pin: of the crank throw; piston: the piston's pin. The running direction is clockwise in the picture.
    """

    pin_x: float
    pin_y: float
    piston_x: float
    piston_y: float


@dataclass(frozen=True, slots=True)
class ContactLine:
    """One contact in words. after_tdc_deg: from the mid-point; None before both sides were touched."""

    number: int
    side: str
    count: float
    after_index_deg: float | None
    after_tdc_deg: float | None


@dataclass(frozen=True, slots=True)
class StopModel:
    """The picture. half_deg: how far from TDC the piston touches; known: as measured, else drawn as an example.

    crank_deg: where the crank stands; late_deg: how far after TDC the middle of the contacts lies, of an offset pin. pairs_deg: how
    far apart the contacts of each pair are. spread_deg: between the TDC of the pairs, None before there are two. result_words: TDC
    with its uncertainty, "" before.
    """

    cylinder: int
    stroke_m: float
    rod_m: float
    bore_m: float
    pin_offset_m: float
    half_deg: float
    late_deg: float
    known: bool
    crank_deg: float
    crank_known: bool
    before_taken: int
    after_taken: int
    pairs_needed: int
    stop_in: bool
    contacts: tuple[ContactLine, ...]
    pairs_deg: tuple[float, ...]
    spread_deg: float | None
    spread_limit_deg: float
    result_words: str

    @property
    def contacts_at_deg(self) -> tuple[float, float]:
        """The two angles at which the piston touches, before and after TDC."""
        return self.late_deg - self.half_deg, self.late_deg + self.half_deg

    @property
    def words(self) -> str:
        """What the picture shows, in one sentence."""
        if not self.contacts:
            return "Drawn as an example: nothing has been touched yet."
        if not self.known:
            return "Drawn as an example until both sides have been touched."
        return f"TDC lies half way between the contacts; the crank stands {self.crank_deg:+.1f}° from it."


def linkage(crank_deg: float, stroke_m: float, rod_m: float, pin_offset_m: float = 0.0) -> Linkage:
    """The crank drive at an angle after TDC.

    >>> top = linkage(0.0, 0.086, 0.143)
    >>> top.pin_y, round(top.piston_y - linkage(180.0, 0.086, 0.143).piston_y, 9)
    (1.0, 2.0)
    """
    throw = stroke_m / 2.0
    at = radians(crank_deg) + asin(pin_offset_m / (rod_m + throw))
    top_m = sqrt((rod_m + throw) ** 2 - pin_offset_m**2)
    travel_m = float(piston_travel_m(crank_deg, stroke_m, rod_m, pin_offset_m))
    return Linkage(sin(at), cos(at), pin_offset_m / throw, (top_m - travel_m) / throw)


def stop_model(stop: PistonStop, engine: Engine, crank: CrankTracker | None) -> StopModel:
    """The picture of the procedure as far as it has come."""
    counts = stop.counts_per_rev
    pairs, late = stop.pairs, stop.middles_late_deg
    apart_deg = tuple(contacts_apart_count(before, after, counts, stop.running_sign) / counts * 360.0 for before, after in pairs)
    tdc_count = true_tdc_count(pairs, counts, stop.running_sign, late)[0] if pairs else None
    index_count = crank.index_count if crank is not None else None
    crank_deg, crank_known = _crank_deg(stop, tdc_count, crank)
    return StopModel(
        cylinder=stop.cylinder,
        stroke_m=engine.stroke_m,
        rod_m=engine.rod_m,
        bore_m=engine.bore_m,
        pin_offset_m=engine.pin_offset_m,
        half_deg=sum(apart_deg) / len(apart_deg) / 2.0 if apart_deg else AS_AN_EXAMPLE_DEG,
        late_deg=sum(late) / len(late) if late else 0.0,
        known=bool(apart_deg),
        crank_deg=crank_deg,
        crank_known=crank_known,
        before_taken=sum(contact.side == "before" for contact in stop.contacts),
        after_taken=sum(contact.side == "after" for contact in stop.contacts),
        pairs_needed=stop.limits.stop_pairs,
        stop_in=not stop.stop_removed,
        contacts=tuple(
            ContactLine(
                number,
                contact.side,
                contact.count,
                None if index_count is None else _after_deg(stop, contact.count, index_count) % 360.0,
                None if tdc_count is None else _half_turn(_after_deg(stop, contact.count, tdc_count)),
            )
            for number, contact in enumerate(stop.contacts, 1)
        ),
        pairs_deg=apart_deg,
        spread_deg=stop.spread_deg if len(pairs) > 1 else None,
        spread_limit_deg=stop.limits.stop_spread_deg,
        result_words=_result_words(stop, index_count),
    )


def _crank_deg(stop: PistonStop, tdc_count: float | None, crank: CrankTracker | None) -> tuple[float, bool]:
    """Where the crank stands. From one contact on it is followed as if that were where contacts are drawn as an example."""
    if crank is None or crank.last_count is None or not stop.contacts:
        return WAITING_DEG, False
    if tdc_count is not None:
        return _half_turn(_after_deg(stop, crank.last_count, tdc_count)), True
    first = stop.contacts[0]
    at_deg = -AS_AN_EXAMPLE_DEG if first.side == "before" else AS_AN_EXAMPLE_DEG
    return _half_turn(at_deg + _after_deg(stop, crank.last_count, first.count)), False


def _after_deg(stop: PistonStop, count: float, origin_count: float) -> float:
    return stop.running_sign * (count - origin_count) / stop.counts_per_rev * 360.0


def _half_turn(degrees: float) -> float:
    return (degrees + 180.0) % 360.0 - 180.0


def _result_words(stop: PistonStop, index_count: int | None) -> str:
    """TDC and its uncertainty once the pairs agree; they do not change any more when the stop comes out."""
    if not stop.enough:
        return ""
    found = stop.stop_out().result(0 if index_count is None else index_count)
    if not isinstance(found, TrueTdc):
        return ""
    u_words = f"±{2.0 * found.u_deg:.2f}° (k = 2)"
    if index_count is None:
        return f"TDC of cylinder {stop.cylinder} is known to {u_words}; the index pulse has not been seen yet"
    return f"TDC of cylinder {stop.cylinder}: {found.counts_after_index:.1f} counts after the index pulse, {u_words}"
