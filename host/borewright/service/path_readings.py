"""What a cylinder's tests and findings give the sharing of its leak: readings with places stopped, flows at places.

Only readings of one kind go together: one rig, one restrictor, one pressure, one temperature. Leaks change with pressure, so a
stop-off at reduced pressure is held against a plain reading at that pressure, and a flow against readings with as much in the
cylinder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import hypot
from statistics import mean
from typing import TYPE_CHECKING, Any

from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.shares import PlaceFlow, StopReading
from borewright.core.stop_passing import place_flow, share_passing
from borewright.service.repeated_tests import NEW_IN_EACH_TEST, kept_budgets

if TYPE_CHECKING:
    from borewright.store.records import CaptureRecord, FindingRecord

__all__ = ["PathReadings", "area_of", "comparable", "readings_of", "usable"]

SAME_PRESSURE = 1.05  # as for repeats
SAME_RESTRICTOR = 1.02
SAME_T_K = 15.0
SAME_P_CYLINDER = 1.1  # project: over a tenth of the pressure a leak changes by less than readings scatter
U_WITHOUT_BUDGET = 0.01  # project: a record without budgets is as good as a usual reading
AMBIENT_PA = 101_325.0


@dataclass(frozen=True, slots=True)
class PathReadings:
    """What goes together. readings: of areas with places stopped, also with none; flows: at places. tests: the captures' numbers.

    p_regulated_gauge_pa, p_cylinder_gauge_pa: of the readings, None without any. left_out: what does not go with the others, a
    sentence each.
    """

    readings: tuple[StopReading, ...] = ()
    flows: tuple[PlaceFlow, ...] = ()
    tests: tuple[int, ...] = ()
    p_regulated_gauge_pa: float | None = None
    p_cylinder_gauge_pa: float | None = None
    left_out: tuple[str, ...] = ()

    @property
    def tells_places(self) -> bool:
        """Whether any place has been stopped or its flow measured."""
        return bool(self.flows) or any(reading.stopped for reading in self.readings)

    @property
    def whole_area_m2(self) -> float | None:
        """Mean leak area with nothing stopped; None where it was not read."""
        plain = [reading.leak_area_m2 for reading in self.readings if not reading.stopped]
        return mean(plain) if plain else None


@dataclass(slots=True)
class _Group:
    """Captures of one kind; the first one says which."""

    captures: list[CaptureRecord] = field(default_factory=list)
    flows: list[FindingRecord] = field(default_factory=list)

    @property
    def p_cylinder_gauge_pa(self) -> float:
        plain = [capture for capture in self.captures if not stopped_in(capture)] or self.captures
        return mean(float((capture.result or {})["p_cylinder_gauge_pa"]) for capture in plain)

    @property
    def telling(self) -> int:
        """How many of its readings tell of places."""
        return sum(bool(stopped_in(capture)) for capture in self.captures) + len(self.flows)

    @property
    def rank(self) -> tuple[bool, int, int]:
        """Whether it tells of places and has a reading to hold that against, how much it tells, how new it is."""
        whole = any(not stopped_in(capture) for capture in self.captures)
        return whole and self.telling > 0, self.telling, max(capture.id for capture in self.captures)


def usable(capture: CaptureRecord) -> bool:
    """Whether a capture was measured to its end and holds a leak area; a declared one was not measured here."""
    result = capture.result or {}
    numbers = ("leak_area_mm2", "p_regulated_gauge_pa", "p_cylinder_gauge_pa")
    complete = capture.state == "complete" and capture.deleted_at_unix_s is None and capture.device_serial != ""
    return complete and all(result.get(key) is not None for key in numbers)


def comparable(first: CaptureRecord, capture: CaptureRecord) -> bool:
    """Whether two captures are of one rig, restrictor, pressure and temperature; what is not known is not held against them."""
    pressures = [(one.result or {}).get("p_regulated_gauge_pa") for one in (first, capture)]
    t_k = [float(one.laws["t_engine_k"]) for one in (first, capture) if one.laws.get("t_engine_k") is not None]
    return (
        first.device_serial == capture.device_serial
        and _near(first.laws.get("restrictor_area_m2"), capture.laws.get("restrictor_area_m2"), SAME_RESTRICTOR)
        and _near(pressures[0], pressures[1], SAME_PRESSURE)
        and (len(t_k) < 2 or abs(t_k[0] - t_k[1]) <= SAME_T_K)
    )


def stopped_in(capture: CaptureRecord) -> frozenset[str]:
    """The places that were stopped in a capture."""
    return frozenset(str(place) for place in (capture.laws.get("purpose") or {}).get("stopped") or ())


def area_of(capture: CaptureRecord) -> tuple[float, float]:
    """Leak area in m² and the standard uncertainty that is new in each test. Raises StoreError for a budget that cannot be read."""
    budget = kept_budgets(capture).get("leak area")
    if budget is None:
        area_m2 = float((capture.result or {})["leak_area_mm2"]) * 1e-6
        return area_m2, U_WITHOUT_BUDGET * abs(area_m2)
    own = hypot(*(item.contribution for item in budget.items if item.name in NEW_IN_EACH_TEST))
    return budget.value * 1e-6, (own if budget.items else U_WITHOUT_BUDGET * abs(budget.value)) * 1e-6


def readings_of(captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord], way_round: str = "") -> PathReadings:
    """What the captures and findings of one cylinder at one stage give.

    way_round: the other cylinders' valves that stand open now, in words; air that gets over there leaves by them too, so that an
    orifice at the plug hole does not see all of it. Raises StoreError for a budget that cannot be read.
    """
    groups: list[_Group] = []
    for capture in captures:
        if capture.purpose in ("test", "stop_off") and usable(capture):
            found = next((group for group in groups if comparable(group.captures[0], capture)), None)
            if found is None:
                groups.append(found := _Group())
            found.captures.append(capture)
    by_id = {capture.id: capture for capture in captures}
    left_out = []
    for finding in findings:
        if finding.kind == "flow" and finding.place is not None and (why := _put(finding, groups, by_id, way_round)):
            left_out.append(why)
    if not groups:
        return PathReadings(left_out=tuple(left_out))
    best = max(groups, key=lambda group: group.rank)
    left_out += [_apart(group) for group in groups if group is not best and group.telling]
    return PathReadings(
        readings=tuple(_reading(capture, findings) for capture in best.captures),
        flows=tuple(_flow(finding, by_id) for finding in best.flows),
        tests=tuple(capture.id for capture in best.captures),
        p_regulated_gauge_pa=mean(float((capture.result or {})["p_regulated_gauge_pa"]) for capture in best.captures),
        p_cylinder_gauge_pa=best.p_cylinder_gauge_pa,
        left_out=tuple(left_out),
    )


def _put(finding: FindingRecord, groups: Sequence[_Group], by_id: dict[int, CaptureRecord], way_round: str) -> str | None:
    """Put a flow to the readings that it goes with, or say why it goes with none."""
    at = f"the flow measured at {str(finding.place).replace('_', ' ')}"
    capture = by_id.get(finding.capture_id or 0)
    if finding.capture_id is not None and (capture is None or capture.state != "complete"):
        return f"{at} was left out: its test was broken off"
    try:
        flow = _flow(finding, by_id)
    except (ValueError, TypeError) as error:
        return f"{at} was left out: {error}"
    if finding.place in OTHER_CYLINDERS and way_round:
        least = f"at least {flow.leak_area_m2 * 1e6:.2f} mm² leaks there"
        return f"{at} was left out: {least}, and more may go round by {way_round}"
    p_cylinder = float(finding.detail["p_cylinder_gauge_pa"])
    fitting = [group for group in groups if _near(group.p_cylinder_gauge_pa, p_cylinder, SAME_P_CYLINDER)]
    if not fitting:
        return f"{at} was left out: no reading with nothing stopped was taken at {p_cylinder / 1000.0:.0f} kPa in the cylinder"
    max(fitting, key=lambda group: group.rank).flows.append(finding)
    return None


def _apart(group: _Group) -> str:
    p_pa = float((group.captures[0].result or {})["p_regulated_gauge_pa"])
    numbers = ", ".join(str(capture.id) for capture in group.captures)
    return f"test {numbers} at {p_pa / 1000.0:.0f} kPa was left out: its rig, restrictor, pressure or temperature is another one"


def _reading(capture: CaptureRecord, findings: Sequence[FindingRecord]) -> StopReading:
    area_m2, u_area_m2 = area_of(capture)
    stopped = stopped_in(capture)
    ambient = float(capture.laws.get("p_ambient_abs_pa") or AMBIENT_PA)
    p_cylinder = ambient + float((capture.result or {})["p_cylinder_gauge_pa"])
    passing = {
        finding.place: share_passing(p_cylinder, ambient + float(finding.detail["p_place_gauge_pa"]), ambient)
        for finding in findings  # the later one counts
        if finding.kind == "stop_gauge"
        and finding.capture_id == capture.id
        and finding.place in stopped
        and finding.place is not None
    }
    return StopReading(stopped, area_m2, u_area_m2, passing)


def _flow(finding: FindingRecord, by_id: dict[int, CaptureRecord]) -> PlaceFlow:
    capture = by_id.get(finding.capture_id or 0)
    laws: dict[str, Any] = {} if capture is None else dict(capture.laws)
    t_k = float(laws.get("t_engine_k") or 293.15)  # what leaves the chamber has the walls' temperature
    ambient = float(laws.get("p_ambient_abs_pa") or AMBIENT_PA)
    return place_flow(str(finding.place), finding.detail, p_ambient_abs_pa=ambient, t_place_k=t_k, t_cylinder_k=t_k)


def _near(one: Any, other: Any, factor: float) -> bool:
    """Within a factor; what is not known is not held against it."""
    if one is None or other is None:
        return True
    return max(float(one), float(other)) <= factor * min(float(one), float(other))
