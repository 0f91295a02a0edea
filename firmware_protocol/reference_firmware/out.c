/* The one outgoing frame. See out.h. */
#include "out.h"

#include "../c/bw_frame.h"
#include "hal.h"

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

uint8_t *out_content(void)
{
    return frame + BW_CONTENT_AT;
}

void out_send(uint8_t content_length)
{
    waiting_octets = bw_frame_close(frame, content_length);
    (void)out_is_free();
}
