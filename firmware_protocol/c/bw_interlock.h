/* The device's interlock as a table. GENERATED from interlock.toml by borewire.generate: change the table, not this.
 *
 * The lists are in the order of the table, in which a device must look for refusals and watches. Each takes the name of
 * a macro and gives it one row after the other, so that a firmware which makes a call of each row,
 *
 *     #define LOOK(REASON, name) if (refuses_##name()) { return BW_REFUSAL_REASON_##REASON; }
 *     BW_REFUSALS_SUPPLY_OPEN(LOOK)
 *
 * does not compile as long as it has no function for a row. There are numbers here and no functions. */
#ifndef BW_INTERLOCK_H
#define BW_INTERLOCK_H

#include "bw_messages.h"

#define BW_HOST_SILENCE_MS 500u
#define BW_REACTION_MS 20u
#define BW_TIME_LIMIT_MAX_MS 60000u
#define BW_ISOLATE_MAX_MS 120000u
#define BW_CLOSE_LIMIT_MAX_MS 120000u
#define BW_SENSOR_FAULT_SAMPLES 5u

#define BW_AIR_AT_POWER_UP BW_AIR_STATE_VENTED

/* Sets of states. */
#define BW_IN_CLOSED (1u << BW_AIR_STATE_CLOSED)
#define BW_IN_ISOLATED (1u << BW_AIR_STATE_ISOLATED)
#define BW_IN_OPEN (1u << BW_AIR_STATE_OPEN)
#define BW_IN_VENTED (1u << BW_AIR_STATE_VENTED)

/* SupplyOpen: next state and what refuses it.
 *   to open
 *   limits_invalid: opening_id == 0 or time_limit_ms outside 1..time_limit_max_ms or window_low_count >
 *       window_high_count or limit_regulated_raw >= raw_max or limit_cylinder_raw >= raw_max
 *   not_streaming: the sample stream is stopped
 *   fault_present: a pressure channel saturated in each of the last sensor_fault_samples samples
 *   opening_over: opening_id is that of an opening that has ended, or any opening is isolated, or another one is
 *       open
 *   outside_window: crank count outside [window_low_count, window_high_count]
 *   over_pressure: a raw word above its limit
 *   hold_not_pressed: a hold switch is fitted and not pressed */
#define BW_SUPPLY_OPEN_ALLOWED_IN (BW_IN_VENTED | BW_IN_CLOSED | BW_IN_OPEN)
#define BW_SUPPLY_OPEN_CAUSE BW_CAUSE_COMMAND_OPEN
#define BW_REFUSALS_SUPPLY_OPEN(ROW) \
    ROW(LIMITS_INVALID, limits_invalid) \
    ROW(NOT_STREAMING, not_streaming) \
    ROW(FAULT_PRESENT, fault_present) \
    ROW(OPENING_OVER, opening_over) \
    ROW(OUTSIDE_WINDOW, outside_window) \
    ROW(OVER_PRESSURE, over_pressure) \
    ROW(HOLD_NOT_PRESSED, hold_not_pressed)

/* SupplyShut: next state and what refuses it.
 *   to isolated when isolate_ms > 0 and the state is open; unchanged when isolate_ms > 0 and the state is isolated
 *       or vented or closed; vented otherwise
 *   limits_invalid: isolate_ms > isolate_max_ms */
#define BW_SUPPLY_SHUT_ALLOWED_IN (BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_VENTED | BW_IN_CLOSED)
#define BW_SUPPLY_SHUT_CAUSE BW_CAUSE_COMMAND_SHUT
#define BW_REFUSALS_SUPPLY_SHUT(ROW) \
    ROW(LIMITS_INVALID, limits_invalid)

/* VentOpen: next state and what refuses it.
 *   to vented */
#define BW_VENT_OPEN_ALLOWED_IN (BW_IN_VENTED | BW_IN_CLOSED | BW_IN_OPEN | BW_IN_ISOLATED)
#define BW_VENT_OPEN_CAUSE BW_CAUSE_COMMAND_VENT

/* VentClose: next state and what refuses it.
 *   to closed
 *   air_is_on: the state is open or isolated
 *   limits_invalid: time_limit_ms outside 1..close_limit_max_ms or limit_cylinder_raw >= raw_max
 *   not_streaming: the sample stream is stopped
 *   fault_present: a pressure channel saturated in each of the last sensor_fault_samples samples
 *   over_pressure: the cylinder's raw word above its limit */
#define BW_VENT_CLOSE_ALLOWED_IN (BW_IN_VENTED | BW_IN_CLOSED)
#define BW_VENT_CLOSE_CAUSE BW_CAUSE_COMMAND_CLOSE
#define BW_REFUSALS_VENT_CLOSE(ROW) \
    ROW(AIR_IS_ON, air_is_on) \
    ROW(LIMITS_INVALID, limits_invalid) \
    ROW(NOT_STREAMING, not_streaming) \
    ROW(FAULT_PRESENT, fault_present) \
    ROW(OVER_PRESSURE, over_pressure)

/* What shuts the supply and opens the vent by itself: cause, name, states in which it is looked for.
 *   crank_left_window: crank count outside [window_low_count, window_high_count]
 *   over_pressure_regulated: regulated raw word > limit_regulated_raw
 *   over_pressure_cylinder: cylinder raw word > limit_cylinder_raw
 *   hold_released: a hold switch is fitted and released
 *   host_silent: no good frame from the host for host_silence_ms
 *   time_limit: the time limit of the state has passed
 *   sensor_fault: a pressure channel saturated in each of the last sensor_fault_samples samples
 *   stream_stopped: the sample stream was stopped */
#define BW_WATCHES(ROW) \
    ROW(CRANK_LEFT_WINDOW, crank_left_window, BW_IN_OPEN | BW_IN_ISOLATED) \
    ROW(OVER_PRESSURE_REGULATED, over_pressure_regulated, BW_IN_OPEN) \
    ROW(OVER_PRESSURE_CYLINDER, over_pressure_cylinder, BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_CLOSED) \
    ROW(HOLD_RELEASED, hold_released, BW_IN_OPEN | BW_IN_ISOLATED) \
    ROW(HOST_SILENT, host_silent, BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_CLOSED) \
    ROW(TIME_LIMIT, time_limit, BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_CLOSED) \
    ROW(SENSOR_FAULT, sensor_fault, BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_CLOSED) \
    ROW(STREAM_STOPPED, stream_stopped, BW_IN_OPEN | BW_IN_ISOLATED | BW_IN_CLOSED)

#endif
