/* The interlock: states, refusals and watches of interlock.toml, by the rows of bw_interlock.h.
 *
 * Watches run in interrupts: the crank's at every edge (air_on_count), all of them each 250 us (air_watch). A watch
 * that holds drives the valves there and then. Commands run in the main loop; each decides on a snapshot and commits
 * only when the state is still that of the snapshot.
 */
#ifndef AIR_H
#define AIR_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_interlock.h"

#define AIR_EVENT_QUEUE 4u
#define AIR_NOT_REFUSED 0xFFu

/* Shared between interrupt and main loop: the main loop touches both only under hal_lock. */
struct air_shared {
    uint8_t state;   /* an enum bw_air_state */
    uint8_t changes; /* of the state, counted: shows a command that its snapshot is stale; wraps */
    uint16_t opening_id; /* of the present or the last opening */
    uint16_t limit_regulated_raw, limit_cylinder_raw;
    uint16_t silence_rounds_left;
    uint32_t rounds_left; /* of the state's time limit */
    struct bw_air_event queue[AIR_EVENT_QUEUE];
    uint8_t oldest, waiting;
};
extern struct air_shared air_shared;

struct air_window {
    int32_t low_count, high_count;
    bool watched; /* in a state in which crank_left_window is looked for */
};
extern struct air_window air_window;

/* What a command decides on. */
struct air_seen {
    uint8_t state, changes;
    uint16_t opening_id;
    uint16_t regulated_raw, cylinder_raw;
    int32_t crank_count;
    bool hold_pressed, sensor_fault, streaming;
};

/* Main loop, before interrupts are on: vented. */
void air_start(void);

/* Interrupt, when the count has changed and the window is watched. */
void air_on_count(int32_t crank_count);

/* Interrupt, each round of conversions: time passes. */
void air_on_round(void);

/* Interrupt, each round when both pressures are new; or main loop under hal_lock. All watches: shuts and vents when one
 * holds; of several the first of the table is the cause. */
void air_watch(void);

/* Main loop. A good frame came. */
void air_heard(void);

/* Main loop. Looks at all watches now. */
void air_check(void);

/* Main loop. How things stand at one moment. */
void air_look(struct air_seen *seen);

/* Main loop. The commands: AIR_NOT_REFUSED, or why not (an enum bw_refusal_reason), when nothing has changed. */
uint8_t air_supply_open(const struct bw_supply_open *message);
uint8_t air_supply_shut(const struct bw_supply_shut *message);
uint8_t air_vent_open(void);
uint8_t air_vent_close(const struct bw_vent_close *message);

/* Main loop. The oldest change of the state that was not told yet; false when there is none. */
bool air_take_event(struct bw_air_event *event);

#endif
