"""The bench's state: everything that the program knows at one moment. Immutable; the reducer makes the next one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf
from typing import Any, Literal

from borewire.messages import AirState, Fitted

from borewright.core.channel_watch import ChannelWatch
from borewright.core.conditions import Condition
from borewright.core.engine import Engine
from borewright.core.evidence import HoseEvidence, SqueezeVerdict, SqueezeWatch, StrokeEvidence
from borewright.core.limits import Limits
from borewright.core.live import LiveCapture
from borewright.core.motion import CrankTracker
from borewright.core.pistonstop import PistonStop
from borewright.core.plain import from_plain
from borewright.core.readiness import Readiness
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import RestrictorFit
from borewright.core.rig import RigCheck, RigSetup, TrueTdc
from borewright.core.samples import SampleColumns
from borewright.core.stopping import highest_supply_gauge_pa
from borewright.service.acts import FitPlaces, PlaceHose, Purpose
from borewright.service.place_state import Oil, PlaceReading
from borewright.service.readings import GaugeReading
from borewright.service.rounds import Round
from borewright.service.tdc_way import TdcWay
from borewright.service.transducers import Transducers
from borewright.session.session import Session

__all__ = ["BenchState", "Capturing", "Confirmed", "Opening", "Reading", "ZeroTaking"]

LEAST_REGULATOR_MARGIN_PA = 20_000.0  # a regulator is not set finer than this by its own gauge


@dataclass(frozen=True, slots=True)
class Reading:
    """The latest pressures, zero-corrected: means over the last samples, and the highest single sample of either."""

    t_s: float
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    p_highest_gauge_pa: float


@dataclass(frozen=True, slots=True)
class Opening:
    """One opening of the supply: its number on the wire, its crank window in counts, when it began and was last renewed.

    opened: the device has said that its supply is open.
    """

    opening_id: int
    low_count: int
    high_count: int
    began_s: float
    renewed_s: float
    opened: bool = False


@dataclass(frozen=True, slots=True)
class Capturing:
    """A capture in progress.

    conditions: as they were at the opening. parts: all samples so far; unkept: those that have not gone to the record yet.
    settled: the reading was steady and the supply is to be shut. shut_s: when it was, for the decay; shut_said: by the person's
    word. ended_s: since when only the venting is left. readings: of the reference gauge, in a sweep. place_gauge_due: the gauges at
    the places are to be read now; place_readings: what those showed that have been. rise_seen: which side rises first is known.
    """

    purpose: Purpose
    conditions: tuple[Condition, ...]
    parts: tuple[SampleColumns, ...]
    unkept: tuple[SampleColumns, ...]
    live: LiveCapture
    began_s: float
    ended_s: float | None = None
    void_reason: str | None = None
    settled: bool = False
    shut_s: float | None = None
    shut_said: bool = False
    readings: tuple[GaugeReading, ...] = ()
    place_gauge_due: bool = False
    place_readings: tuple[PlaceReading, ...] = ()
    rise_seen: bool = False


@dataclass(frozen=True, slots=True)
class ZeroTaking:
    """The zero check in progress: samples at vent so far."""

    parts: tuple[SampleColumns, ...] = ()


@dataclass(frozen=True, slots=True)
class Confirmed:
    """What the people confirmed, when (device time) and at which crank count."""

    points: frozenset[str]
    at_s: float
    crank_count: int
    farthest_count: int = 0  # how far the crank has been from there since


@dataclass(frozen=True)
class BenchState:
    """Everything known at one moment. Times are device seconds; angles crank degrees in the running direction.

    Without slots, for `changed`.
    """

    session: Session
    setup: RigSetup = field(default_factory=RigSetup)
    limits: Limits = field(default_factory=Limits)
    who: str = ""
    engine: Engine | None = None
    purpose: Purpose = field(default_factory=lambda: Purpose("sealed"))
    transducers: Transducers | None = None
    checks: dict[str, RigCheck] = field(default_factory=dict)
    unix_minus_device_s: float = 0.0
    crank: CrankTracker | None = None
    tdc: TrueTdc | None = None
    readiness: Readiness = field(default_factory=Readiness)
    conditions: tuple[Condition, ...] = ()
    hose: PlaceHose | None = None
    squeeze: SqueezeWatch | None = None
    squeeze_relieved: bool = False
    squeeze_highest_pa: float = 0.0  # of the cylinder pressure since the vent was closed
    vent_alarmed: bool = False
    serial: str | None = None
    stroke: StrokeEvidence | None = None
    hose_evidence: HoseEvidence | None = None
    carry_stroke: bool = False  # by count from a cylinder that was squeezed; else each is squeezed
    holding_torque_nm: float | None = None
    confirmed: Confirmed | None = None
    reading: Reading | None = None
    recent: tuple[SampleColumns, ...] = ()
    channels: ChannelWatch | None = None
    channels_while: Literal["vented", "air"] = "vented"  # under which the channels have been followed
    channel_told: bool = False  # that one cannot be read while the pressure is let off
    trouble_s: float | None = None
    regulated_leaks_in: bool = False
    supply_leaked: bool = False  # seen in a squeeze; until another one, or the zeros, show nothing of it
    proven_gauge_pa: float | None = None
    regulator_said_gauge_pa: float | None = None
    round: Round | None = None
    cautions_confirmed: frozenset[str] = frozenset()  # of the purpose that is set
    fitted: FitPlaces | None = None  # None: nobody has said anything of the places yet
    oil: Oil | None = None
    spare_zero_pa: float = 0.0  # of the spare channel, at the last vent
    spare_gauge_pa: float | None = None
    fitting_confirmed: bool = False
    peak_late_deg: float | None = None
    verdict: SqueezeVerdict | None = None
    check_valve: SqueezeVerdict | None = None  # what named it; until somebody has looked, whatever the purpose and the cylinder
    squeeze_held: bool = False  # one was named, and no squeeze since was seen to fall
    torque_window_deg: float | None = None
    countdown_until_s: float | None = None
    state_since_s: float = 0.0
    vented_since_s: float = 0.0  # when pressure was last seen to be gone
    device_air: AirState | None = None
    opening: Opening | None = None
    opening_number: int = 0
    hold_asked: bool = False
    capture: Capturing | None = None
    zero: ZeroTaking | None = None
    stop: PistonStop | None = None
    tdc_way: TdcWay | None = None
    lost: str | None = None

    def changed(self, changes: Mapping[str, Any]) -> BenchState:
        """The state with these fields changed: what dataclasses.replace gives, a dozen times quicker.

        It happens a dozen times a read, and there are many fields. Raises TypeError for a field that there is none of.
        """
        if not changes.keys() <= self.__dict__.keys():
            raise TypeError(f"BenchState has no {', '.join(sorted(changes.keys() - self.__dict__.keys()))}")
        state = object.__new__(BenchState)
        state.__dict__.update(self.__dict__)
        state.__dict__.update(changes)
        return state

    @property
    def now_s(self) -> float:
        """Device time of the latest sample, 0 before the first."""
        return 0.0 if self.reading is None else self.reading.t_s

    @property
    def restrictor_area_m2(self) -> float:
        """As the last restrictor check that passed found it, else as the rig's setup says."""
        check = self.checks.get("restrictor")
        return float(check.result["area_m2"]) if check is not None and check.passed else self.setup.restrictor_area_m2

    @property
    def restrictor(self) -> Restrictor:
        """The restrictor's flow, as the last check that passed found it, else as an ideal nozzle of the setup's area."""
        check = self.checks.get("restrictor")
        fit = check.result.get("fit") if check is not None and check.passed else None
        return Restrictor(self.restrictor_area_m2) if fit is None else from_plain(RestrictorFit, fit).restrictor

    @property
    def regulated_range_gauge_pa(self) -> tuple[float, float]:
        """Between which pressures the regulated one has to lie with air on, for the purpose that is set.

        It follows the pressure that is asked for; the upper end is never above the setup's, nor with places stopped above what the
        weakest of them allows. In a sweep any pressure up to there may be set.
        """
        setup, asked = self.setup, self.purpose.asked_gauge_pa
        if self.purpose.aim == "span":
            return 0.0, setup.regulated_high_gauge_pa
        if asked is None:
            return setup.regulated_low_gauge_pa, setup.regulated_high_gauge_pa
        share = asked / setup.set_pressure_gauge_pa
        below = max(share * (setup.set_pressure_gauge_pa - setup.regulated_low_gauge_pa), LEAST_REGULATOR_MARGIN_PA)
        above = max(share * (setup.regulated_high_gauge_pa - setup.set_pressure_gauge_pa), LEAST_REGULATOR_MARGIN_PA)
        return asked - below, min(asked + above, setup.regulated_high_gauge_pa, self._allowed_by_stops_gauge_pa)

    @property
    def _allowed_by_stops_gauge_pa(self) -> float:
        if self.engine is None or not self.purpose.stopped:
            return inf
        return highest_supply_gauge_pa(self.engine, self.purpose.stopped)

    @property
    def unix_s(self) -> float:
        """Seconds since 1970 at the latest sample, for the dates of checks."""
        return self.unix_minus_device_s + self.now_s

    @property
    def has_valves(self) -> bool:
        """True when the device drives the supply and the vent."""
        return self.readiness.valves

    @property
    def has_hold_switch(self) -> bool:
        """True when a hold-to-run switch is fitted: pressing it is the deliberate act, letting go shuts and vents."""
        return self.session.identity is not None and Fitted.HOLD_SWITCH in self.session.identity.fitted

    @property
    def pressurised(self) -> bool:
        """PRESSURISED, do not turn or undo: air was let in or seen and has not been seen gone."""
        return self.readiness.pressurised
