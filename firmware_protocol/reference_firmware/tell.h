/* What the device tells without being asked, and Status. Everything here runs in the main loop, and makes a frame only
 * while out_is_free. The functions that return bool return whether they made a frame. */
#ifndef TELL_H
#define TELL_H

#include <stdbool.h>
#include <stdint.h>

void tell_start(void);

/* The stream has started anew: Status comes each second from now on. */
void tell_stream_started(void);

/* Status with this request_id. */
void tell_status(uint16_t request_id);

bool tell_status_if_due(void);
bool tell_air(void);
bool tell_hold(void);
bool tell_fault(void);
bool tell_index(void);
bool tell_block(void);

#endif
