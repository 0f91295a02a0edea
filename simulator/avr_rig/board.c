/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The board around the emulated chip. Runs on the PC; the functions named on_ are called by simavr while the program runs.
 *
 * What simavr does in another way than the chip, and is put right here:
 *   - INT0 and INT1 are polled each cycle in level mode, in which they wake: strict level interrupts are turned off.
 *   - A write to PORTD raises inputs with pull-ups: the true levels are given as external pull-ups before each change.
 *   - A reset forgets the levels of the pins and the board's timers.
 *   - There is no trigger of the converter by timer 1: compare B starts it here, and as on the chip only when the program
 *     has cleared the flag of the match before.
 *   - The result comes from the channel that is selected when it is read, scaled by 1023: the code is latched here when
 *     the conversion starts, and put into the result when it ends.
 *   - An octet takes 11 bit times, the next one is not told before as long again, and 63 may wait unread: here it takes
 *     10, the next is told at once when one is read, and the third that waits is lost when another one follows it.
 *   - An interrupt of a pin or of timer 1 that comes while it is masked is forgotten: here it comes when the mask is lifted.
 *   - The program's sleep would be slept on the PC: here it is counted.
 */
#include "board.h"

#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_io.h>
#include <string.h>

#include "chip.h"

#define RUN_CYCLES 4000 /* most cycles that simavr runs without a look at its timers */
#define PAINT 0xC5
#define TRIGGER_BY_TIMER1_COMPB 5
#define UNREAD_BUFFER 2u /* octets in the receiver's buffer; one more waits in the shift register until the next begins */
#define QUEUE_ROOM (1u << 20)
#define FULL_SCALE_MV 5000u
#define FULL_SCALE_CODE 1023u

static struct chip chip;
static struct bench_answer *answer;

static uint64_t step_began;
static uint64_t slept_cycles;
static bool was_reset;

static const struct bench_pin_change *pins;
static uint16_t pin_count, pin_next;
static uint8_t levels[BENCH_PINS]; /* electrical */

static const uint16_t (*rows)[4];
static uint16_t row_count;
static uint16_t codes_kept[4] = {0, 0, 0, BENCH_SUPPLY_CODE};

static uint8_t queue[QUEUE_ROOM];
static uint32_t queue_first, queue_after; /* free-running */
static uint64_t line_free;                /* when the octet before has ended */

static uint16_t code_latched;
static bool match_pending; /* the flag of compare B */
static uint8_t outputs;

static bool hung;
static uint8_t patched[2];

/* ---- pins ---- */

static const uint8_t pin_of[BENCH_PINS] = {2, 3, 4, 5}; /* of port D: encoder A, B, index, hold */

static uint8_t pin_bits(uint8_t *mask)
{
    uint8_t value = 0;
    *mask = 0;
    for (unsigned i = 0; i < BENCH_PINS; i++) {
        *mask |= (uint8_t)(1u << pin_of[i]);
        value |= (uint8_t)(levels[i] << pin_of[i]);
    }
    return value;
}

static void give_external_levels(void)
{
    uint8_t mask;
    uint8_t value = pin_bits(&mask);
    avr_ioport_external_t external = {.name = 'D', .mask = mask, .value = value};
    avr_ioctl(chip.avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &external);
}

static void set_pin(uint8_t pin, uint8_t level)
{
    levels[pin] = pin == BENCH_HOLD ? !level : level; /* the hold switch is a contact to ground */
    give_external_levels();
    avr_raise_irq(avr_io_getirq(chip.avr, AVR_IOCTL_IOPORT_GETIRQ('D'), pin_of[pin]), levels[pin]);
}

static avr_cycle_count_t on_pins_due(avr_t *avr, avr_cycle_count_t when, void *unused)
{
    (void)avr;
    (void)unused;
    while (pin_next < pin_count) {
        uint64_t due = step_began + pins[pin_next].offset_cycles;
        if (due > when) {
            return due;
        }
        set_pin(pins[pin_next].pin, pins[pin_next].level);
        pin_next++;
    }
    return 0;
}

static void tell_outputs(uint8_t ddr, uint8_t port)
{
    uint8_t now = ddr & port & (BENCH_SUPPLY_ENERGISED | BENCH_VENT_ENERGISED);
    if (now != outputs) {
        outputs = now;
        bench_tell_outputs(answer, (uint32_t)(chip.avr->cycle - step_began), now);
    }
}

static void on_port_b(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    tell_outputs(chip.avr->data[REG_DDRB], (uint8_t)value);
}

static void on_ddr_b(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    tell_outputs((uint8_t)value, chip.avr->data[REG_PORTB]);
}

/* A write to EIMSK, PCICR or TIMSK1: what was flagged while it was masked comes now. */
static void on_mask_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused)
{
    (void)unused;
    avr_core_watch_write(avr, address, value);
    for (unsigned i = 0; i < avr->interrupts.vector_count; i++) {
        avr_int_vector_t *vector = avr->interrupts.vector[i];
        if (vector->enable.reg == address && avr_regbit_get(avr, vector->enable) && avr_regbit_get(avr, vector->raised)) {
            avr_raise_interrupt(avr, vector);
        }
    }
}

/* ---- converter ---- */

static const uint16_t *row_at(uint64_t cycle)
{
    if (row_count == 0) {
        return codes_kept;
    }
    uint64_t row = (cycle - step_began) / BENCH_ROW_CYCLES;
    return rows[row < row_count ? row : row_count - 1u];
}

static void on_conversion_start(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)value;
    (void)unused;
    uint8_t mux = chip.avr->data[REG_ADMUX] & 0x0F;
    const uint16_t *row = row_at(chip.avr->cycle);
    code_latched = mux < 3 ? row[mux] : mux == 14 ? row[3] : 0;
}

static void on_conversion_end(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    if (value) {
        uint32_t mv = (code_latched * FULL_SCALE_MV + FULL_SCALE_CODE - 1u) / FULL_SCALE_CODE; /* that simavr makes this code of */
        avr_raise_irq(chip.adc->io.irq + ADC_IRQ_ADC0, mv);
    }
}

static void on_compare_b(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    bool rises = value && !match_pending;
    match_pending = value != 0;
    if (rises && (chip.avr->data[REG_ADCSRB] & 7) == TRIGGER_BY_TIMER1_COMPB) {
        avr_raise_irq(chip.adc->io.irq + ADC_IRQ_IN_TRIGGER, 1);
    }
}

/* ---- line ---- */

/* Cycles of an octet at the rate that the program has chosen. */
static uint32_t program_octet_cycles(void)
{
    const uint8_t *data = chip.avr->data;
    uint32_t bit_cycles = ((uint32_t)(data[REG_UBRR0H] << 8 | data[REG_UBRR0L]) + 1u) * (data[REG_UCSR0A] & 2 ? 8u : 16u);
    return 10u * bit_cycles;
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

/* ---- time ---- */

static void call_at(uint64_t cycle, avr_cycle_timer_t timer)
{
    uint64_t now = chip.avr->cycle;
    avr_cycle_timer_register(chip.avr, cycle > now ? cycle - now : 0, timer, NULL);
}

static void on_sleep(avr_t *avr, avr_cycle_count_t how_long)
{
    (void)avr;
    slept_cycles += how_long + 1; /* simavr adds the one */
}

/* Does nothing: that it is due ends a sleep at the end of the step. */
static avr_cycle_count_t on_step_end(avr_t *avr, avr_cycle_count_t when, void *unused)
{
    (void)avr;
    (void)when;
    (void)unused;
    return 0;
}

static void arm_timers(void)
{
    chip.avr->run_cycle_limit = RUN_CYCLES;
    if (pin_next < pin_count) {
        call_at(step_began + pins[pin_next].offset_cycles, on_pins_due);
    }
    if (queue_first != queue_after) {
        call_at(line_free + line_octet_cycles(), on_octet_due);
    }
}

/* ---- reset ---- */

static void (*reset_of_chip)(avr_t *avr);


static void on_reset(avr_t *avr)
{
    reset_of_chip(avr);
    was_reset = true;
    answer->resets++;
    tell_outputs(0, 0);
    match_pending = false;
    if (hung) {
        memcpy(avr->flash + chip.app_poll, patched, sizeof(patched));
        hung = false;
    }
}

/* After simavr has reset all its parts. */
static void mend_after_reset(void)
{
    uint8_t mask;
    was_reset = false;
    avr_extint_set_strict_lvl_trig(chip.avr, 0, 0);
    avr_extint_set_strict_lvl_trig(chip.avr, 1, 0);
    chip.avr->data[REG_PIND] = pin_bits(&mask);
    arm_timers();
}

static void power_on(void)
{
    memset(chip.avr->data + RAM_FIRST, PAINT, (size_t)chip.avr->ramend + 1u - RAM_FIRST);
}

void board_start(const char *elf_path, const char *eeprom_path, struct bench_answer *to)
{
    answer = to;
    chip_make(&chip, elf_path, eeprom_path);
    avr_t *avr = chip.avr;
    avr->sleep = on_sleep;
    reset_of_chip = avr->reset;
    avr->reset = on_reset;
    read_of_uart = avr->io[AVR_DATA_TO_IO(REG_UDR0)].r.c;
    avr->io[AVR_DATA_TO_IO(REG_UDR0)].r.c = on_octet_read;
    avr_register_io_write(avr, REG_EIMSK, on_mask_write, NULL);
    avr_register_io_write(avr, REG_PCICR, on_mask_write, NULL);
    avr_register_io_write(avr, REG_TIMSK1, on_mask_write, NULL);
    avr_irq_t *port_b = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0);
    /* told also when the value is that of before a reset */
    port_b[IOPORT_IRQ_REG_PORT].flags &= (uint8_t)~IRQ_FLAG_FILTERED;
    port_b[IOPORT_IRQ_DIRECTION_ALL].flags &= (uint8_t)~IRQ_FLAG_FILTERED;
    avr_irq_register_notify(port_b + IOPORT_IRQ_REG_PORT, on_port_b, NULL);
    avr_irq_register_notify(port_b + IOPORT_IRQ_DIRECTION_ALL, on_ddr_b, NULL);
    avr_irq_register_notify(chip.adc->io.irq + ADC_IRQ_OUT_TRIGGER, on_conversion_start, NULL);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_ADC) + AVR_INT_IRQ_PENDING, on_conversion_end, NULL);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_TIMER1_COMPB) + AVR_INT_IRQ_PENDING, on_compare_b, NULL);
    avr_irq_register_notify(chip.uart->io.irq + UART_IRQ_OUTPUT, on_octet_sent, NULL);
    power_on();
    for (uint8_t pin = 0; pin < BENCH_PINS; pin++) {
        set_pin(pin, 0);
    }
    avr_reset(avr);
    avr->data[REG_MCUSR] = MCUSR_PORF;
    mend_after_reset();
    answer->resets = 0;
}

uint32_t board_baud(void)
{
    return chip.baud;
}

/* ---- requests ---- */

static void take_octets(const struct bench_request *request)
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

static void run_until(uint64_t end)
{
    avr_t *avr = chip.avr;
    while (avr->cycle < end) {
        int state = avr_run(avr);
        if (was_reset) {
            mend_after_reset();
            call_at(end, on_step_end);
        }
        if (state == cpu_Crashed || state == cpu_Done) {
            bench_broken("the program crashed, or slept with interrupts off; look at what it did last in a debugger.");
        }
    }
}

static void end_request(uint64_t cycles_before, uint64_t end)
{
    uint64_t passed = chip.avr->cycle - cycles_before;
    answer->busy_cycles = (uint32_t)(passed > slept_cycles ? passed - slept_cycles : 0);
    answer->cycle_now = end;
    pins = NULL;
    pin_count = pin_next = 0;
    if (row_count != 0) {
        memcpy(codes_kept, rows[row_count - 1u], sizeof(codes_kept));
    }
    row_count = 0;
    slept_cycles = 0;
    step_began = end;
}

void board_step(const struct bench_request *request)
{
    uint64_t before = chip.avr->cycle;
    uint64_t end = step_began + request->duration_cycles;
    pins = request->pins;
    pin_count = request->pin_count;
    rows = request->codes;
    row_count = request->code_rows;
    take_octets(request);
    arm_timers();
    call_at(end, on_step_end);
    run_until(end);
    /* a pin that changes in the last cycle, which an instruction has run over */
    on_pins_due(chip.avr, end, NULL);
    end_request(before, end);
}

void board_reset(enum bench_reset cause, uint32_t held_cycles)
{
    static const uint8_t flags[] = {
        [BENCH_POWER_ON] = MCUSR_PORF, [BENCH_RESET_PIN] = MCUSR_EXTRF, [BENCH_BROWN_OUT] = MCUSR_BORF};
    avr_t *avr = chip.avr;
    uint64_t end = step_began + held_cycles;
    avr->cycle = step_began;
    avr_reset(avr);
    avr->data[REG_MCUSR] = flags[cause];
    if (cause == BENCH_POWER_ON) {
        power_on();
    }
    avr->cycle = end;
    while (queue_first != queue_after && line_free + line_octet_cycles() <= end) {
        queue_first++;
        line_free += line_octet_cycles();
    }
    mend_after_reset();
    end_request(end, end);
}

void board_hang(void)
{
    if (!hung) {
        static const uint8_t jump_to_itself[2] = {0xFF, 0xCF};
        memcpy(patched, chip.avr->flash + chip.app_poll, sizeof(patched));
        memcpy(chip.avr->flash + chip.app_poll, jump_to_itself, sizeof(jump_to_itself));
        hung = true;
    }
    end_request(chip.avr->cycle, step_began);
}

void board_stack(unsigned *deepest, unsigned *left)
{
    unsigned end = (unsigned)chip.avr->ramend + 1u;
    unsigned first = chip.heap_start + 2u; /* above the program's own guard */
    unsigned at = first;
    while (at < end && chip.avr->data[at] == PAINT) {
        at++;
    }
    *deepest = end - at;
    *left = at - first;
}
