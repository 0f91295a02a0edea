/* The microcontroller: start, time, conversions, encoder, valves, watchdog. ATmega328P at 16 MHz.
 *
 * main and what hal.h says of the main loop run in the main loop; each ISR is an interrupt and they do not nest. Timer 1
 * gives the rhythm and the time. It counts 0 to 124 in steps of 0.5 us, so it wraps each 62.5 us:
 *
 *     0 us     wrap: interrupt, which takes the last result and selects the channel of the next conversion
 *     58 us    compare B starts the conversion: by hardware, so that no interrupt shifts it
 *     112 us   that is 49.5 us after the following wrap: the result is there (13.5 clocks of the converter at 250 kHz)
 *     125 us   the interrupt of the wrap after that one takes it
 *
 * The multiplexer is latched when a conversion starts. The interrupt writes it at the earliest 4.5 us after the last
 * start, more than the one clock of the converter that the data sheet asks for, and has 58 us until the next start. So it
 * may be held up by other interrupts for 47 us without mixing up channels; an interrupt that comes later is noticed, and
 * the two results that it may have spoilt are replaced by the last good ones of their channels.
 *
 * The chip's reference is selected for 62.5 us of each 250 us: from the end of the spare channel's conversion, 8.5 us
 * before its own starts, and sampled 8 us after that, 16.5 us in all. ACBG keeps the reference running, so that its start-up
 * time does not count. A converter that charges in 16.5 us through the reference's own resistance may still read some
 * codes towards the spare channel's; so this reading watches the supply within wide limits and measures nothing.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "hal.h"
#include "hal_avr.h"
#include "pins.h"

#define TICKS_PER_WRAP 125u
#define CONVERSION_AT 115u /* compare B: matches at the end of this count, 58 us after the wrap */
#define LATE_AT 95u        /* 47.5 us after the wrap */
#define LATE_NOW 1u
#define LATE_BEFORE_LAST 4u

#define MUX_OF_SUPPLY_VOLTAGE _BV(REFS0) /* codes are parts of AVCC, from which the transducers are fed too */
#define GUARD 0xC35Au

extern uint16_t __heap_start; /* the linker's: the first octet after all variables; the stack grows down to it */

volatile bool millisecond_over;
static volatile uint32_t ticks_at_wrap;
static uint8_t selected; /* the channel of the next conversion to start */
static uint8_t late;     /* bit k: the interrupt k wraps ago came too late */
static uint16_t last_code[HAL_CHANNELS];
static uint8_t rounds;
static uint8_t index_before;

static const uint8_t mux_of[HAL_CHANNELS] = {
    MUX_OF_SUPPLY_VOLTAGE | MUX_REGULATED,
    MUX_OF_SUPPLY_VOLTAGE | MUX_CYLINDER,
    MUX_OF_SUPPLY_VOLTAGE | MUX_SPARE,
    MUX_OF_SUPPLY_VOLTAGE | MUX_REFERENCE,
};

void before_main(void) __attribute__((naked, used, section(".init3")));

/* never made part of main: the bench finds the main loop by this name */
void app_poll(void) __attribute__((noinline, used, externally_visible));

/* Runs before variables are set up: after a reset by the watchdog it is still on, at its shortest time. */
void before_main(void)
{
    MCUSR = 0;
    wdt_disable();
}

static void start_pins(void)
{
    /* levels first, so that no valve is energised for a moment */
    PORTB = (uint8_t)~(_BV(PIN_SUPPLY) | _BV(PIN_VENT)); /* pull-ups: unused pins do not float */
    DDRB = _BV(PIN_SUPPLY) | _BV(PIN_VENT);
    PORTC = (uint8_t)~(_BV(PC0) | _BV(PC1) | _BV(PC2));
    PORTD = 0xFF; /* encoder, index and hold have pull-ups: a cut wire reads high, which is released for the hold switch */
    DIDR0 = _BV(ADC0D) | _BV(ADC1D) | _BV(ADC2D);
    PRR = _BV(PRTWI) | _BV(PRSPI) | _BV(PRTIM0) | _BV(PRTIM2);
}

static void start_edges(void)
{
    EICRA = _BV(ISC00) | _BV(ISC10); /* any edge */
    EIMSK = _BV(INT0) | _BV(INT1);
    index_before = PIND & _BV(PIN_INDEX);
    PCMSK2 = _BV(PCINT20);
    PCICR = _BV(PCIE2);
}

/* Starts the timer with the first conversion, and waits for the first wrap: no result is there before the second. */
static void start_conversions(void)
{
    ACSR = _BV(ACBG);
    ADMUX = mux_of[0];
    ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1); /* 16 MHz / 64 = 250 kHz */
    while (ADCSRA & _BV(ADSC)) { /* the first conversion after switching on takes longer, and is thrown away */
    }
    ADCSRB = _BV(ADTS2) | _BV(ADTS0); /* started by compare B of timer 1 */
    ADCSRA = _BV(ADEN) | _BV(ADATE) | _BV(ADPS2) | _BV(ADPS1);
    TCCR1A = 0;
    OCR1A = TICKS_PER_WRAP - 1u;
    OCR1B = CONVERSION_AT;
    TCCR1B = _BV(WGM12) | _BV(CS11); /* clear on compare A, 16 MHz / 8 */
    while (!(TIFR1 & _BV(OCF1A))) {
    }
    TIFR1 = _BV(OCF1A) | _BV(OCF1B);
    ticks_at_wrap += TICKS_PER_WRAP;
    ADMUX = mux_of[1];
    selected = 2;
    TIMSK1 = _BV(OCIE1A);
}

int main(void)
{
    __heap_start = GUARD;
    start_pins();
    uart_start();
    app_start();
    start_conversions();
    start_edges();
    wdt_enable(WDTO_60MS); /* 64 ms; the watchdog's own clock may be a quarter slow, and 120 ms is promised */
    sei();
    for (;;) {
        app_poll();
    }
}

ISR(TIMER1_COMPA_vect)
{
    TIFR1 = _BV(OCF1B); /* the next match starts a conversion only when this has been cleared */
    ticks_at_wrap += TICKS_PER_WRAP;
    late = (uint8_t)(late << 1);
    if (TCNT1L > LATE_AT) {
        late |= LATE_NOW;
    }
    uint16_t code = ADC;
    uint8_t channel = (selected + 2u) % HAL_CHANNELS; /* selected two wraps ago */
    ADMUX = mux_of[selected];
    selected = (selected + 1u) % HAL_CHANNELS;
    if (late & (LATE_NOW | LATE_BEFORE_LAST)) {
        code = last_code[channel];
    } else {
        last_code[channel] = code;
    }
    app_on_conversion(channel, code);
    if (channel == HAL_HOUSEKEEPING && ++rounds % HAL_ROUNDS_PER_MS == 0) {
        millisecond_over = true;
    }
}

ISR(INT0_vect)
{
    app_on_edge(hal_encoder_level());
}

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

ISR(PCINT2_vect)
{
    uint8_t index = PIND & _BV(PIN_INDEX);
    /* low before and low now: the whole pulse has passed since the last look */
    if (index || !index_before) {
        app_on_index();
    }
    index_before = index;
}

uint32_t hal_ticks(void)
{
    uint8_t before = hal_lock();
    uint8_t count = TCNT1L; /* never over 124, so the high octet is not needed */
    uint32_t wrap = ticks_at_wrap;
    if (TIFR1 & _BV(OCF1A)) { /* it has wrapped and the interrupt has not come yet */
        count = TCNT1L;
        wrap += TICKS_PER_WRAP;
    }
    hal_unlock(before);
    return wrap + count;
}

void hal_valves(bool supply_energised, bool vent_energised)
{
    uint8_t before = hal_lock(); /* an interrupt that vents must not come between the two */
    if (supply_energised) {
        PORTB |= _BV(PIN_SUPPLY);
    } else {
        PORTB &= (uint8_t)~_BV(PIN_SUPPLY);
    }
    if (vent_energised) {
        PORTB |= _BV(PIN_VENT);
    } else {
        PORTB &= (uint8_t)~_BV(PIN_VENT);
    }
    hal_unlock(before);
}

bool hal_hold_pressed(void)
{
    return !(PIND & _BV(PIN_HOLD));
}

uint8_t hal_encoder_level(void)
{
    return (uint8_t)(PIND >> PIN_ENCODER_A) & 3u;
}

uint8_t hal_lock(void)
{
    uint8_t before = SREG;
    cli();
    return before;
}

void hal_unlock(uint8_t before)
{
    __asm__ volatile("" ::: "memory"); /* writing SREG alone is no barrier */
    SREG = before;
}

bool stack_guard_sound(void)
{
    return __heap_start == GUARD;
}

void hal_watchdog_pet(void)
{
    wdt_reset();
}
