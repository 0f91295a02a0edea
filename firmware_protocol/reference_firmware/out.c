/* The one outgoing frame. See out.h. */
#include "out.h"

#include "../c/bw_frame.h"
#include "hal.h"

#define FRAME_OVERHEAD 5u /* checksum, stuffing, both zeros */

/* The longest answer, EchoReply of 200 octets, has a frame of 208. With this much room left in a queue of 256 it
 * waits for 120 octets to go, and the board keeps what arrives meanwhile. */
#define KEPT_FOR_AN_ANSWER 88u

/* Main loop only. */
static uint8_t frame[BW_FRAME_MAX];
static uint16_t waiting_octets;

void out_start(void)
{
    waiting_octets = 0;
}

bool out_is_free(void)
{
    if (waiting_octets != 0 && hal_send(frame, waiting_octets)) {
        waiting_octets = 0;
    }
    return waiting_octets == 0;
}

bool out_can_spare(uint8_t content_length)
{
    return hal_send_room() >= content_length + FRAME_OVERHEAD + KEPT_FOR_AN_ANSWER;
}

uint8_t *out_content(void)
{
    return frame + BW_CONTENT_AT;
}

void out_send(uint8_t content_length)
{
    waiting_octets = bw_frame_close(frame, content_length);
    (void)out_is_free();
}
