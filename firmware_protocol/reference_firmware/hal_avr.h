/* What the parts of the microcontroller's HAL share. */
#ifndef HAL_AVR_H
#define HAL_AVR_H

#include <avr/io.h>
#include <stdbool.h>
#include <stdint.h>

/* Set by the interrupt once in a millisecond, taken by hal_idle. */
extern volatile bool millisecond_over;

/* Before app_start, with interrupts off: the serial port listens and sends from then on. */
void uart_start(void);

/* Interrupt. Between the two the sender's interrupt does not come, and the receiver's may; `before` is what the first gave. */
static inline uint8_t uart_hold_sender(void)
{
    uint8_t before = UCSR0B;
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    return before;
}

static inline void uart_go_on(uint8_t before)
{
    UCSR0B = before;
}

/* Main loop, with interrupts off. Whether a conversion goes on, and for at least 4 us more. */
bool conversion_goes_on(void);

/* Any context. False when the stack has grown down into the variables since the start. */
bool stack_guard_sound(void);

#endif
