/* The interlock's states, watches and events. See air.h for contexts; the commands are in air_commands.c. */
#include "air.h"

#include "air_change.h"
#include "crank.h"
#include "hal.h"
#include "hold.h"
#include "sampler.h"

struct air_shared air_shared;
struct air_window air_window;

void air_start(void)
{
    hal_valves(false, false);
    air_shared = (struct air_shared){.state = BW_AIR_STATE_NO_VALVES};
    air_window = (struct air_window){0};
    air_commands_start();
    if (HAL_VALVES_FITTED) {
        air_change_to(BW_AIR_AT_POWER_UP, BW_CAUSE_POWER_UP);
    }
}

/* ---- the watches: one function for each row, in an interrupt or under hal_lock ---- */

static bool crank_left_window(void)
{
    int32_t count = (int32_t)crank_shared.count;
    return count < air_window.low_count || count > air_window.high_count;
}

static bool over_pressure_regulated(void)
{
    return sampler_shared.raw[CHANNEL_REGULATED] > air_shared.limit_regulated_raw;
}

static bool over_pressure_cylinder(void)
{
    return sampler_shared.raw[CHANNEL_CYLINDER] > air_shared.limit_cylinder_raw;
}

static bool hold_released(void)
{
    return HAL_HOLD_FITTED && !hold_shared.pressed;
}

static bool host_silent(void)
{
    return air_shared.silence_rounds_left == 0;
}

static bool time_limit(void)
{
    return air_shared.rounds_left == 0;
}

static bool sensor_fault(void)
{
    return sampler_sensor_fault();
}

static bool stream_stopped(void)
{
    return !sampler_streaming();
}

/* The states of each row, by its name, and those in which anything is looked for. */
#define STATES_OF(CAUSE, name, states) in_states_##name = (states),
enum { BW_WATCHES(STATES_OF) in_no_states = 0 };
#define OR_STATES(CAUSE, name, states) | (states)
enum { in_any_watched_state = 0 BW_WATCHES(OR_STATES) };

/* The state as a set: by cases, because a shift by a variable is a loop on a small processor. */
static uint8_t set_of(uint8_t state)
{
    switch (state) {
    case BW_AIR_STATE_OPEN:
        return BW_IN_OPEN;
    case BW_AIR_STATE_ISOLATED:
        return BW_IN_ISOLATED;
    case BW_AIR_STATE_CLOSED:
        return BW_IN_CLOSED;
    default:
        return BW_IN_VENTED;
    }
}

void air_change_to(uint8_t state, uint8_t cause)
{
    hal_valves(state == BW_AIR_STATE_OPEN, state != BW_AIR_STATE_VENTED);
    air_shared.state = state;
    air_shared.changes++;
    air_window.watched = (set_of(state) & in_states_crank_left_window) != 0;
    /* Events are told before another command is heard, so there are never more waiting than a trip before, the
     * command's own and a trip behind it. */
    uint8_t at = (uint8_t)(air_shared.oldest + air_shared.waiting) % AIR_EVENT_QUEUE;
    struct bw_air_event *event = &air_shared.queue[at];
    event->device_tick = hal_ticks();
    event->air = state;
    event->cause = cause;
    event->opening_id = air_shared.opening_id;
    event->crank_count = (int32_t)crank_shared.count;
    air_shared.waiting++;
}

void air_watch(void)
{
    uint8_t in = set_of(air_shared.state);
    if ((in & in_any_watched_state) == 0) {
        return;
    }
#define WATCH(CAUSE, name, states) \
    if ((in & (states)) != 0 && name()) { \
        air_change_to(BW_AIR_STATE_VENTED, BW_CAUSE_##CAUSE); \
        return; \
    }
    BW_WATCHES(WATCH)
#undef WATCH
}

void air_on_count(int32_t crank_count)
{
    if (crank_count < air_window.low_count || crank_count > air_window.high_count) {
        air_change_to(BW_AIR_STATE_VENTED, BW_CAUSE_CRANK_LEFT_WINDOW);
    }
}

void air_on_round(void)
{
    if (air_shared.silence_rounds_left != 0) {
        air_shared.silence_rounds_left--;
    }
    if (air_shared.rounds_left != 0) {
        air_shared.rounds_left--;
    }
}

/* ---- main loop ---- */

void air_heard(void)
{
    uint8_t before = hal_lock();
    air_shared.silence_rounds_left = (uint16_t)air_rounds_of_ms(BW_HOST_SILENCE_MS);
    hal_unlock(before);
}

void air_check(void)
{
    uint8_t before = hal_lock();
    air_watch();
    hal_unlock(before);
}

void air_look(struct air_seen *seen)
{
    uint8_t before = hal_lock();
    seen->state = air_shared.state;
    seen->changes = air_shared.changes;
    seen->opening_id = air_shared.opening_id;
    seen->regulated_raw = sampler_shared.raw[CHANNEL_REGULATED];
    seen->cylinder_raw = sampler_shared.raw[CHANNEL_CYLINDER];
    seen->crank_count = (int32_t)crank_shared.count;
    seen->hold_pressed = hold_shared.pressed;
    seen->sensor_fault = sampler_sensor_fault();
    seen->streaming = sampler_streaming();
    hal_unlock(before);
}

bool air_take_event(struct bw_air_event *event)
{
    uint8_t before = hal_lock();
    bool any = air_shared.waiting != 0;
    if (any) {
        *event = air_shared.queue[air_shared.oldest];
        air_shared.oldest = (uint8_t)(air_shared.oldest + 1u) % AIR_EVENT_QUEUE;
        air_shared.waiting--;
    }
    hal_unlock(before);
    return any;
}
