/* What air.c and air_commands.c share with each other and with nobody else. */
#ifndef AIR_CHANGE_H
#define AIR_CHANGE_H

#include <stdint.h>

#include "hal.h"

/* Interrupt, or main loop under hal_lock. Drives the valves, changes the state, notes the event. */
void air_change_to(uint8_t state, uint8_t cause);

/* Main loop, before interrupts are on. */
void air_commands_start(void);

/* Rounds of conversions after which so many milliseconds have surely passed: the one that goes on is no whole one. */
static inline uint32_t air_rounds_of_ms(uint32_t ms)
{
    return ms * HAL_ROUNDS_PER_MS + 1u;
}

#endif
