/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The emulated chip: simavr's parts as far as the board has to reach into them, and where registers are. PC only.
 */
#ifndef CHIP_H
#define CHIP_H

#include <simavr/avr_adc.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <stdint.h>

/* addresses of the ATmega328P's registers in its data space (data sheet, register summary) */
enum {
    REG_DDRB = 0x24,
    REG_PORTB = 0x25,
    REG_PIND = 0x29,
    REG_EIMSK = 0x3D,
    REG_MCUSR = 0x54,
    REG_PCICR = 0x68,
    REG_TIMSK1 = 0x6F,
    REG_ADCSRA = 0x7A,
    REG_ADCSRB = 0x7B,
    REG_ADMUX = 0x7C,
    REG_UCSR0A = 0xC0,
    REG_UBRR0L = 0xC4,
    REG_UBRR0H = 0xC5,
    REG_UDR0 = 0xC6
};

enum { MCUSR_PORF = 1, MCUSR_EXTRF = 2, MCUSR_BORF = 4 };
enum { ADCSRA_ADSC = 0x40, ADCSRA_ADEN = 0x80 };
enum { VECTOR_TIMER1_COMPB = 12, VECTOR_ADC = 21 };
enum { RAM_FIRST = 0x100 };

struct chip {
    avr_t *avr;
    avr_adc_t *adc;
    avr_uart_t *uart;
    uint32_t app_poll;   /* flash address of the main loop's function */
    uint32_t heap_start; /* RAM address of the first octet after all variables */
    uint32_t baud;
};

/* Makes the chip with this program in its flash and, unless eeprom_path is NULL, this Intel hex file in its EEPROM. */
void chip_make(struct chip *chip, const char *elf_path, const char *eeprom_path);

#endif
