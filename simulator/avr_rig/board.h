/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The board around the emulated ATmega328P: what simavr leaves to its user, and what it does in another way than the
 * chip. Runs on the PC only. Times are absolute cycles since the first power-on, 16 000 000 a second.
 */
#ifndef BOARD_H
#define BOARD_H

#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#include "bench_pipe.h"

/* A new board with this program, its power just switched on. Ends the process with a sentence when that cannot be. */
void board_start(const char *elf_path, const char *eeprom_path, struct bench_answer *answer);

/* The baud rate that the program was built for. */
uint32_t board_baud(void);

/* Lets the time of a step pass. */
void board_step(const struct bench_request *request);

/* Resets the chip for a cause and holds it for some cycles; what comes in meanwhile is lost. */
void board_reset(enum bench_reset cause, uint32_t held_cycles);

/* The main loop is executed no more until the next reset. */
void board_hang(void);

/* The deepest that the stack has been since power-on, and the octets that it did not reach, down to the variables. */
void board_stack(unsigned *deepest, unsigned *left);

#endif
