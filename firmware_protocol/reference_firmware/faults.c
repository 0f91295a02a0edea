/* Faults. See faults.h. */
#include "faults.h"

#include "crank.h"
#include "hal.h"
#include "sampler.h"

#define KINDS (BW_FAULT_CODE_MEMORY + 1u)
#define APART_TICKS (FAULTS_APART_MS * (HAL_TICK_RATE_HZ / 1000u))
#define INDEX_TOLERANCE_COUNTS 2u

/* Main loop only. */
static struct {
    bool waiting;
    struct bw_fault_event event;
} kinds[KINDS];
static uint8_t told; /* a bit for each kind told since beat_tick */
static uint32_t beat_tick;
static uint16_t illegal_steps_seen;
static bool memory_found;
static bool index_before;
static struct bw_index_event last_index;

void faults_start(void)
{
    for (uint8_t kind = 0; kind < KINDS; kind++) {
        kinds[kind].waiting = false;
    }
    told = 0;
    beat_tick = hal_ticks();
    illegal_steps_seen = 0;
    memory_found = false;
    index_before = false;
}

/* Of several not told yet the first tick and the last detail; steps are added up. */
static void note(uint8_t kind, uint32_t device_tick, int32_t detail)
{
    struct bw_fault_event *event = &kinds[kind].event;
    if (!kinds[kind].waiting) {
        kinds[kind].waiting = true;
        event->device_tick = device_tick;
        event->fault = kind;
    } else if (kind == BW_FAULT_CODE_ENCODER_ILLEGAL_STEP) {
        detail += event->detail;
    }
    event->detail = detail;
}

static void look_at_sampler(uint8_t fault, uint8_t kind)
{
    struct sampler_found found;
    if (sampler_take_fault(fault, &found)) {
        note(kind, found.device_tick, found.raw);
    }
}

void faults_look(void)
{
    look_at_sampler(FAULT_REGULATED, BW_FAULT_CODE_SENSOR_REGULATED_RANGE);
    look_at_sampler(FAULT_CYLINDER, BW_FAULT_CODE_SENSOR_CYLINDER_RANGE);
    look_at_sampler(FAULT_SUPPLY, BW_FAULT_CODE_SUPPLY_VOLTAGE);
    uint8_t before = hal_lock();
    uint16_t illegal_steps = crank_shared.illegal_steps;
    hal_unlock(before);
    if (illegal_steps != illegal_steps_seen) {
        note(BW_FAULT_CODE_ENCODER_ILLEGAL_STEP, hal_ticks(), (uint16_t)(illegal_steps - illegal_steps_seen));
        illegal_steps_seen = illegal_steps;
    }
}

/* Not at each pass of the main loop: reading what is saved takes a while. */
static void look_at_memory(void)
{
    uint8_t memory = memory_found ? 0 : hal_memory_fault();
    if (memory != 0) {
        memory_found = true;
        note(BW_FAULT_CODE_MEMORY, hal_ticks(), memory);
    }
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
    if (hal_ticks() - beat_tick >= APART_TICKS) {
        beat_tick = hal_ticks();
        told = 0;
        look_at_memory();
    }
    for (uint8_t kind = 0; kind < KINDS; kind++) {
        if (kinds[kind].waiting && !(told & (1u << kind))) {
            kinds[kind].waiting = false;
            told = (uint8_t)(told | (1u << kind));
            *event = kinds[kind].event;
            return true;
        }
    }
    return false;
}
