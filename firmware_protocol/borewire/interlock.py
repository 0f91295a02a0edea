"""The device's interlock. Generated from interlock.toml by borewire.generate: change the table, not this file.

>>> TABLE.host_silence_ms
500
"""

from __future__ import annotations

from borewire.interlock_rows import CommandRow, InterlockTable, RefusalRow, WatchRow
from borewire.messages import AirState, Cause, RefusalReason

__all__ = ["TABLE", "CommandRow", "InterlockTable", "RefusalRow", "WatchRow"]

TABLE = InterlockTable(
    version=1,
    power_up_state=AirState.VENTED,
    host_silence_ms=500,
    reaction_ms=20,
    time_limit_max_ms=60000,
    isolate_max_ms=120000,
    close_limit_max_ms=120000,
    sensor_fault_samples=5,
    commands=(
        CommandRow(
            "SupplyOpen",
            (AirState.VENTED, AirState.CLOSED, AirState.OPEN),
            "open",
            Cause.COMMAND_OPEN,
            (
                RefusalRow(
                    RefusalReason.LIMITS_INVALID,
                    (
                        "opening_id == 0 or time_limit_ms outside 1..time_limit_max_ms or window_low_count > window_high_count "
                        "or limit_regulated_raw >= raw_max or limit_cylinder_raw >= raw_max"
                    ),
                ),
                RefusalRow(
                    RefusalReason.NOT_STREAMING,
                    "the sample stream is stopped",
                ),
                RefusalRow(
                    RefusalReason.FAULT_PRESENT,
                    "a pressure channel saturated in each of the last sensor_fault_samples samples",
                ),
                RefusalRow(
                    RefusalReason.OPENING_OVER,
                    "opening_id is that of an opening that has ended, or any opening is isolated, or another one is open",
                ),
                RefusalRow(
                    RefusalReason.OUTSIDE_WINDOW,
                    "crank count outside [window_low_count, window_high_count]",
                ),
                RefusalRow(
                    RefusalReason.OVER_PRESSURE,
                    "a raw word above its limit",
                ),
                RefusalRow(
                    RefusalReason.HOLD_NOT_PRESSED,
                    "a hold switch is fitted and not pressed",
                ),
            ),
        ),
        CommandRow(
            "SupplyShut",
            (AirState.OPEN, AirState.ISOLATED, AirState.VENTED, AirState.CLOSED),
            (
                "isolated when isolate_ms > 0 and the state is open; unchanged when isolate_ms > 0 and the state is isolated or "
                "vented or closed; vented otherwise"
            ),
            Cause.COMMAND_SHUT,
            (
                RefusalRow(
                    RefusalReason.LIMITS_INVALID,
                    "isolate_ms > isolate_max_ms",
                ),
            ),
        ),
        CommandRow(
            "VentOpen",
            (AirState.VENTED, AirState.CLOSED, AirState.OPEN, AirState.ISOLATED),
            "vented",
            Cause.COMMAND_VENT,
            (),
        ),
        CommandRow(
            "VentClose",
            (AirState.VENTED, AirState.CLOSED),
            "closed",
            Cause.COMMAND_CLOSE,
            (
                RefusalRow(
                    RefusalReason.AIR_IS_ON,
                    "the state is open or isolated",
                ),
                RefusalRow(
                    RefusalReason.LIMITS_INVALID,
                    "time_limit_ms outside 1..close_limit_max_ms or limit_cylinder_raw >= raw_max",
                ),
                RefusalRow(
                    RefusalReason.NOT_STREAMING,
                    "the sample stream is stopped",
                ),
                RefusalRow(
                    RefusalReason.FAULT_PRESENT,
                    "a pressure channel saturated in each of the last sensor_fault_samples samples",
                ),
                RefusalRow(
                    RefusalReason.OVER_PRESSURE,
                    "the cylinder's raw word above its limit",
                ),
            ),
        ),
    ),
    watches=(
        WatchRow(
            Cause.CRANK_LEFT_WINDOW,
            (AirState.OPEN, AirState.ISOLATED),
            "crank count outside [window_low_count, window_high_count]",
        ),
        WatchRow(
            Cause.OVER_PRESSURE_REGULATED,
            (AirState.OPEN,),
            "regulated raw word > limit_regulated_raw",
        ),
        WatchRow(
            Cause.OVER_PRESSURE_CYLINDER,
            (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED),
            "cylinder raw word > limit_cylinder_raw",
        ),
        WatchRow(
            Cause.HOLD_RELEASED,
            (AirState.OPEN, AirState.ISOLATED),
            "a hold switch is fitted and released",
        ),
        WatchRow(
            Cause.HOST_SILENT,
            (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED),
            "no good frame from the host for host_silence_ms",
        ),
        WatchRow(
            Cause.TIME_LIMIT,
            (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED),
            "the time limit of the state has passed",
        ),
        WatchRow(
            Cause.SENSOR_FAULT,
            (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED),
            "a pressure channel saturated in each of the last sensor_fault_samples samples",
        ),
        WatchRow(
            Cause.STREAM_STOPPED,
            (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED),
            "the sample stream was stopped",
        ),
    ),
)
