"""The simulated device's interlock: the rows come from `borewire.interlock.TABLE`, what a row means is written here once.

Time is in device ticks that do not wrap. Nothing here knows the plant or the wire.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from borewire.interlock import TABLE
from borewire.messages import AirState, Cause, RefusalReason, SupplyOpen, SupplyShut, VentClose, VentOpen

__all__ = ["AirCommand", "Interlock", "Moment", "Scans"]

AirCommand = SupplyOpen | SupplyShut | VentOpen | VentClose


@dataclass(frozen=True, slots=True)
class Moment:
    """What the device knows at one scan: tick, crank count, raw words of both pressures, the hold switch, whether it streams."""

    tick: int
    crank_count: int
    regulated_raw: int
    cylinder_raw: int
    hold_pressed: bool
    streaming: bool


@dataclass(slots=True, eq=False)
class Scans:
    """n scans after one another, one each `step_ticks`. crank_count int64[n], raw uint16[2, n] (regulated, cylinder).

    raw_low and raw_high are the extremes of each channel, which answer most questions at once.
    """

    first_tick: int
    step_ticks: int
    crank_count: npt.NDArray[np.int64]
    raw: npt.NDArray[np.uint16]
    hold_pressed: bool
    streaming: bool
    raw_low: list[int] = field(init=False)
    raw_high: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.raw_low = np.minimum.reduce(self.raw, axis=1).tolist()
        self.raw_high = np.maximum.reduce(self.raw, axis=1).tolist()

    def __len__(self) -> int:
        return int(self.crank_count.shape[0])

    @property
    def last_tick(self) -> int:
        """Tick of the last scan."""
        return self.first_tick + (len(self) - 1) * self.step_ticks

    def first_from(self, tick: int) -> int | None:
        """The first scan at or after a tick, None when all come before it."""
        index = max(0, -((self.first_tick - tick) // self.step_ticks))
        return index if index < len(self) else None

    def moment(self, index: int = -1) -> Moment:
        """What the device knows at one of the scans."""
        at = range(len(self))[index]
        return Moment(
            self.first_tick + at * self.step_ticks,
            int(self.crank_count[at]),
            int(self.raw[0, at]),
            int(self.raw[1, at]),
            self.hold_pressed,
            self.streaming,
        )


@dataclass(slots=True)
class _Limits:
    deadline_tick: int = 0
    window_low_count: int = 0
    window_high_count: int = 0
    regulated_raw: int = 0
    cylinder_raw: int = 0


class Interlock:
    """One device's interlock: state, the limits in force, the openings that are over.

    valves: both valves are fitted; without them the state is no_valves for good. hold_fitted: a hold-to-run switch is fitted.
    raw_min, raw_max: at or beyond these a converter is saturated. tick_rate_hz: ticks in a second.
    `command` decides on a command, `first_trip` looks for the first scan at which the table demands shut and vent.
    """

    def __init__(self, *, valves: bool, hold_fitted: bool, raw_min: int, raw_max: int, tick_rate_hz: int) -> None:
        self.valves = valves
        self.hold_fitted = hold_fitted
        self.raw_min = raw_min
        self.raw_max = raw_max
        self.ticks_per_ms = tick_rate_hz // 1000
        self.state = TABLE.power_up_state if valves else AirState.NO_VALVES
        self.opening_id = 0
        self.limits = _Limits()
        self.ended: set[int] = set()
        self.heard_tick = 0
        self.saturated_scans = [0, 0]

    @property
    def supply_open(self) -> bool:
        """Whether the supply valve is driven open."""
        return self.state is AirState.OPEN

    @property
    def vent_open(self) -> bool:
        """Whether the vent valve is driven open (left unpowered)."""
        return self.state is AirState.VENTED

    @property
    def watching(self) -> bool:
        """Whether any watch can trip in this state."""
        return bool(_WATCHES_IN[self.state])

    @property
    def next_deadline_tick(self) -> int | None:
        """The tick at which a watch on time would trip, None when no state with such a watch is on."""
        if not self.watching:
            return None
        return min(self.limits.deadline_tick, self.heard_tick + TABLE.host_silence_ms * self.ticks_per_ms)

    def command(self, message: AirCommand, now: Moment) -> RefusalReason | Cause:
        """Carry out a command or refuse it.

        Returns the reason of the refusal (nothing has changed then), or the cause that the change is told with.
        """
        if not self.valves:
            return RefusalReason.NO_VALVES
        row = TABLE.command(type(message).__name__)
        for refusal in row.refuse:
            if _REFUSALS[row.command, refusal.reason](self, message, now):
                return refusal.reason
        _CARRY_OUT[row.command](self, message, now)
        return row.cause

    def trip(self) -> None:
        """Shut and vent."""
        if self.state in (AirState.OPEN, AirState.ISOLATED):
            self.ended.add(self.opening_id)
        self.state = AirState.VENTED

    def first_trip(self, scans: Scans) -> tuple[int, Cause] | None:
        """The first scan at which a watch of the table holds, and its cause; of several the first row. None when all is well."""
        first: tuple[int, Cause] | None = None
        for row in _WATCHES_IN[self.state]:
            index = _WATCHES[row.cause](self, scans)
            if index is not None and (first is None or index < first[0]):
                first = (index, row.cause)
        return first

    def note_scans(self, scans: Scans) -> None:
        """Remember what the next scans need of these: for how many scans on end each converter has been saturated."""
        if self.saturates(scans):
            self.saturated_scans = [runs[-1] if runs else 0 for runs in self._saturated_runs(scans)]
        else:
            self.saturated_scans = [0, 0]

    def saturates(self, scans: Scans) -> bool:
        """Whether a converter is saturated at any of the scans."""
        return min(scans.raw_low) <= self.raw_min or max(scans.raw_high) >= self.raw_max

    def new_faults(self, scans: Scans) -> list[tuple[int, int]]:
        """Where a converter has just become saturated for too long: pairs of scan and channel."""
        if not self.saturates(scans):
            return []
        return [
            (runs.index(TABLE.sensor_fault_samples), channel)
            for channel, runs in enumerate(self._saturated_runs(scans))
            if TABLE.sensor_fault_samples in runs
        ]

    def saturated_at(self, scans: Scans, at: int) -> bool:
        """Whether a converter is saturated at one of the scans."""
        return any(not self.raw_min < raw < self.raw_max for raw in scans.raw[:, at].tolist())

    def _saturates(self, scans: Scans) -> list[bool]:
        """Whether each converter is saturated at any of the scans."""
        return [low <= self.raw_min or high >= self.raw_max for low, high in zip(scans.raw_low, scans.raw_high, strict=True)]

    def _saturated_runs(self, scans: Scans) -> list[list[int]]:
        """For how many scans on end each converter has been saturated, at each scan; empty where it is at none of them."""
        return [
            self._runs(channel, scans.raw[channel]) if saturates else [] for channel, saturates in enumerate(self._saturates(scans))
        ]

    def _runs(self, channel: int, raw: npt.NDArray[np.uint16]) -> list[int]:
        run = self.saturated_scans[channel]
        runs: list[int] = []
        for saturated in ((raw >= self.raw_max) | (raw <= self.raw_min)).tolist():
            run = run + 1 if saturated else 0
            runs.append(run)
        return runs

    # ------------------------------------------------------------------ what the rows of refusals mean

    def _open_limits_invalid(self, message: SupplyOpen, _now: Moment) -> bool:
        return (
            message.opening_id == 0
            or not 1 <= message.time_limit_ms <= TABLE.time_limit_max_ms
            or message.window_low_count > message.window_high_count
            or message.limit_regulated_raw >= self.raw_max
            or message.limit_cylinder_raw >= self.raw_max
        )

    def _opening_over(self, message: SupplyOpen, _now: Moment) -> bool:
        if message.opening_id in self.ended or self.state is AirState.ISOLATED:
            return True
        return self.state is AirState.OPEN and message.opening_id != self.opening_id

    def _open_outside_window(self, message: SupplyOpen, now: Moment) -> bool:
        return not message.window_low_count <= now.crank_count <= message.window_high_count

    def _open_over_pressure(self, message: SupplyOpen, now: Moment) -> bool:
        return now.regulated_raw > message.limit_regulated_raw or now.cylinder_raw > message.limit_cylinder_raw

    def _hold_not_pressed(self, _message: SupplyOpen, now: Moment) -> bool:
        return self.hold_fitted and not now.hold_pressed

    def _sensor_is_faulty(self, _message: SupplyOpen | VentClose, _now: Moment) -> bool:
        return max(self.saturated_scans) >= TABLE.sensor_fault_samples

    def _not_streaming(self, _message: SupplyOpen | VentClose, now: Moment) -> bool:
        return not now.streaming

    def _isolate_invalid(self, message: SupplyShut, _now: Moment) -> bool:
        return message.isolate_ms > TABLE.isolate_max_ms

    def _air_is_on(self, _message: VentClose, _now: Moment) -> bool:
        return self.state in (AirState.OPEN, AirState.ISOLATED)

    def _close_limits_invalid(self, message: VentClose, _now: Moment) -> bool:
        return not 1 <= message.time_limit_ms <= TABLE.close_limit_max_ms or message.limit_cylinder_raw >= self.raw_max

    def _close_over_pressure(self, message: VentClose, now: Moment) -> bool:
        return now.cylinder_raw > message.limit_cylinder_raw

    # ------------------------------------------------------------------ what the commands do

    def _open(self, message: SupplyOpen, now: Moment) -> None:
        self.state = AirState.OPEN
        self.opening_id = message.opening_id
        self.limits = _Limits(
            now.tick + message.time_limit_ms * self.ticks_per_ms,
            message.window_low_count,
            message.window_high_count,
            message.limit_regulated_raw,
            message.limit_cylinder_raw,
        )

    def _shut(self, message: SupplyShut, now: Moment) -> None:
        if message.isolate_ms == 0:
            self.trip()
        elif self.state is AirState.OPEN:
            self.state = AirState.ISOLATED
            self.limits.deadline_tick = now.tick + message.isolate_ms * self.ticks_per_ms

    def _vent(self, _message: VentOpen, _now: Moment) -> None:
        self.trip()

    def _close(self, message: VentClose, now: Moment) -> None:
        self.state = AirState.CLOSED
        self.limits = _Limits(now.tick + message.time_limit_ms * self.ticks_per_ms, cylinder_raw=message.limit_cylinder_raw)

    # ------------------------------------------------------------------ what the watches mean

    def _outside_window(self, scans: Scans) -> int | None:
        low, high = self.limits.window_low_count, self.limits.window_high_count
        if low <= np.minimum.reduce(scans.crank_count) and np.maximum.reduce(scans.crank_count) <= high:
            return None
        return int(np.argmax((scans.crank_count < low) | (scans.crank_count > high)))

    def _over_regulated(self, scans: Scans) -> int | None:
        return self._first_above(scans, 0, self.limits.regulated_raw)

    def _over_cylinder(self, scans: Scans) -> int | None:
        return self._first_above(scans, 1, self.limits.cylinder_raw)

    @staticmethod
    def _first_above(scans: Scans, channel: int, limit: int) -> int | None:
        return int(np.argmax(scans.raw[channel] > limit)) if scans.raw_high[channel] > limit else None

    def _hold_released(self, scans: Scans) -> int | None:
        return 0 if self.hold_fitted and not scans.hold_pressed else None

    def _host_silent(self, scans: Scans) -> int | None:
        return scans.first_from(self.heard_tick + TABLE.host_silence_ms * self.ticks_per_ms)

    def _time_is_up(self, scans: Scans) -> int | None:
        return scans.first_from(self.limits.deadline_tick)

    def _sensor_fault(self, scans: Scans) -> int | None:
        if not self.saturates(scans):
            return None
        return min(
            (at for runs in self._saturated_runs(scans) for at, run in enumerate(runs) if run >= TABLE.sensor_fault_samples),
            default=None,
        )

    def _stream_stopped(self, scans: Scans) -> int | None:
        return None if scans.streaming else 0


_REFUSALS: dict[tuple[str, RefusalReason], Callable[..., bool]] = {
    ("SupplyOpen", RefusalReason.LIMITS_INVALID): Interlock._open_limits_invalid,
    ("SupplyOpen", RefusalReason.NOT_STREAMING): Interlock._not_streaming,
    ("SupplyOpen", RefusalReason.FAULT_PRESENT): Interlock._sensor_is_faulty,
    ("SupplyOpen", RefusalReason.OPENING_OVER): Interlock._opening_over,
    ("SupplyOpen", RefusalReason.OUTSIDE_WINDOW): Interlock._open_outside_window,
    ("SupplyOpen", RefusalReason.OVER_PRESSURE): Interlock._open_over_pressure,
    ("SupplyOpen", RefusalReason.HOLD_NOT_PRESSED): Interlock._hold_not_pressed,
    ("SupplyShut", RefusalReason.LIMITS_INVALID): Interlock._isolate_invalid,
    ("VentClose", RefusalReason.AIR_IS_ON): Interlock._air_is_on,
    ("VentClose", RefusalReason.LIMITS_INVALID): Interlock._close_limits_invalid,
    ("VentClose", RefusalReason.NOT_STREAMING): Interlock._not_streaming,
    ("VentClose", RefusalReason.FAULT_PRESENT): Interlock._sensor_is_faulty,
    ("VentClose", RefusalReason.OVER_PRESSURE): Interlock._close_over_pressure,
}
_CARRY_OUT: dict[str, Callable[..., None]] = {
    "SupplyOpen": Interlock._open,
    "SupplyShut": Interlock._shut,
    "VentOpen": Interlock._vent,
    "VentClose": Interlock._close,
}
_WATCHES: dict[Cause, Callable[[Interlock, Scans], int | None]] = {
    Cause.CRANK_LEFT_WINDOW: Interlock._outside_window,
    Cause.OVER_PRESSURE_REGULATED: Interlock._over_regulated,
    Cause.OVER_PRESSURE_CYLINDER: Interlock._over_cylinder,
    Cause.HOLD_RELEASED: Interlock._hold_released,
    Cause.HOST_SILENT: Interlock._host_silent,
    Cause.TIME_LIMIT: Interlock._time_is_up,
    Cause.SENSOR_FAULT: Interlock._sensor_fault,
    Cause.STREAM_STOPPED: Interlock._stream_stopped,
}
_WATCHES_IN = {state: TABLE.watches_in(state) for state in AirState}
