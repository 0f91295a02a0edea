/* The bench pipe: how a test drives a child process that runs the firmware, over its stdin and stdout.
 *
 * Runs on the PC only, in the child's main function. Integers are little-endian. The child writes first:
 *
 *     "BWB1", u32 clock_hz, u32 baud
 *
 * and then answers one request after another:
 *
 *     'S' step    u32 duration_cycles, u16 pin_count, u16 code_rows, u16 rx_count,
 *                 pin_count x {u32 offset_cycles, u8 pin, u8 level}, code_rows x {u16 code[4]}, rx_count octets
 *     'R' reset   u8 cause (enum bench_reset), u32 held_cycles
 *     'H' hang    the main loop is executed no more, interrupts go on, until the next reset
 *     'Q' quit    (the end of the input is the same)
 *
 * Offsets of pins ascend, are counted from the step's start and are less than its duration. Level 1 of the hold
 * switch is pressed: the child knows the electrical sense. Row k of codes holds for the conversions started from
 * cycle 4000 k of the step to cycle 4000 (k + 1), the last row until others come. A code is 0 to 1023; channel 3 is
 * the chip's reference against its supply, 225 at 5 V. Octets to the device wait in a queue and arrive at the line's
 * rate. Before the first step all pins and codes are 0, but for 225 in channel 3.
 *
 * The answer to 'S', 'R' (duration: held_cycles) and 'H' (duration: 0):
 *
 *     u64 cycle_now, u16 tx_count, u16 output_count, u8 resets, u8 0, u32 busy_cycles,
 *     tx_count octets, output_count x {u32 offset_cycles, u8 outputs}
 *
 * outputs: bit 0 supply energised (open), bit 1 vent energised (closed), after a change. resets: how many resets
 * began since the last answer, the asked-for one among them. busy_cycles: in which the processor did not sleep. A
 * step must be short enough for tx_count to fit (half a second is).
 */
#ifndef BENCH_PIPE_H
#define BENCH_PIPE_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define BENCH_MANY 65535u
#define BENCH_ROW_CYCLES 4000u
#define BENCH_CLOCK_HZ UINT32_C(16000000)
#define BENCH_SUPPLY_CODE 225u /* 1.1 V against 5 V */

enum bench_pin { BENCH_ENCODER_A, BENCH_ENCODER_B, BENCH_INDEX, BENCH_HOLD, BENCH_PINS };
enum bench_reset { BENCH_POWER_ON, BENCH_RESET_PIN, BENCH_BROWN_OUT };
enum bench_outputs { BENCH_SUPPLY_ENERGISED = 1, BENCH_VENT_ENERGISED = 2 };

struct bench_pin_change {
    uint32_t offset_cycles;
    uint8_t pin, level;
};

struct bench_request {
    uint8_t op;              /* 'S', 'R', 'H' or 'Q' */
    uint8_t cause;           /* of 'R' */
    uint32_t duration_cycles; /* of 'S'; held_cycles of 'R' */
    uint16_t pin_count, code_rows, rx_count;
    struct bench_pin_change pins[BENCH_MANY];
    uint16_t codes[BENCH_MANY][4];
    uint8_t rx[BENCH_MANY];
};

struct bench_output_change {
    uint32_t offset_cycles;
    uint8_t outputs;
};

struct bench_answer {
    uint64_t cycle_now;
    uint16_t tx_count, output_count;
    uint8_t resets;
    uint32_t busy_cycles;
    uint8_t tx[BENCH_MANY];
    struct bench_output_change outputs[BENCH_MANY];
};

/* Ends the child: one sentence on stderr, exit code 2. */
static inline void bench_broken(const char *sentence)
{
    fprintf(stderr, "bench: %s\n", sentence);
    exit(2);
}

static inline uint32_t bench_read(unsigned octets)
{
    uint32_t value = 0;
    for (unsigned i = 0; i < octets; i++) {
        int octet = getchar();
        if (octet == EOF) {
            bench_broken("the request ends in its middle; write it whole.");
        }
        value |= (uint32_t)octet << (8 * i);
    }
    return value;
}

static inline void bench_read_step(struct bench_request *request)
{
    uint32_t before = 0;
    request->duration_cycles = bench_read(4);
    request->pin_count = (uint16_t)bench_read(2);
    request->code_rows = (uint16_t)bench_read(2);
    request->rx_count = (uint16_t)bench_read(2);
    for (uint16_t i = 0; i < request->pin_count; i++) {
        struct bench_pin_change *change = &request->pins[i];
        change->offset_cycles = bench_read(4);
        change->pin = (uint8_t)bench_read(1);
        change->level = (uint8_t)bench_read(1);
        if (change->offset_cycles < before || change->offset_cycles >= request->duration_cycles) {
            bench_broken("the offsets of the pins do not ascend inside the step; sort them.");
        }
        if (change->pin >= BENCH_PINS || change->level > 1) {
            bench_broken("there is no such pin or level; pins are 0 to 3, levels 0 and 1.");
        }
        before = change->offset_cycles;
    }
    for (uint16_t row = 0; row < request->code_rows; row++) {
        for (unsigned channel = 0; channel < 4; channel++) {
            request->codes[row][channel] = (uint16_t)bench_read(2);
            if (request->codes[row][channel] > 1023) {
                bench_broken("a code is over 1023; ten bits are all there are.");
            }
        }
    }
    if (fread(request->rx, 1, request->rx_count, stdin) != request->rx_count) {
        bench_broken("the request ends in its middle; write it whole.");
    }
}

/* Reads the next request; the end of the input is 'Q'. */
static inline void bench_next(struct bench_request *request)
{
    int op = getchar();
    request->duration_cycles = 0;
    request->cause = BENCH_POWER_ON;
    request->pin_count = request->code_rows = request->rx_count = 0;
    request->op = op == EOF ? (uint8_t)'Q' : (uint8_t)op;
    if (op == 'S') {
        bench_read_step(request);
    } else if (op == 'R') {
        request->cause = (uint8_t)bench_read(1);
        request->duration_cycles = bench_read(4);
        if (request->cause > BENCH_BROWN_OUT) {
            bench_broken("there is no such cause of a reset; causes are 0 to 2.");
        }
    } else if (op != 'H' && op != 'Q' && op != EOF) {
        bench_broken("there is no such request; requests are S, R, H and Q.");
    }
}

/* Notes an octet that the device sent. */
static inline void bench_tell_octet(struct bench_answer *answer, uint8_t octet)
{
    if (answer->tx_count == BENCH_MANY) {
        bench_broken("the step is too long for its answer; make it shorter.");
    }
    answer->tx[answer->tx_count++] = octet;
}

/* Notes that the outputs have changed. */
static inline void bench_tell_outputs(struct bench_answer *answer, uint32_t offset_cycles, uint8_t outputs)
{
    if (answer->output_count == BENCH_MANY) {
        bench_broken("the step is too long for its answer; make it shorter.");
    }
    answer->outputs[answer->output_count].offset_cycles = offset_cycles;
    answer->outputs[answer->output_count++].outputs = outputs;
}

static inline void bench_write(uint64_t value, unsigned octets)
{
    for (unsigned i = 0; i < octets; i++) {
        putchar((int)((value >> (8 * i)) & 0xFF));
    }
}

/* Writes what the child says first. */
static inline void bench_greet(uint32_t clock_hz, uint32_t baud)
{
    fputs("BWB1", stdout);
    bench_write(clock_hz, 4);
    bench_write(baud, 4);
    fflush(stdout);
}

/* Writes the answer and empties it for the next; cycle_now is kept. */
static inline void bench_send(struct bench_answer *answer)
{
    bench_write(answer->cycle_now, 8);
    bench_write(answer->tx_count, 2);
    bench_write(answer->output_count, 2);
    bench_write(answer->resets, 1);
    bench_write(0, 1);
    bench_write(answer->busy_cycles, 4);
    fwrite(answer->tx, 1, answer->tx_count, stdout);
    for (uint16_t i = 0; i < answer->output_count; i++) {
        bench_write(answer->outputs[i].offset_cycles, 4);
        bench_write(answer->outputs[i].outputs, 1);
    }
    fflush(stdout);
    answer->tx_count = answer->output_count = 0;
    answer->resets = 0;
    answer->busy_cycles = 0;
}

#endif
