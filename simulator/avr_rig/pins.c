/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The pins: inputs are changed when a step says so, outputs are noted when they change. Runs on the PC; the functions
 * named on_ are called by simavr while the program runs.
 */
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_io.h>

#include "parts.h"

static const struct bench_pin_change *changes;
static uint16_t change_count, next_change;
static uint8_t levels[BENCH_PINS]; /* electrical */
static uint8_t outputs;

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
    while (next_change < change_count) {
        uint64_t due = step_began + changes[next_change].offset_cycles;
        if (due > when) {
            return due;
        }
        set_pin(changes[next_change].pin, changes[next_change].level);
        next_change++;
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
        bool enabled = vector->enable.reg == address && avr_regbit_get(avr, vector->enable);
        if (enabled && avr_regbit_get(avr, vector->raised)) {
            avr_raise_interrupt(avr, vector);
        }
    }
}

void pins_start(void)
{
    avr_t *avr = chip.avr;
    avr_register_io_write(avr, REG_EIMSK, on_mask_write, NULL);
    avr_register_io_write(avr, REG_PCICR, on_mask_write, NULL);
    avr_register_io_write(avr, REG_TIMSK1, on_mask_write, NULL);
    avr_irq_t *port_b = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0);
    /* told also when the value is that of before a reset */
    port_b[IOPORT_IRQ_REG_PORT].flags &= (uint8_t)~IRQ_FLAG_FILTERED;
    port_b[IOPORT_IRQ_DIRECTION_ALL].flags &= (uint8_t)~IRQ_FLAG_FILTERED;
    avr_irq_register_notify(port_b + IOPORT_IRQ_REG_PORT, on_port_b, NULL);
    avr_irq_register_notify(port_b + IOPORT_IRQ_DIRECTION_ALL, on_ddr_b, NULL);
    for (uint8_t pin = 0; pin < BENCH_PINS; pin++) {
        set_pin(pin, 0);
    }
}

void pins_begin(const struct bench_request *request)
{
    changes = request->pins;
    change_count = request->pin_count;
    next_change = 0;
}

void pins_arm(void)
{
    if (next_change < change_count) {
        call_at(step_began + changes[next_change].offset_cycles, on_pins_due);
    }
}

/* What changes in the last cycles may lie behind an instruction that has run over them. */
void pins_end(void)
{
    while (next_change < change_count) {
        set_pin(changes[next_change].pin, changes[next_change].level);
        next_change++;
    }
    change_count = next_change = 0;
}

void pins_reset(void)
{
    tell_outputs(0, 0);
}

void pins_restore(void)
{
    uint8_t mask;
    avr_extint_set_strict_lvl_trig(chip.avr, 0, 0);
    avr_extint_set_strict_lvl_trig(chip.avr, 1, 0);
    chip.avr->data[REG_PIND] = pin_bits(&mask);
}
