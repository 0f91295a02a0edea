/* What the parts of the microcontroller's HAL share. */
#ifndef HAL_AVR_H
#define HAL_AVR_H

#include <stdbool.h>

/* Set by the interrupt once in a millisecond, taken by hal_idle. */
extern volatile bool millisecond_over;

/* Before app_start, with interrupts off: the serial port listens and sends from then on. */
void uart_start(void);

/* Any context. False when the stack has grown down into the variables since the start. */
bool stack_guard_sound(void);

#endif
