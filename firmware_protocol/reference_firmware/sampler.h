/* Raw words from conversions, and samples from raw words.
 *
 * A raw word is the moving sum of the last four codes of its channel, new each 250 us. A sample is taken each n-th
 * millisecond: its moment is the middle of a millisecond, when the crank count is read, and its raw words add up the
 * four rounds around that moment. Samples are kept by whole blocks until the main loop sends them; a block for which
 * there is no room is dropped as a whole and counted.
 */
#ifndef SAMPLER_H
#define SAMPLER_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_interlock.h"
#include "hal.h"

#define SAMPLER_RING 24u /* samples */
#define SAMPLE_OCTETS (4u + 2u * HAL_STREAMED)
#define SAMPLER_NO_GAP 0xFFu

enum sampler_channel { CHANNEL_REGULATED, CHANNEL_CYLINDER, CHANNEL_SPARE };

/* Faults of the analog side, as found by the interrupt and not yet told. */
enum sampler_fault { FAULT_REGULATED, FAULT_CYLINDER, FAULT_SUPPLY, SAMPLER_FAULTS };
struct sampler_found {
    bool waiting;
    uint16_t raw;
    uint32_t device_tick;
};

/* Shared between interrupt and main loop: the main loop touches it only under hal_lock, but for the octets and flags of
 * the oldest block, which are the main loop's own from sampler_look_at_block to sampler_release_block. */
struct sampler_shared {
    uint16_t raw[HAL_CHANNELS];
    uint8_t rounds; /* counted, wraps: shows that conversions go on */
    uint8_t run[SAMPLER_FAULTS]; /* samples on end for which a channel has been wrong */
    struct sampler_found found[SAMPLER_FAULTS];

    uint16_t period_ms, wait_ms; /* period 0: stopped */
    uint8_t block_size;
    bool begun; /* the first sample's tick is known */
    uint32_t first_tick;

    uint8_t blocks, block, oldest, waiting; /* room for, being filled, oldest waiting, how many wait */
    uint8_t in_block, write_at;
    bool taking, skipping;

    uint32_t skipped;       /* samples dropped since the last one that was kept */
    uint8_t gap_before;     /* the block before which samples were dropped, or SAMPLER_NO_GAP */
    uint32_t gap_samples;   /* how many */
    uint32_t dropped;       /* since power-up */

    uint8_t flags[SAMPLER_RING]; /* of each block */
    uint8_t octets[SAMPLER_RING * SAMPLE_OCTETS];
};
extern struct sampler_shared sampler_shared;

struct sampler_block {
    const uint8_t *octets;
    uint8_t octets_length, sample_count, flags;
    uint16_t sequence;
    uint32_t sample_index, device_tick;
};

/* Main loop, before interrupts are on. */
void sampler_start(void);

/* Interrupt. A conversion: the channel's raw word is new. */
void sampler_on_conversion(uint8_t channel, uint16_t code);

/* Interrupt, after the last conversion of a round: takes what the round takes of a sample. */
void sampler_on_round(void);

/* Interrupt, once in a round, but not with sampler_on_round. */
void sampler_look_for_faults(void);

/* Interrupt, or main loop under hal_lock. */
static inline bool sampler_streaming(void)
{
    return sampler_shared.period_ms != 0;
}

static inline bool sampler_sensor_fault(void)
{
    return sampler_shared.run[FAULT_REGULATED] >= BW_SENSOR_FAULT_SAMPLES ||
           sampler_shared.run[FAULT_CYLINDER] >= BW_SENSOR_FAULT_SAMPLES;
}

/* Main loop. Starts the stream anew with sample index 0, or stops it; what was not sent yet is gone. */
void sampler_start_stream(uint16_t period_ms, uint8_t block_size);
void sampler_stop_stream(void);

/* Main loop. Whether the stream runs with exactly these; whether it runs at all. */
bool sampler_runs(uint16_t period_ms, uint8_t block_size);
bool sampler_runs_at_all(void);

/* Main loop. Samples dropped since power-up. */
uint32_t sampler_dropped(void);

/* Main loop. How many octets of samples the oldest waiting block has; 0 when none waits. */
uint8_t sampler_waiting_octets(void);

/* Main loop, while a block waits. Samples that were dropped just before the oldest waiting block or by an earlier
 * stream; asked again, 0. */
uint32_t sampler_take_gap(void);

/* Main loop, while a block waits, after sampler_take_gap. The oldest waiting block; release it when it was sent. */
void sampler_look_at_block(struct sampler_block *block);
void sampler_release_block(void);

/* Main loop. A fault that was found since it was last asked for; false when there is none. */
bool sampler_take_fault(uint8_t fault, struct sampler_found *found);

#endif
