/* The one outgoing frame: made here, kept until the board's queue takes it. Everything here runs in the main loop.
 *
 * Nothing is made while a frame is still waiting, so that no answer is lost for want of room.
 */
#ifndef OUT_H
#define OUT_H

#include <stdbool.h>
#include <stdint.h>

void out_start(void);

/* Tries to hand over what is waiting; true when nothing waits any more and out_content may be written to. */
bool out_is_free(void);

/* Whether a frame with so much content may go now although an answer may be due soon: for what can wait, the
 * samples. It leaves so much room in the queue that the longest answer gets in before the octets that arrive
 * meanwhile are too many. */
bool out_can_spare(uint8_t content_length);

/* Where the writers of bw_messages.h put the content of the next frame. */
uint8_t *out_content(void);

/* Closes and hands over the frame whose content was written. */
void out_send(uint8_t content_length);

#endif
