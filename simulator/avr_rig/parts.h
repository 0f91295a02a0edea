/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What the parts of the board share: board.c (time, reset, requests), pins.c, converter.c, line.c. Runs on the PC.
 */
#ifndef PARTS_H
#define PARTS_H

#include "bench_pipe.h"
#include "chip.h"

extern struct chip chip;
extern struct bench_answer *answer;
extern uint64_t step_began; /* the cycle at which the request began: offsets count from it */

/* Calls the timer at this cycle, or at once when that is past. */
void call_at(uint64_t cycle, avr_cycle_timer_t timer);

/* Of each part: once the chip is made; when a step begins; to arm its timer, also after a reset; when a step ends. */
void pins_start(void);
void pins_begin(const struct bench_request *request);
void pins_arm(void);
void pins_end(void);
void converter_start(void);
void converter_begin(const struct bench_request *request);
void converter_end(void);
void converter_check_sleep(void); /* when a sleep begins */
void line_start(void);
void line_begin(const struct bench_request *request);
void line_arm(void);

/* At a reset: the outputs, and what is kept of the chip's flags; then, when simavr has reset its parts, the inputs. */
void pins_reset(void);
void pins_restore(void);
void converter_reset(void);

/* Octets that end before this cycle are lost: the chip is held in reset. */
void line_lose_until(uint64_t end);

#endif
