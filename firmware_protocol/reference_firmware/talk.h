/* The conversation: frames from the host, and the answers to them. Everything here runs in the main loop, and makes a
 * frame only while out_is_free. */
#ifndef TALK_H
#define TALK_H

#include <stdbool.h>
#include <stdint.h>

/* What Status tells of the line and the conversation. */
struct talk_counters {
    uint32_t frames_received, frames_bad, frames_unknown, commands_refused;
};

void talk_start(void);

/* The rest of an answer of several frames. True when it made a frame. */
bool talk_go_on(void);

/* Takes octets from the host, to the end of a frame at most, and answers it. True when there may be more of them. */
bool talk_hear(void);

/* What identifies this run of the device. */
uint32_t talk_boot_id(void);

const struct talk_counters *talk_counters(void);

#endif
