/* The interlock's commands and what refuses them. Everything here runs in the main loop. */
#include <string.h>

#include "air.h"
#include "air_change.h"

#define REMEMBERED 16u

/* Openings that have ended, besides the last one, which is air_shared.opening_id. Main loop only. */
static uint16_t ended[REMEMBERED];
static uint8_t ended_next;

void air_commands_start(void)
{
    memset(ended, 0, sizeof ended);
    ended_next = 0;
}

static void remember(uint16_t opening_id)
{
    ended[ended_next] = opening_id;
    ended_next = (uint8_t)(ended_next + 1u) % REMEMBERED;
}

static bool is_remembered(uint16_t opening_id)
{
    for (uint8_t i = 0; i < REMEMBERED; i++) {
        if (ended[i] == opening_id) {
            return true;
        }
    }
    return false;
}

/* ---- the refusals: one function for each row of each command ---- */

typedef const struct bw_supply_open *supply_open_t;
typedef const struct bw_supply_shut *supply_shut_t;
typedef const struct bw_vent_close *vent_close_t;
typedef const struct air_seen *seen_t;

static bool supply_open_limits_invalid(supply_open_t message, seen_t seen)
{
    (void)seen;
    return message->opening_id == 0 || message->time_limit_ms == 0 || message->time_limit_ms > BW_TIME_LIMIT_MAX_MS ||
           message->window_low_count > message->window_high_count || message->limit_regulated_raw >= HAL_RAW_MAX ||
           message->limit_cylinder_raw >= HAL_RAW_MAX;
}

static bool supply_open_not_streaming(supply_open_t message, seen_t seen)
{
    (void)message;
    return !seen->streaming;
}

static bool supply_open_fault_present(supply_open_t message, seen_t seen)
{
    (void)message;
    return seen->sensor_fault;
}

static bool supply_open_opening_over(supply_open_t message, seen_t seen)
{
    bool present = seen->state == BW_AIR_STATE_OPEN || seen->state == BW_AIR_STATE_ISOLATED;
    if (present) {
        return seen->state == BW_AIR_STATE_ISOLATED || message->opening_id != seen->opening_id;
    }
    return message->opening_id == seen->opening_id || is_remembered(message->opening_id);
}

static bool supply_open_outside_window(supply_open_t message, seen_t seen)
{
    return seen->crank_count < message->window_low_count || seen->crank_count > message->window_high_count;
}

static bool supply_open_over_pressure(supply_open_t message, seen_t seen)
{
    return seen->regulated_raw > message->limit_regulated_raw || seen->cylinder_raw > message->limit_cylinder_raw;
}

static bool supply_open_hold_not_pressed(supply_open_t message, seen_t seen)
{
    (void)message;
    return HAL_HOLD_FITTED && !seen->hold_pressed;
}

static bool supply_shut_limits_invalid(supply_shut_t message, seen_t seen)
{
    (void)seen;
    return message->isolate_ms > BW_ISOLATE_MAX_MS;
}

static bool vent_close_air_is_on(vent_close_t message, seen_t seen)
{
    (void)message;
    return seen->state == BW_AIR_STATE_OPEN || seen->state == BW_AIR_STATE_ISOLATED;
}

static bool vent_close_limits_invalid(vent_close_t message, seen_t seen)
{
    (void)seen;
    return message->time_limit_ms == 0 || message->time_limit_ms > BW_CLOSE_LIMIT_MAX_MS ||
           message->limit_cylinder_raw >= HAL_RAW_MAX;
}

static bool vent_close_not_streaming(vent_close_t message, seen_t seen)
{
    (void)message;
    return !seen->streaming;
}

static bool vent_close_fault_present(vent_close_t message, seen_t seen)
{
    (void)message;
    return seen->sensor_fault;
}

static bool vent_close_over_pressure(vent_close_t message, seen_t seen)
{
    return seen->cylinder_raw > message->limit_cylinder_raw;
}

/* The rows of a command, in the order of the table, return from here. */
#define REFUSE_SUPPLY_OPEN(REASON, name) \
    if (supply_open_##name(message, seen)) { \
        return BW_REFUSAL_REASON_##REASON; \
    }
#define REFUSE_SUPPLY_SHUT(REASON, name) \
    if (supply_shut_##name(message, seen)) { \
        return BW_REFUSAL_REASON_##REASON; \
    }
#define REFUSE_VENT_CLOSE(REASON, name) \
    if (vent_close_##name(message, seen)) { \
        return BW_REFUSAL_REASON_##REASON; \
    }

static uint8_t refusal_of_supply_open(supply_open_t message, seen_t seen)
{
    BW_REFUSALS_SUPPLY_OPEN(REFUSE_SUPPLY_OPEN)
    return AIR_NOT_REFUSED;
}

static uint8_t refusal_of_supply_shut(supply_shut_t message, seen_t seen)
{
    BW_REFUSALS_SUPPLY_SHUT(REFUSE_SUPPLY_SHUT)
    return AIR_NOT_REFUSED;
}

static uint8_t refusal_of_vent_close(vent_close_t message, seen_t seen)
{
    BW_REFUSALS_VENT_CLOSE(REFUSE_VENT_CLOSE)
    return AIR_NOT_REFUSED;
}

/* ---- the commands ---- */

/* From which states each of them works is written into the code of this file: it must be what the table says. */
#define AS_IN_THE_TABLE(name, states, table) typedef char name##_as_in_the_table[(states) == (table) ? 1 : -1]
AS_IN_THE_TABLE(supply_open, BW_IN_VENTED | BW_IN_CLOSED | BW_IN_OPEN, BW_SUPPLY_OPEN_ALLOWED_IN);
AS_IN_THE_TABLE(supply_shut, BW_IN_VENTED | BW_IN_CLOSED | BW_IN_OPEN | BW_IN_ISOLATED, BW_SUPPLY_SHUT_ALLOWED_IN);
AS_IN_THE_TABLE(vent_open, BW_IN_VENTED | BW_IN_CLOSED | BW_IN_OPEN | BW_IN_ISOLATED, BW_VENT_OPEN_ALLOWED_IN);
AS_IN_THE_TABLE(vent_close, BW_IN_VENTED | BW_IN_CLOSED, BW_VENT_CLOSE_ALLOWED_IN);

/* Locks, and says whether the state is still the one that was decided on. The caller unlocks in both cases. */
static bool still(seen_t seen, uint8_t *before)
{
    *before = hal_lock();
    return air_shared.changes == seen->changes;
}

uint8_t air_supply_open(supply_open_t message)
{
    struct air_seen seen;
    uint8_t before;
    if (!HAL_VALVES_FITTED) {
        return BW_REFUSAL_REASON_NO_VALVES;
    }
    for (;;) {
        air_look(&seen);
        uint8_t reason = refusal_of_supply_open(message, &seen);
        if (reason != AIR_NOT_REFUSED) {
            return reason;
        }
        if (still(&seen, &before)) {
            break;
        }
        hal_unlock(before);
    }
    uint16_t last_id = air_shared.opening_id;
    air_window.low_count = message->window_low_count;
    air_window.high_count = message->window_high_count;
    air_shared.limit_regulated_raw = message->limit_regulated_raw;
    air_shared.limit_cylinder_raw = message->limit_cylinder_raw;
    air_shared.rounds_left = air_rounds_of_ms(message->time_limit_ms);
    air_shared.opening_id = message->opening_id;
    if (seen.state != BW_AIR_STATE_OPEN) {
        air_change_to(BW_AIR_STATE_OPEN, BW_SUPPLY_OPEN_CAUSE);
    }
    /* what has moved since the look shuts again at once */
    air_watch();
    hal_unlock(before);
    if (last_id != message->opening_id) {
        remember(last_id);
    }
    return AIR_NOT_REFUSED;
}

uint8_t air_supply_shut(supply_shut_t message)
{
    struct air_seen seen;
    if (!HAL_VALVES_FITTED) {
        return BW_REFUSAL_REASON_NO_VALVES;
    }
    air_look(&seen);
    uint8_t reason = refusal_of_supply_shut(message, &seen);
    if (reason != AIR_NOT_REFUSED) {
        return reason;
    }
    uint8_t before = hal_lock();
    if (message->isolate_ms == 0) {
        if (air_shared.state != BW_AIR_STATE_VENTED) {
            air_change_to(BW_AIR_STATE_VENTED, BW_SUPPLY_SHUT_CAUSE);
        }
    } else if (air_shared.state == BW_AIR_STATE_OPEN) {
        air_shared.rounds_left = air_rounds_of_ms(message->isolate_ms);
        air_change_to(BW_AIR_STATE_ISOLATED, BW_SUPPLY_SHUT_CAUSE);
    }
    hal_unlock(before);
    return AIR_NOT_REFUSED;
}

uint8_t air_vent_open(void)
{
    if (!HAL_VALVES_FITTED) {
        return BW_REFUSAL_REASON_NO_VALVES;
    }
    uint8_t before = hal_lock();
    if (air_shared.state != BW_AIR_STATE_VENTED) {
        air_change_to(BW_AIR_STATE_VENTED, BW_VENT_OPEN_CAUSE);
    }
    hal_unlock(before);
    return AIR_NOT_REFUSED;
}

uint8_t air_vent_close(vent_close_t message)
{
    struct air_seen seen;
    uint8_t before;
    if (!HAL_VALVES_FITTED) {
        return BW_REFUSAL_REASON_NO_VALVES;
    }
    for (;;) {
        air_look(&seen);
        uint8_t reason = refusal_of_vent_close(message, &seen);
        if (reason != AIR_NOT_REFUSED) {
            return reason;
        }
        if (still(&seen, &before)) {
            break;
        }
        hal_unlock(before);
    }
    air_shared.limit_cylinder_raw = message->limit_cylinder_raw;
    air_shared.rounds_left = air_rounds_of_ms(message->time_limit_ms);
    if (seen.state != BW_AIR_STATE_CLOSED) {
        air_change_to(BW_AIR_STATE_CLOSED, BW_VENT_CLOSE_CAUSE);
    }
    air_watch();
    hal_unlock(before);
    return AIR_NOT_REFUSED;
}
