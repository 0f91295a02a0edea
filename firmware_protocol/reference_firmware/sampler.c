/* Raw words from conversions, and samples from raw words. See sampler.h for contexts. */
#include "sampler.h"

#include "air.h"
#include "crank.h"
#include "hold.h"

#define TICKS_PER_MS (HAL_TICK_RATE_HZ / 1000u)
#define CENTRE_ROUND (HAL_ROUNDS_PER_MS / 2u)
#define SUPPLY_FAULT_SAMPLES 20u /* longer than the dip when a valve is switched */

struct sampler_shared sampler_shared;

/* Interrupt only. */
static uint16_t codes[HAL_CHANNELS][HAL_CONVERSIONS];
static uint8_t code_at;
static uint16_t whole_regulated, whole_cylinder; /* raw words at the end of the last millisecond */

/* Main loop only. What the next block has if none is dropped before it; sequences go on from stream to stream. Samples
 * that a stream dropped before its end and that were not told are carried over to the next stream's first block. */
static uint32_t next_index;
static uint16_t next_sequence;
static uint32_t carried;

void sampler_start(void)
{
    sampler_shared = (struct sampler_shared){.gap_before = SAMPLER_NO_GAP};
    for (uint8_t channel = 0; channel < HAL_CHANNELS; channel++) {
        for (uint8_t i = 0; i < HAL_CONVERSIONS; i++) {
            codes[channel][i] = 0;
        }
    }
    code_at = 0;
    whole_regulated = whole_cylinder = 1; /* nothing is saturated before it was converted */
    next_index = 0;
    next_sequence = 0;
    carried = 0;
}

/* ---- interrupt ---- */

void sampler_on_conversion(uint8_t channel, uint16_t code)
{
    uint16_t *oldest = &codes[channel][code_at];
    sampler_shared.raw[channel] = (uint16_t)(sampler_shared.raw[channel] - *oldest + code);
    *oldest = code;
}

static uint8_t flags_now(void)
{
    uint8_t flags = 0;
    if (air_shared.state == BW_AIR_STATE_OPEN) {
        flags |= BW_BLOCK_FLAGS_SUPPLY_OPEN;
    }
    if (air_shared.state == BW_AIR_STATE_VENTED) {
        flags |= BW_BLOCK_FLAGS_VENT_OPEN;
    }
    if (hold_shared.pressed) {
        flags |= BW_BLOCK_FLAGS_HOLD_PRESSED;
    }
    if (crank_shared.index_seen) {
        flags |= BW_BLOCK_FLAGS_INDEX_SEEN;
    }
    return flags;
}

/* At the first sample of a block. No second gap is begun while one is still waiting: there is one place to note it. */
static void begin_block(void)
{
    struct sampler_shared *s = &sampler_shared;
    bool skipped_before = s->skipped != 0;
    s->skipping = s->waiting == s->blocks || (skipped_before && s->gap_before != SAMPLER_NO_GAP);
    if (s->skipping) {
        return;
    }
    if (skipped_before) {
        s->gap_before = s->block;
        s->gap_samples = s->skipped;
        s->skipped = 0;
    }
    s->write_at = (uint8_t)((uint8_t)(s->block * s->block_size) * SAMPLE_OCTETS);
    s->flags[s->block] = flags_now();
}

static void put_u16(uint16_t value)
{
    sampler_shared.octets[sampler_shared.write_at++] = (uint8_t)value;
    sampler_shared.octets[sampler_shared.write_at++] = (uint8_t)(value >> 8);
}

/* The sample's moment. */
static void take_count(void)
{
    struct sampler_shared *s = &sampler_shared;
    if (s->period_ms == 0 || --s->wait_ms != 0) {
        return;
    }
    s->wait_ms = s->period_ms;
    s->taking = true;
    if (!s->begun) {
        s->begun = true;
        s->first_tick = hal_ticks();
    }
    if (s->in_block == 0) {
        begin_block();
    }
    if (s->skipping) {
        s->skipped++;
        s->dropped++;
    } else {
        put_u16((uint16_t)crank_shared.count);
        put_u16((uint16_t)(crank_shared.count >> 16));
    }
}

static bool is_saturated(uint16_t raw)
{
    return raw == 0 || raw >= HAL_RAW_MAX;
}

static void take_raw_words(void)
{
    struct sampler_shared *s = &sampler_shared;
    s->taking = false;
    if (!s->skipping) {
        for (uint8_t channel = 0; channel < HAL_STREAMED; channel++) {
            put_u16(s->raw[channel]);
        }
        if (s->in_block == 0 && (is_saturated(whole_regulated) || is_saturated(whole_cylinder))) {
            s->flags[s->block] |= BW_BLOCK_FLAGS_SATURATED;
        }
    }
    if (++s->in_block == s->block_size) {
        s->in_block = 0;
        if (!s->skipping) {
            s->waiting++;
            s->block = (uint8_t)(s->block + 1u) == s->blocks ? 0 : (uint8_t)(s->block + 1u);
        }
    }
}

static void look_for_fault(uint8_t fault, bool wrong, uint16_t raw, uint8_t long_enough)
{
    struct sampler_shared *s = &sampler_shared;
    if (!wrong) {
        s->run[fault] = 0;
    } else if (s->run[fault] < long_enough && ++s->run[fault] == long_enough) {
        s->found[fault].waiting = true;
        s->found[fault].raw = raw;
        s->found[fault].device_tick = hal_ticks();
    }
}

void sampler_look_for_faults(void)
{
    if (code_at != 0) {
        return;
    }
    uint16_t supply = sampler_shared.raw[HAL_HOUSEKEEPING];
    bool wrong = supply < HAL_SUPPLY_CODE_MIN * HAL_CONVERSIONS || supply > HAL_SUPPLY_CODE_MAX * HAL_CONVERSIONS;
    look_for_fault(FAULT_REGULATED, is_saturated(whole_regulated), whole_regulated, BW_SENSOR_FAULT_SAMPLES);
    look_for_fault(FAULT_CYLINDER, is_saturated(whole_cylinder), whole_cylinder, BW_SENSOR_FAULT_SAMPLES);
    look_for_fault(FAULT_SUPPLY, wrong, supply, SUPPLY_FAULT_SAMPLES);
}

void sampler_on_round(void)
{
    struct sampler_shared *s = &sampler_shared;
    s->rounds++;
    code_at = (uint8_t)(code_at + 1u) % HAL_CONVERSIONS;
    if (code_at == CENTRE_ROUND) {
        take_count();
    } else if (code_at == 0) {
        whole_regulated = s->raw[CHANNEL_REGULATED];
        whole_cylinder = s->raw[CHANNEL_CYLINDER];
        if (s->taking) {
            take_raw_words();
        }
    }
}

/* ---- main loop ---- */

void sampler_start_stream(uint16_t period_ms, uint8_t block_size)
{
    struct sampler_shared *s = &sampler_shared;
    sampler_stop_stream();
    next_index = 0;
    uint8_t before = hal_lock();
    s->period_ms = period_ms;
    s->wait_ms = 1;
    s->block_size = block_size;
    s->blocks = (uint8_t)(SAMPLER_RING / block_size);
    s->begun = false;
    hal_unlock(before);
}

void sampler_stop_stream(void)
{
    struct sampler_shared *s = &sampler_shared;
    uint8_t before = hal_lock();
    s->period_ms = 0;
    s->taking = s->skipping = false;
    s->in_block = s->block = s->oldest = s->waiting = 0;
    uint32_t untold = s->skipped;
    if (s->gap_before != SAMPLER_NO_GAP) {
        untold += s->gap_samples;
        s->gap_before = SAMPLER_NO_GAP;
    }
    s->skipped = 0;
    hal_unlock(before);
    carried += untold;
}

bool sampler_runs(uint16_t period_ms, uint8_t block_size)
{
    uint8_t before = hal_lock();
    bool same = sampler_shared.period_ms == period_ms && sampler_shared.block_size == block_size;
    hal_unlock(before);
    return same;
}

bool sampler_runs_at_all(void)
{
    uint8_t before = hal_lock();
    bool runs = sampler_streaming();
    hal_unlock(before);
    return runs;
}

uint32_t sampler_dropped(void)
{
    uint8_t before = hal_lock();
    uint32_t dropped = sampler_shared.dropped;
    hal_unlock(before);
    return dropped;
}

uint8_t sampler_waiting_octets(void)
{
    uint8_t before = hal_lock();
    bool any = sampler_shared.waiting != 0;
    uint8_t block_size = sampler_shared.block_size;
    hal_unlock(before);
    return any ? (uint8_t)(block_size * SAMPLE_OCTETS) : 0;
}

uint32_t sampler_take_gap(void)
{
    struct sampler_shared *s = &sampler_shared;
    uint32_t samples = 0;
    uint8_t before = hal_lock();
    uint8_t block_size = s->block_size;
    if (s->gap_before == s->oldest) {
        samples = s->gap_samples;
        s->gap_before = SAMPLER_NO_GAP;
    }
    hal_unlock(before);
    if (samples != 0) {
        next_index += samples;
        next_sequence = (uint16_t)(next_sequence + samples / block_size);
    }
    samples += carried;
    carried = 0;
    return samples;
}

void sampler_look_at_block(struct sampler_block *block)
{
    const struct sampler_shared *s = &sampler_shared;
    uint8_t before = hal_lock();
    uint8_t oldest = s->oldest;
    uint32_t first_tick = s->first_tick;
    uint16_t period_ms = s->period_ms;
    block->sample_count = s->block_size;
    hal_unlock(before);
    block->octets_length = (uint8_t)(block->sample_count * SAMPLE_OCTETS);
    block->octets = &s->octets[oldest * block->octets_length];
    block->flags = s->flags[oldest];
    block->sequence = next_sequence;
    block->sample_index = next_index;
    block->device_tick = first_tick + next_index * period_ms * TICKS_PER_MS;
}

void sampler_release_block(void)
{
    struct sampler_shared *s = &sampler_shared;
    uint8_t before = hal_lock();
    next_index += s->block_size;
    next_sequence++;
    s->waiting--;
    s->oldest = (uint8_t)(s->oldest + 1u) == s->blocks ? 0 : (uint8_t)(s->oldest + 1u);
    hal_unlock(before);
}

bool sampler_take_fault(uint8_t fault, struct sampler_found *found)
{
    uint8_t before = hal_lock();
    *found = sampler_shared.found[fault];
    sampler_shared.found[fault].waiting = false;
    hal_unlock(before);
    return found->waiting;
}
