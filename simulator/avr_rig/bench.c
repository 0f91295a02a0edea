/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The bench: the real program of the microcontroller in an emulator, driven over the pipe of bench_pipe.h.
 *
 *     bench PROGRAM.elf [--eeprom FILE.eep] [--figures FILE]
 *
 * --eeprom fills the EEPROM before power-on, --figures writes what was measured when the bench ends.
 */
#include <string.h>

#include "bench_pipe.h"
#include "board.h"

static struct bench_request request;
static struct bench_answer answer;

static void write_figures(const char *path)
{
    unsigned deepest;
    unsigned left;
    board_stack(&deepest, &left);
    FILE *file = fopen(path, "w");
    if (file == NULL || fprintf(file, "stack_octets %u\nstack_left_octets %u\n", deepest, left) < 0 ||
        fclose(file) != 0) {
        bench_broken("the figures cannot be written; give a file in a folder that is there.");
    }
}

int main(int count, char **words)
{
    const char *program = NULL;
    const char *eeprom = NULL;
    const char *figures = NULL;
    for (int i = 1; i < count; i++) {
        if (strcmp(words[i], "--eeprom") == 0 && i + 1 < count) {
            eeprom = words[++i];
        } else if (strcmp(words[i], "--figures") == 0 && i + 1 < count) {
            figures = words[++i];
        } else if (program == NULL && words[i][0] != '-') {
            program = words[i];
        } else {
            program = NULL;
            break;
        }
    }
    if (program == NULL) {
        bench_broken("usage: bench PROGRAM.elf [--eeprom FILE.eep] [--figures FILE]");
    }
    board_start(program, eeprom, &answer);
    bench_greet(BENCH_CLOCK_HZ, board_baud());
    for (;;) {
        bench_next(&request);
        if (request.op == 'Q') {
            break;
        }
        if (request.op == 'S') {
            board_step(&request);
        } else if (request.op == 'R') {
            board_reset((enum bench_reset)request.cause, request.duration_cycles);
        } else {
            board_hang();
        }
        bench_send(&answer);
    }
    if (figures != NULL) {
        write_figures(figures);
    }
    return 0;
}
