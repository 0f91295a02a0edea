/* The crank: quadrature times four with index.
 *
 * app_on_edge and app_on_index (hal.h) are defined in crank.c and run in the interrupt of their pins; crank_start and
 * crank_take_index run in the main loop.
 */
#ifndef CRANK_H
#define CRANK_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_messages.h"

#define CRANK_INDEX_QUEUE 4u

/* Shared between interrupt and main loop: the main loop touches it only under hal_lock. */
struct crank_shared {
    uint32_t count; /* two's complement; unsigned because it may wrap */
    uint8_t ab;     /* the encoder's levels at the last edge */
    bool index_seen;
    uint16_t illegal_steps; /* both levels changed at once: an edge was missed or is noise; wraps */
    uint16_t index_number;
    struct bw_index_event index_queue[CRANK_INDEX_QUEUE];
    uint8_t index_oldest, index_waiting;
};
extern struct crank_shared crank_shared;

/* Main loop, before interrupts are on. */
void crank_start(void);

/* Main loop. The oldest index pulse that was not told yet; false when there is none. */
bool crank_take_index(struct bw_index_event *event);

#endif
