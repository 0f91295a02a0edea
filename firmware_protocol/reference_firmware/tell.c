/* What the device tells without being asked, and Status. See tell.h. */
#include "tell.h"

#include "../c/bw_messages.h"
#include "air.h"
#include "crank.h"
#include "faults.h"
#include "hal.h"
#include "hold.h"
#include "out.h"
#include "sampler.h"
#include "talk.h"

/* Main loop only. */
static bool at_power_up;
static uint32_t status_tick;
static bool dropped_before; /* the next block follows dropped samples */

void tell_start(void)
{
    at_power_up = true;
    status_tick = 0;
    dropped_before = false;
}

void tell_stream_started(void)
{
    status_tick = hal_ticks() + HAL_TICK_RATE_HZ;
}

static uint8_t supply_state(uint8_t air)
{
    if (!HAL_VALVES_FITTED) {
        return BW_SUPPLY_STATE_NOT_FITTED;
    }
    return air == BW_AIR_STATE_OPEN ? BW_SUPPLY_STATE_OPEN : BW_SUPPLY_STATE_SHUT;
}

static uint8_t vent_state(uint8_t air)
{
    if (!HAL_VALVES_FITTED) {
        return BW_VENT_STATE_NOT_FITTED;
    }
    return air == BW_AIR_STATE_VENTED ? BW_VENT_STATE_OPEN : BW_VENT_STATE_CLOSED;
}

static uint8_t hold_state(bool pressed)
{
    if (!HAL_HOLD_FITTED) {
        return BW_HOLD_STATE_NOT_FITTED;
    }
    return pressed ? BW_HOLD_STATE_PRESSED : BW_HOLD_STATE_RELEASED;
}

void tell_status(uint16_t request_id)
{
    const struct talk_counters *counters = talk_counters();
    struct air_seen seen;
    air_look(&seen);
    struct bw_status status = {
        .request_id = request_id,
        .device_tick = hal_ticks(),
        .boot_id = talk_boot_id(),
        .air = seen.state,
        .supply = supply_state(seen.state),
        .vent = vent_state(seen.state),
        .hold = hold_state(seen.hold_pressed),
        .streaming = seen.streaming,
        .opening_id = seen.opening_id,
        .crank_count = seen.crank_count,
        .frames_received = counters->frames_received,
        .frames_bad = counters->frames_bad,
        .frames_unknown = counters->frames_unknown,
        .commands_refused = counters->commands_refused,
        .samples_dropped = sampler_dropped(),
    };
    out_send(bw_write_status(out_content(), &status));
}

bool tell_status_if_due(void)
{
    if (at_power_up) {
        at_power_up = false;
    } else if (sampler_runs_at_all() && hal_ticks() - status_tick <= INT32_MAX) {
        status_tick += HAL_TICK_RATE_HZ;
    } else {
        return false;
    }
    tell_status(0);
    return true;
}

bool tell_air(void)
{
    struct bw_air_event event;
    if (!air_take_event(&event)) {
        return false;
    }
    out_send(bw_write_air_event(out_content(), &event));
    return true;
}

bool tell_hold(void)
{
    struct bw_hold_event event;
    if (!hold_take_event(&event)) {
        return false;
    }
    out_send(bw_write_hold_event(out_content(), &event));
    return true;
}

bool tell_fault(void)
{
    struct bw_fault_event event;
    faults_look();
    if (!faults_take(&event)) {
        return false;
    }
    out_send(bw_write_fault_event(out_content(), &event));
    return true;
}

bool tell_index(void)
{
    struct bw_index_event event;
    if (!crank_take_index(&event)) {
        return false;
    }
    faults_on_index(&event);
    out_send(bw_write_index_event(out_content(), &event));
    return true;
}

static void send_dropped(uint32_t device_tick, uint32_t samples)
{
    struct bw_fault_event event = {
        .device_tick = device_tick,
        .fault = BW_FAULT_CODE_SAMPLES_DROPPED,
        .detail = samples > INT32_MAX ? INT32_MAX : (int32_t)samples,
    };
    out_send(bw_write_fault_event(out_content(), &event));
}

bool tell_block(void)
{
    struct sampler_block block;
    uint8_t octets = sampler_waiting_octets();
    if (octets == 0 || !out_can_spare((uint8_t)(BW_SAMPLE_BLOCK_SAMPLES_AT + octets))) {
        return false;
    }
    uint32_t missing = sampler_take_gap();
    sampler_look_at_block(&block);
    if (missing != 0) {
        dropped_before = true;
        send_dropped(block.device_tick, missing);
        return true;
    }
    struct bw_sample_block message = {
        .sequence = block.sequence,
        .device_tick = block.device_tick,
        .sample_index = block.sample_index,
        .flags = (uint16_t)(block.flags | (dropped_before ? BW_BLOCK_FLAGS_DROPPED_BEFORE : 0u)),
        .sample_count = block.sample_count,
        .channel_count = HAL_STREAMED,
        .samples = block.octets,
        .samples_length = block.octets_length,
    };
    dropped_before = false;
    out_send(bw_write_sample_block(out_content(), &message));
    sampler_release_block();
    return true;
}
