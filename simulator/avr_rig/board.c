/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The board around the emulated chip: time, reset and requests. Runs on the PC; the functions named on_ are called by
 * simavr while the program runs.
 *
 * What simavr does in another way than the chip, and is put right here, in pins.c, converter.c and line.c:
 *   - INT0 and INT1 are polled each cycle in level mode, in which they wake: strict level interrupts are turned off.
 *   - A write to PORTD raises inputs with pull-ups: the true levels are given as external pull-ups before each change.
 *   - A reset forgets the levels of the pins and the board's timers.
 *   - There is no trigger of the converter by timer 1: compare B starts it here, and as on the chip only when the
 *     program has cleared the flag of the match before.
 *   - The result comes from the channel that is selected when it is read, scaled by 1023: the code is latched here when
 *     the conversion starts, and put into the result when it ends.
 *   - An octet takes 11 bit times, the next one is not told before as long again, and 63 may wait unread: here it takes
 *     10, the next is told at once when one is read, and the third that waits is lost when another one follows it.
 *   - An interrupt of a pin or of timer 1 that comes while it is masked is forgotten: here it comes when the mask is
 *     lifted.
 *   - The program's sleep would be slept on the PC: here it is counted. One that begins while the converter is at rest
 *     may start a conversion on the chip, which simavr does not do: here such a program is ended with a sentence.
 */
#include "board.h"

#include <simavr/sim_cycle_timers.h>
#include <string.h>

#include "parts.h"

#define RUN_CYCLES 4000 /* most cycles that simavr runs without a look at its timers */
#define PAINT 0xC5

struct chip chip;
struct bench_answer *answer;
uint64_t step_began;

static uint64_t slept_cycles;
static uint64_t sleeps_until; /* when simavr comes back to a sleep that goes on */
static bool was_reset;

static bool hung;
static uint8_t patched[2];

/* ---- time ---- */

void call_at(uint64_t cycle, avr_cycle_timer_t timer)
{
    uint64_t now = chip.avr->cycle;
    avr_cycle_timer_register(chip.avr, cycle > now ? cycle - now : 0, timer, NULL);
}

static void on_sleep(avr_t *avr, avr_cycle_count_t how_long)
{
    if (avr->cycle != sleeps_until) {
        converter_check_sleep();
    }
    slept_cycles += how_long + 1; /* simavr adds the one */
    sleeps_until = avr->cycle + how_long + 1;
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
    pins_arm();
    line_arm();
}

/* ---- reset ---- */

static void (*reset_of_chip)(avr_t *avr);

static void on_reset(avr_t *avr)
{
    reset_of_chip(avr);
    was_reset = true;
    answer->resets++;
    pins_reset();
    converter_reset();
    if (hung) {
        memcpy(avr->flash + chip.app_poll, patched, sizeof(patched));
        hung = false;
    }
}

/* After simavr has reset all its parts. */
static void mend_after_reset(void)
{
    was_reset = false;
    pins_restore();
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
    pins_start();
    converter_start();
    line_start();
    power_on();
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
    slept_cycles = 0;
    step_began = end;
}

void board_step(const struct bench_request *request)
{
    uint64_t before = chip.avr->cycle;
    uint64_t end = step_began + request->duration_cycles;
    pins_begin(request);
    converter_begin(request);
    line_begin(request);
    arm_timers();
    call_at(end, on_step_end);
    run_until(end);
    pins_end();
    converter_end();
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
    line_lose_until(end);
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
