/* The hold-to-run switch. See hold.h for contexts. */
#include "hold.h"

#include "hal.h"

#define DEBOUNCE_ROUNDS (HOLD_DEBOUNCE_MS * HAL_ROUNDS_PER_MS)

struct hold_shared hold_shared;

void hold_start(void)
{
    hold_shared = (struct hold_shared){0};
}

static void change_to(bool pressed)
{
    hold_shared.pressed = pressed;
    /* when the queue is full the newest entry is replaced, so that the last one told is how the switch stands */
    uint8_t behind = hold_shared.waiting < HOLD_QUEUE ? hold_shared.waiting++ : (uint8_t)(HOLD_QUEUE - 1u);
    struct bw_hold_event *event = &hold_shared.queue[(uint8_t)(hold_shared.oldest + behind) % HOLD_QUEUE];
    event->device_tick = hal_ticks();
    event->hold = pressed ? BW_HOLD_STATE_PRESSED : BW_HOLD_STATE_RELEASED;
}

void hold_on_round(void)
{
    if (!HAL_HOLD_FITTED) {
        return;
    }
    if (!hal_hold_pressed()) {
        hold_shared.steady_rounds = 0;
        if (hold_shared.pressed) {
            change_to(false);
        }
    } else if (!hold_shared.pressed && ++hold_shared.steady_rounds >= DEBOUNCE_ROUNDS) {
        change_to(true);
    }
}

bool hold_take_event(struct bw_hold_event *event)
{
    uint8_t before = hal_lock();
    bool any = hold_shared.waiting != 0;
    if (any) {
        *event = hold_shared.queue[hold_shared.oldest];
        hold_shared.oldest = (uint8_t)(hold_shared.oldest + 1u) % HOLD_QUEUE;
        hold_shared.waiting--;
    }
    hal_unlock(before);
    return any;
}
