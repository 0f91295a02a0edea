/* The PC's serial line in virtual time, with the queues of the microcontroller. Everything runs in the one thread
 * of the child process. */
#include <string.h>

#include "hal.h"
#include "hal_host.h"

#define SEND_ROOM 256u
#define RECEIVE_ROOM 176u /* one place stays empty */
#define LINE_ROOM (16u * BENCH_MANY)

static uint8_t send_ring[SEND_ROOM];
static uint16_t send_first, send_count;
static uint64_t sent_cycle; /* when the octet that is being sent has gone */

static uint8_t receive_ring[RECEIVE_ROOM];
static uint16_t receive_first, receive_count;

/* Octets that the bench has written and that have not arrived yet. */
static uint8_t line[LINE_ROOM];
static uint32_t line_first, line_count;
static uint64_t arrived_cycle; /* when the next octet has arrived */

static uint64_t now;

void line_reset(uint64_t cycle)
{
    send_first = send_count = receive_first = receive_count = 0;
    now = cycle;
}

void line_feed(const uint8_t *octets, uint16_t count, uint64_t cycle)
{
    if (count > LINE_ROOM - line_count) {
        bench_broken("more octets wait for the line than it can take; make the steps longer.");
    }
    if (line_count == 0) {
        arrived_cycle = (arrived_cycle > cycle ? arrived_cycle : cycle) + OCTET_CYCLES;
    }
    for (uint16_t i = 0; i < count; i++) {
        line[(line_first + line_count++) % LINE_ROOM] = octets[i];
    }
}

uint64_t line_next_cycle(void)
{
    uint64_t next = UINT64_MAX;
    if (send_count != 0) {
        next = sent_cycle;
    }
    if (line_count != 0 && arrived_cycle < next) {
        next = arrived_cycle;
    }
    return next;
}

static void arrive(bool listening)
{
    uint8_t octet = line[line_first];
    line_first = (line_first + 1u) % LINE_ROOM;
    line_count--;
    if (listening && receive_count < RECEIVE_ROOM - 1u) {
        receive_ring[(receive_first + receive_count++) % RECEIVE_ROOM] = octet;
    }
}

void line_run(uint64_t cycle, bool listening, struct bench_answer *answer)
{
    now = cycle;
    if (send_count != 0 && sent_cycle == cycle) {
        bench_tell_octet(answer, send_ring[send_first]);
        send_first = (uint16_t)((send_first + 1u) % SEND_ROOM);
        send_count--;
        sent_cycle = cycle + OCTET_CYCLES;
    }
    if (line_count != 0 && arrived_cycle == cycle) {
        arrive(listening);
        if (line_count != 0) {
            arrived_cycle = cycle + OCTET_CYCLES;
        }
    }
}

uint16_t hal_send_room(void)
{
    return (uint16_t)(SEND_ROOM - send_count);
}

bool hal_send(const uint8_t *octets, uint16_t length)
{
    if (length > hal_send_room()) {
        return false;
    }
    if (send_count == 0) {
        sent_cycle = now + OCTET_CYCLES;
    }
    for (uint16_t i = 0; i < length; i++) {
        send_ring[(send_first + send_count++) % SEND_ROOM] = octets[i];
    }
    return true;
}

int16_t hal_receive(void)
{
    if (receive_count == 0) {
        return -1;
    }
    uint8_t octet = receive_ring[receive_first];
    receive_first = (uint16_t)((receive_first + 1u) % RECEIVE_ROOM);
    receive_count--;
    return octet;
}
