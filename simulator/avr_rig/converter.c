/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The converter: what it is shown, when a conversion starts, what comes of it. Runs on the PC; the functions named on_
 * are called by simavr while the program runs.
 */
#include <string.h>

#include "parts.h"

#define TRIGGER_BY_TIMER1_COMPB 5
#define FULL_SCALE_MV 5000u
#define FULL_SCALE_CODE 1023u

static const uint16_t (*rows)[4];
static uint16_t row_count;
static uint16_t codes_kept[4] = {0, 0, 0, BENCH_SUPPLY_CODE};
static uint16_t code_latched;
static bool match_pending; /* the flag of compare B */

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
        /* of which simavr makes this code */
        uint32_t mv = (code_latched * FULL_SCALE_MV + FULL_SCALE_CODE - 1u) / FULL_SCALE_CODE;
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

void converter_start(void)
{
    avr_t *avr = chip.avr;
    avr_irq_register_notify(chip.adc->io.irq + ADC_IRQ_OUT_TRIGGER, on_conversion_start, NULL);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_ADC) + AVR_INT_IRQ_PENDING, on_conversion_end, NULL);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_TIMER1_COMPB) + AVR_INT_IRQ_PENDING, on_compare_b, NULL);
}

void converter_begin(const struct bench_request *request)
{
    rows = request->codes;
    row_count = request->code_rows;
}

void converter_end(void)
{
    if (row_count != 0) {
        memcpy(codes_kept, rows[row_count - 1u], sizeof(codes_kept));
    }
    row_count = 0;
}

/* Data sheet, idle mode: if the converter is enabled, a conversion starts when this mode is entered. */
void converter_check_sleep(void)
{
    if ((chip.avr->data[REG_ADCSRA] & (ADCSRA_ADEN | ADCSRA_ADSC)) == ADCSRA_ADEN) {
        bench_broken("the program sleeps while the converter is on and at rest, which may start a conversion on the chip.");
    }
}

void converter_reset(void)
{
    match_pending = false;
}
