/* The microcontroller's serial port: a ring of octets each way, filled and emptied by interrupts.
 *
 * uart_start runs before the interrupts are on, the ISRs are interrupts, everything else is main loop.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "hal.h"
#include "hal_avr.h"

#define SEND_ROOM 256u    /* indexes of 8 bits wrap by themselves */
#define RECEIVE_ROOM 176u /* at 1 000 000 baud 1.7 ms of octets: app_poll takes that long to make a block meanwhile */

#define UBRR_OF_BAUD (F_CPU / 8u / HAL_BAUD - 1u) /* double speed: 8 clocks a bit */
#if F_CPU % (8 * HAL_BAUD) != 0
#error "HAL_BAUD does not divide F_CPU / 8: the line would be off; use 250000, 500000 or 1000000"
#endif

static uint8_t send_ring[SEND_ROOM];
static uint8_t send_next;              /* interrupt */
static uint8_t send_free;              /* main loop */
static volatile uint8_t send_waiting; /* octets in the ring; 0 while the sender's interrupt is on: 256 */

static uint8_t receive_ring[RECEIVE_ROOM];
static volatile uint8_t receive_free; /* written by the interrupt */
static volatile uint8_t receive_next; /* written by the main loop */

void uart_start(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = UBRR_OF_BAUD;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 data bits, no parity, 1 stop bit */
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART_UDRE_vect)
{
    UDR0 = send_ring[send_next++];
    uint8_t left = (uint8_t)(send_waiting - 1u);
    send_waiting = left;
    if (left == 0) {
        UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    }
}

uint16_t hal_send_room(void)
{
    uint8_t before = hal_lock();
    uint8_t waiting = send_waiting;
    bool sending = UCSR0B & _BV(UDRIE0);
    hal_unlock(before);
    return waiting == 0 && sending ? 0 : SEND_ROOM - waiting;
}

bool hal_send(const uint8_t *octets, uint16_t length)
{
    if (length > hal_send_room()) {
        return false;
    }
    if (length == 0) {
        return true;
    }
    for (uint16_t i = 0; i < length; i++) {
        send_ring[send_free++] = octets[i];
    }
    uint8_t before = hal_lock();
    send_waiting = (uint8_t)(send_waiting + length);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0) | _BV(UDRIE0);
    hal_unlock(before);
    return true;
}

static uint8_t after(uint8_t at)
{
    return at + 1u == RECEIVE_ROOM ? 0 : (uint8_t)(at + 1u);
}

ISR(USART_RX_vect)
{
    uint8_t framing_error = UCSR0A & _BV(FE0); /* belongs to the octet that is read next */
    uint8_t octet = UDR0;
    uint8_t at = receive_free;
    uint8_t then = after(at);
    if (!framing_error && then != receive_next) {
        receive_ring[at] = octet;
        receive_free = then;
    }
}

int16_t hal_receive(void)
{
    uint8_t at = receive_next;
    if (at == receive_free) {
        return -1;
    }
    __asm__ volatile("" ::: "memory"); /* the octet is read only when it is known to be there */
    uint8_t octet = receive_ring[at];
    receive_next = after(at);
    return octet;
}

/* An interrupt that brings nothing for the main loop does not end the sleep: there are 20 000 and more a second. What may
 * bring something is an octet from the host and a millisecond that is over, and with it perhaps a sample.
 *
 * A sleep that begins while the converter is at rest starts a conversion (data sheet, idle mode), and the timer then finds
 * the converter busy. So the 12 us of each wrap in which it is or may come to rest are waited for awake. */
void hal_idle(void)
{
    cli();
    while (receive_next == receive_free && !millisecond_over) {
        if (conversion_goes_on()) {
            SMCR = _BV(SE); /* idle: everything but the processor goes on */
            sei();          /* takes effect after the next instruction, so that no interrupt comes in between */
            sleep_cpu();
        } else {
            sei();
            __asm__ volatile("nop"); /* in place of the sleep: interrupts come behind it */
        }
        __asm__ volatile("nop"); /* the emulator takes an interrupt that was pending at sei one instruction later than the chip */
        cli();
    }
    SMCR = 0;
    millisecond_over = false;
    sei();
}
