/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Makes the emulated chip. Runs on the PC, before anything else.
 */
#include "chip.h"

#include <simavr/avr_eeprom.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_hex.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "bench_pipe.h"

#define SUPPLY_MV 5000

/* simavr would write to stdout, which is the pipe's: errors go to stderr, the rest nowhere. */
static void log_errors(avr_t *avr, const int level, const char *format, va_list words)
{
    (void)avr;
    if (level == LOG_ERROR) {
        vfprintf(stderr, format, words);
    }
}

static uint32_t symbol(const elf_firmware_t *program, const char *name)
{
    for (uint32_t i = 0; i < program->symbolcount; i++) {
        if (strcmp(program->symbol[i]->symbol, name) == 0) {
            return program->symbol[i]->addr;
        }
    }
    fprintf(stderr, "bench: the program has no symbol %s; build it with the firmware's own Makefile.\n", name);
    exit(2);
}

static void *part(avr_t *avr, const char *kind)
{
    for (avr_io_t *io = avr->io_port; io != NULL; io = io->next) {
        if (strcmp(io->kind, kind) == 0) {
            return io;
        }
    }
    bench_broken("the emulator lacks a part of the chip; install simavr 1.6 or newer.");
    return NULL;
}

static void fill_eeprom(avr_t *avr, const char *path)
{
    uint32_t size = 0;
    uint32_t start = 0;
    uint8_t *octets = read_ihex_file(path, &size, &start);
    if (octets == NULL) {
        bench_broken("the EEPROM file cannot be read; make one with make serial.");
    }
    if (start > avr->e2end || size > avr->e2end + 1u - start) {
        bench_broken("the EEPROM file does not fit the chip; make one with make serial.");
    }
    avr_eeprom_desc_t content = {.ee = octets, .offset = (uint16_t)start, .size = size};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &content);
    free(octets);
}

void chip_make(struct chip *chip, const char *elf_path, const char *eeprom_path)
{
    avr_global_logger_set(log_errors);
    static elf_firmware_t program;
    if (elf_read_firmware(elf_path, &program) != 0) {
        bench_broken("the program cannot be read; build it with make in firmware_protocol/reference_firmware.");
    }
    avr_t *avr = avr_make_mcu_by_name("atmega328p");
    if (avr == NULL || avr_init(avr) != 0) {
        bench_broken("the emulator does not know the ATmega328P; install simavr 1.6 or newer.");
    }
    avr->frequency = BENCH_CLOCK_HZ;
    avr->vcc = avr->avcc = avr->aref = SUPPLY_MV;
    avr_load_firmware(avr, &program);
    if (eeprom_path != NULL) {
        fill_eeprom(avr, eeprom_path);
    }
    chip->avr = avr;
    chip->adc = part(avr, "adc");
    chip->uart = part(avr, "uart");
    chip->app_poll = symbol(&program, "app_poll");
    chip->heap_start = symbol(&program, "__heap_start") & 0xFFFF;
    chip->baud = symbol(&program, "hal_baud");
    /* by default simavr prints what is sent, and sleeps when a program polls */
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    /* simavr looks up the channel when the result is read, the chip when the conversion starts: so all channels of the
     * emulated multiplexer are one, and the board puts there what the chip has converted */
    for (unsigned i = 0; i < sizeof(chip->adc->muxmode) / sizeof(chip->adc->muxmode[0]); i++) {
        chip->adc->muxmode[i] = (avr_adc_mux_t){.kind = ADC_MUX_SINGLE, .src = 0};
    }
}
