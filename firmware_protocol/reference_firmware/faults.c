/* Faults. See faults.h. */
#include "faults.h"

#include "crank.h"
#include "hal.h"
#include "sampler.h"

#define KINDS (BW_FAULT_CODE_MEMORY + 1u)
#define LOOK_AT_MEMORY_TICKS (HAL_TICK_RATE_HZ / 10u)
#define INDEX_TOLERANCE_COUNTS 2u

/* Main loop only. */
static struct {
    bool waiting;
    struct bw_fault_event event;
} kinds[KINDS];
static uint16_t illegal_steps_seen;
static bool illegal_steps_told; /* at illegal_steps_tick, and not a second ago yet when last looked at */
static uint32_t illegal_steps_tick;
static uint32_t memory_tick;
static bool memory_found;
static bool index_before;
static struct bw_index_event last_index;

void faults_start(void)
{
    for (uint8_t kind = 0; kind < KINDS; kind++) {
        kinds[kind].waiting = false;
    }
    illegal_steps_seen = 0;
    illegal_steps_told = false;
    memory_tick = hal_ticks();
    memory_found = false;
    index_before = false;
}

/* Of several that could not be told yet the last one is. */
static void note(uint8_t kind, uint32_t device_tick, int32_t detail)
{
    kinds[kind].waiting = true;
    kinds[kind].event.device_tick = device_tick;
    kinds[kind].event.fault = kind;
    kinds[kind].event.detail = detail;
}

static void look_at_sampler(uint8_t fault, uint8_t kind)
{
    struct sampler_found found;
    if (sampler_take_fault(fault, &found)) {
        note(kind, found.device_tick, found.raw);
    }
}

/* The reference is known and the code is its part of the supply. */
static void look_at_supply(void)
{
    struct sampler_found found;
    if (sampler_take_fault(FAULT_SUPPLY, &found)) {
        uint32_t millivolts_times_raw = (uint32_t)HAL_REFERENCE_MV * HAL_CODES * HAL_CONVERSIONS;
        uint32_t millivolts = millivolts_times_raw / (found.raw != 0 ? found.raw : 1u);
        note(BW_FAULT_CODE_SUPPLY_VOLTAGE, found.device_tick, (int32_t)millivolts);
    }
}

/* A bad line makes many: they are added up and told once a second. */
static void look_at_encoder(void)
{
    uint32_t now = hal_ticks();
    if (illegal_steps_told && now - illegal_steps_tick < HAL_TICK_RATE_HZ) {
        return;
    }
    uint8_t before = hal_lock();
    uint16_t illegal_steps = crank_shared.illegal_steps;
    hal_unlock(before);
    illegal_steps_told = illegal_steps != illegal_steps_seen;
    if (illegal_steps_told) {
        note(BW_FAULT_CODE_ENCODER_ILLEGAL_STEP, now, (uint16_t)(illegal_steps - illegal_steps_seen));
        illegal_steps_seen = illegal_steps;
        illegal_steps_tick = now;
    }
}

/* Not at each pass of the main loop: reading what is saved takes a while. */
static void look_at_memory(void)
{
    if (memory_found || hal_ticks() - memory_tick < LOOK_AT_MEMORY_TICKS) {
        return;
    }
    memory_tick = hal_ticks();
    uint8_t memory = hal_memory_fault();
    if (memory != 0) {
        memory_found = true;
        note(BW_FAULT_CODE_MEMORY, memory_tick, memory);
    }
}

void faults_look(void)
{
    look_at_sampler(FAULT_REGULATED, BW_FAULT_CODE_SENSOR_REGULATED_RANGE);
    look_at_sampler(FAULT_CYLINDER, BW_FAULT_CODE_SENSOR_CYLINDER_RANGE);
    look_at_supply();
    look_at_encoder();
    look_at_memory();
}

void faults_on_index(const struct bw_index_event *event)
{
    /* without the one between, the spacing would be that of two */
    if (index_before && (uint16_t)(last_index.index_number + 1u) == event->index_number) {
        uint32_t up = (uint32_t)event->crank_count - (uint32_t)last_index.crank_count;
        uint32_t spacing = up <= INT32_MAX ? up : 0u - up;
        uint32_t off = spacing > HAL_COUNTS_PER_REV ? spacing - HAL_COUNTS_PER_REV : HAL_COUNTS_PER_REV - spacing;
        /* none: turned back over the same pulse */
        if (spacing > INDEX_TOLERANCE_COUNTS && off > INDEX_TOLERANCE_COUNTS) {
            note(BW_FAULT_CODE_INDEX_SPACING, event->device_tick, (int32_t)spacing);
        }
    }
    index_before = true;
    last_index = *event;
}

bool faults_take(struct bw_fault_event *event)
{
    for (uint8_t kind = 0; kind < KINDS; kind++) {
        if (kinds[kind].waiting) {
            kinds[kind].waiting = false;
            *event = kinds[kind].event;
            return true;
        }
    }
    return false;
}
