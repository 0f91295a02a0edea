/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The line: octets from the host arrive at its rate, octets to the host are noted. Runs on the PC; the functions named
 * on_ are called by simavr while the program runs.
 */
#include <simavr/sim_io.h>

#include "parts.h"

#define UNREAD_BUFFER 2u /* octets that the receiver keeps; one more waits in the shift register till the next begins */
#define QUEUE_ROOM (1u << 20)

static uint8_t queue[QUEUE_ROOM];
static uint32_t queue_first, queue_after; /* free-running */
static uint64_t line_free;                /* when the octet before has ended */

/* Cycles of an octet at the rate that the program has chosen. */
static uint32_t program_octet_cycles(void)
{
    const uint8_t *data = chip.avr->data;
    uint32_t divider = (uint32_t)(data[REG_UBRR0H] << 8 | data[REG_UBRR0L]) + 1u;
    return 10u * divider * (data[REG_UCSR0A] & 2 ? 8u : 16u);
}

static uint32_t line_octet_cycles(void)
{
    return 10u * (BENCH_CLOCK_HZ / chip.baud);
}

static void mend_octet_time(void)
{
    chip.uart->cycles_per_byte = program_octet_cycles();
}

static void on_octet_sent(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    mend_octet_time();
    if (program_octet_cycles() != line_octet_cycles()) {
        bench_broken("the program sends at another baud rate than the one it was built for; look at UBRR0 and U2X0.");
    }
    bench_tell_octet(answer, (uint8_t)value);
}

static unsigned unread(void)
{
    return (unsigned)(chip.uart->input.write - chip.uart->input.read) & (uart_fifo_fifo_size - 1u);
}

static void tell_received(void)
{
    if (unread() != 0) {
        avr_raise_interrupt(chip.avr, &chip.uart->rxc);
    }
}

/* At the end of the octet's last bit. */
static avr_cycle_count_t on_octet_due(avr_t *avr, avr_cycle_count_t when, void *unused)
{
    (void)avr;
    (void)unused;
    if (queue_first == queue_after) {
        return 0;
    }
    uint8_t octet = queue[queue_first++ % QUEUE_ROOM];
    bool another_begins = queue_first != queue_after;
    if (unread() < UNREAD_BUFFER + (another_begins ? 0u : 1u)) {
        mend_octet_time();
        avr_raise_irq(chip.uart->io.irq + UART_IRQ_INPUT, octet);
        tell_received();
    }
    line_free = when;
    return another_begins ? when + line_octet_cycles() : 0;
}

static avr_io_read_t read_of_uart;

static uint8_t on_octet_read(avr_t *avr, avr_io_addr_t address, void *uart)
{
    uint8_t octet = read_of_uart(avr, address, uart);
    tell_received();
    return octet;
}

void line_start(void)
{
    avr_t *avr = chip.avr;
    read_of_uart = avr->io[AVR_DATA_TO_IO(REG_UDR0)].r.c;
    avr->io[AVR_DATA_TO_IO(REG_UDR0)].r.c = on_octet_read;
    avr_irq_register_notify(chip.uart->io.irq + UART_IRQ_OUTPUT, on_octet_sent, NULL);
}

void line_begin(const struct bench_request *request)
{
    if (queue_after - queue_first + request->rx_count > QUEUE_ROOM) {
        bench_broken("over a million octets wait for the line; let time pass.");
    }
    if (line_free < step_began) {
        line_free = step_began;
    }
    for (uint16_t i = 0; i < request->rx_count; i++) {
        queue[queue_after++ % QUEUE_ROOM] = request->rx[i];
    }
}

void line_arm(void)
{
    if (queue_first != queue_after) {
        call_at(line_free + line_octet_cycles(), on_octet_due);
    }
}

void line_lose_until(uint64_t end)
{
    while (queue_first != queue_after && line_free + line_octet_cycles() <= end) {
        queue_first++;
        line_free += line_octet_cycles();
    }
}
