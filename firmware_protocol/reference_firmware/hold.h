/* The hold-to-run switch: pressing is debounced, letting go acts at once.
 *
 * hold_on_round runs in the interrupt of the conversions; the others run in the main loop.
 */
#ifndef HOLD_H
#define HOLD_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_messages.h"

#define HOLD_DEBOUNCE_MS 10u
#define HOLD_QUEUE 4u

/* Shared between interrupt and main loop: the main loop touches it only under hal_lock. */
struct hold_shared {
    bool pressed;
    uint8_t steady_rounds; /* rounds for which the contact has been closed while not yet taken for pressed */
    uint8_t oldest, waiting;
    struct bw_hold_event queue[HOLD_QUEUE];
};
extern struct hold_shared hold_shared;

/* Main loop, before interrupts are on. */
void hold_start(void);

/* Interrupt, each round of conversions. */
void hold_on_round(void);

/* Main loop. The oldest change that was not told yet; false when there is none. */
bool hold_take_event(struct bw_hold_event *event);

#endif
