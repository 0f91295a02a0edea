/* The microcontroller: start, time, conversions, encoder, valves, watchdog. ATmega328P at 16 MHz.
 *
 * main and what hal.h says of the main loop run in the main loop; each ISR is an interrupt, and they nest only where
 * that of the conversions says so. Timer 1 gives the rhythm and the time. It counts 0 to 124 in steps of 0.5 us, so it
 * wraps each 62.5 us. At a wrap
 *
 *     compare B starts a conversion, by hardware, so that no interrupt shifts it; its result is there 54.2 us later;
 *     the interrupt of compare B takes the result of the conversion before, and selects the channel of the next.
 *
 * The multiplexer is latched when a conversion starts. The data sheet wants one clock of the converter, 4 us, between the
 * start and a change; the interrupt waits for that if it is early, and has until the next wrap. So other interrupts may hold
 * it up for 54 us without mixing up results or channels. One that is through later, even by a whole wrap, finds that the
 * conversion of its wrap does not go on any more, or that the next wrap has come: the two results that it may have spoilt
 * are replaced by the last good ones of their channels.
 *
 * The chip's reference is selected for 62.5 us of each 250 us: from the end of the spare channel's conversion, 8 us
 * before its own starts, and sampled 8 us after that, 16 us in all. ACBG keeps the reference running, so that its start-up
 * time does not count. A converter that charges in 16 us through the reference's own resistance may still read some
 * codes towards the spare channel's; so this reading watches the supply within wide limits and measures nothing.
 *
 * The index pulse may be shorter than the wait for an interrupt. Timer 0 counts its rising edges by hardware; the pin
 * change interrupt looks whether there was one.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "hal.h"
#include "hal_avr.h"
#include "pins.h"

#define TICKS_PER_WRAP 125u
#define MUX_LATCHED_AT 9u /* 4.5 us */
#define CONVERTED_AT 108u /* 54 us */
#define LATE_NOW 1u
#define LATE_BEFORE_LAST 4u

#define MUX_OF_SUPPLY_VOLTAGE _BV(REFS0) /* codes are parts of AVCC, from which the transducers are fed too */
#define EDGE_INTERRUPTS (_BV(INT0) | _BV(INT1))
#define CONVERSION_INTERRUPT _BV(OCIE1B)
#define INDEX_INTERRUPT _BV(PCIE2)
#define GUARD 0xC35Au

/* writing a register alone does not keep the compiler from moving other memory over it */
#define MEMORY_BARRIER() __asm__ volatile("" ::: "memory")

extern uint16_t __heap_start; /* the linker's: the first octet after all variables; the stack grows down to it */

volatile bool millisecond_over;
static volatile uint32_t ticks_at_wrap;
static uint8_t selected; /* the channel of the next conversion to start */
static uint8_t late;     /* bit k: the interrupt k wraps ago came too late */
static uint16_t last_code[HAL_CHANNELS];
static uint8_t rounds;
static uint8_t index_edges;

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
    PRR = _BV(PRTWI) | _BV(PRSPI) | _BV(PRTIM2);
}

static void start_edges(void)
{
    EICRA = _BV(ISC00) | _BV(ISC10); /* any edge */
    EIMSK = EDGE_INTERRUPTS;
    TCCR0B = _BV(CS02) | _BV(CS01) | _BV(CS00); /* clocked by rising edges of the index pin, which is T0 */
    index_edges = TCNT0;
    PCMSK2 = _BV(PCINT20);
    PCICR = INDEX_INTERRUPT;
}

static void wait_until_mux_is_latched(void)
{
    while (TCNT1L < MUX_LATCHED_AT) {
    }
}

/* Starts the timer and waits for the first wrap, at which the first conversion begins: its result comes at the second. */
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
    OCR1B = TICKS_PER_WRAP - 1u;
    TCCR1B = _BV(WGM12) | _BV(CS11); /* clear on compare A, 16 MHz / 8 */
    while (!(TIFR1 & _BV(OCF1B))) {
    }
    TIFR1 = _BV(OCF1B);
    ticks_at_wrap = TICKS_PER_WRAP;
    wait_until_mux_is_latched();
    ADMUX = mux_of[1];
    selected = 2;
    TIMSK1 = CONVERSION_INTERRUPT;
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

/* Its start clears the flag of compare B: the next match starts a conversion only when that has been done.
 *
 * At 1 000 000 baud two octets take 20 us, and the third is lost when nobody has read the first; two edges of the encoder
 * that pass unseen are a step of unknown direction. So the receiver's interrupt may come all through this one, which is
 * long, and those of encoder and index up to where the firmware works on the conversion: what the firmware has, interrupts
 * touch one at a time. This one itself must not come again, or it would pile up on the stack when the line takes too much
 * of the time. */
ISR(TIMER1_COMPB_vect)
{
    uint8_t sender = uart_hold_sender();
    TIMSK1 = 0;
    ticks_at_wrap += TICKS_PER_WRAP;
    sei();
    uint16_t code = ADC;
    uint8_t next = selected;
    wait_until_mux_is_latched();
    ADMUX = mux_of[next];
    uint8_t lateness = (uint8_t)(late << 1);
    /* after both, so that nothing that came in between is overlooked */
    if (!(ADCSRA & _BV(ADSC)) || (TIFR1 & _BV(OCF1B))) {
        lateness |= LATE_NOW;
    }
    late = lateness;
    selected = (next + 1u) % HAL_CHANNELS;
    uint8_t channel = (next + 2u) % HAL_CHANNELS; /* selected two wraps ago */
    if (lateness & (LATE_NOW | LATE_BEFORE_LAST)) {
        code = last_code[channel];
    } else {
        last_code[channel] = code;
    }
    EIMSK = 0;
    PCICR = 0;
    MEMORY_BARRIER();
    app_on_conversion(channel, code);
    MEMORY_BARRIER();
    EIMSK = EDGE_INTERRUPTS; /* before the index, whose count the edge that came with it is part of */
    PCICR = INDEX_INTERRUPT;
    if (channel == HAL_HOUSEKEEPING && ++rounds % HAL_ROUNDS_PER_MS == 0) {
        millisecond_over = true;
    }
    cli();
    TIMSK1 = CONVERSION_INTERRUPT;
    uart_go_on(sender);
}

ISR(INT0_vect)
{
    app_on_edge(hal_encoder_level());
}

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

ISR(PCINT2_vect)
{
    uint8_t edges = TCNT0;
    if (edges != index_edges) {
        index_edges = edges;
        app_on_index();
    }
}

uint32_t hal_ticks(void)
{
    uint8_t before = hal_lock();
    uint8_t count = TCNT1L; /* never over 124, so the high octet is not needed */
    uint32_t wrap = ticks_at_wrap;
    if (TIFR1 & _BV(OCF1B)) { /* it has wrapped and the interrupt has not come yet */
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

bool conversion_goes_on(void)
{
    return TCNT1L < CONVERTED_AT - 8u && (ADCSRA & _BV(ADSC));
}

uint8_t hal_lock(void)
{
    uint8_t before = SREG;
    cli();
    return before;
}

void hal_unlock(uint8_t before)
{
    MEMORY_BARRIER();
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
