/* The crank: quadrature times four with index. See crank.h for contexts. */
#include "crank.h"

#include "air.h"
#include "hal.h"

struct crank_shared crank_shared;

void crank_start(void)
{
    crank_shared = (struct crank_shared){.ab = hal_encoder_level()};
}

void app_on_edge(uint8_t ab)
{
    uint8_t before = crank_shared.ab;
    uint8_t changed = before ^ ab;
    if (changed == 0) {
        return;
    }
    crank_shared.ab = ab;
    if (changed == 3u) {
        /* which way it went cannot be known: the count stays, and what the index finds out is told */
        crank_shared.illegal_steps++;
        return;
    }
    /* A leads B while A as it was equals B as it is */
    if (((before ^ (uint8_t)(ab >> 1)) & 1u) == 0) {
        crank_shared.count++;
    } else {
        crank_shared.count--;
    }
    if (air_window.watched) {
        air_on_count((int32_t)crank_shared.count);
    }
}

void app_on_index(void)
{
    crank_shared.index_seen = true;
    crank_shared.index_number++;
    if (crank_shared.index_waiting == CRANK_INDEX_QUEUE) {
        return; /* the number shows that one is missing */
    }
    uint8_t at = (uint8_t)(crank_shared.index_oldest + crank_shared.index_waiting) % CRANK_INDEX_QUEUE;
    crank_shared.index_queue[at].device_tick = hal_ticks();
    crank_shared.index_queue[at].crank_count = (int32_t)crank_shared.count;
    crank_shared.index_queue[at].index_number = crank_shared.index_number;
    crank_shared.index_waiting++;
}

bool crank_take_index(struct bw_index_event *event)
{
    uint8_t before = hal_lock();
    bool any = crank_shared.index_waiting != 0;
    if (any) {
        *event = crank_shared.index_queue[crank_shared.index_oldest];
        crank_shared.index_oldest = (uint8_t)(crank_shared.index_oldest + 1u) % CRANK_INDEX_QUEUE;
        crank_shared.index_waiting--;
    }
    hal_unlock(before);
    return any;
}
