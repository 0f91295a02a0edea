/* What the parts of the PC's board share. Everything runs in the one thread of the child process. */
#ifndef HAL_HOST_H
#define HAL_HOST_H

#include <stdbool.h>
#include <stdint.h>

#include "bench_pipe.h"

/* Each octet is a start bit, eight data bits and a stop bit. */
#define OCTET_CYCLES (10u * BENCH_CLOCK_HZ / HAL_BAUD)

/* The line: queues at both ends of the device's serial port. Octets from the bench wait for the line without limit
 * of the port, then arrive one each OCTET_CYCLES; octets to the bench leave so. */
void line_reset(uint64_t cycle); /* what the device held or was sending is lost */
void line_feed(const uint8_t *octets, uint16_t count, uint64_t cycle);
uint64_t line_next_cycle(void); /* of the next octet's end, either way; UINT64_MAX when there is none */
/* Does what is due at that cycle. listening: the device is not in reset. */
void line_run(uint64_t cycle, bool listening, struct bench_answer *answer);

/* What survives a reset: the count of resets and the serial number. file: NULL for none, then a process remembers. */
void saved_start(const char *file);

#endif
