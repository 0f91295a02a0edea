/* The firmware as a whole: its start, its main loop, and the interrupt of the conversions. The board calls these
 * (hal.h); the other interrupts are in crank.c. */
#include "air.h"
#include "crank.h"
#include "faults.h"
#include "hal.h"
#include "hold.h"
#include "out.h"
#include "sampler.h"
#include "talk.h"
#include "tell.h"

/* The watchdog, of 64 ms, is petted each 32 ms of conversions: they may not come at less than half their rate. */
#define ROUNDS_BETWEEN_PETS (32u * HAL_ROUNDS_PER_MS)

/* Main loop only. */
static uint8_t rounds_at_pet;
static bool has_answered; /* since an event had its turn */

void app_start(void)
{
    static const uint8_t end_of_cut_frame = 0;
    crank_start();
    hold_start();
    sampler_start();
    air_start();
    out_start();
    faults_start();
    talk_start();
    tell_start();
    rounds_at_pet = 0;
    has_answered = false;
    (void)hal_send(&end_of_cut_frame, 1);
}

/* The interlock hangs on the conversions, and counts its times by them: should they stop, or be held up so that its time
 * goes far too slowly, the watchdog must bite as if this loop hung. */
static void pet_while_conversions_go_on(void)
{
    uint8_t before = hal_lock();
    uint8_t rounds = sampler_shared.rounds;
    hal_unlock(before);
    if ((uint8_t)(rounds - rounds_at_pet) >= ROUNDS_BETWEEN_PETS) {
        rounds_at_pet = rounds;
        hal_watchdog_pet();
    }
}

/* Commands and events take turns: neither a flood of commands nor a bad line of the encoder silences the other. */
static bool answer_or_tell(void)
{
    if (has_answered) {
        has_answered = false;
        if (tell_fault() || tell_index()) {
            return true;
        }
    }
    has_answered = talk_hear();
    return has_answered || tell_fault() || tell_index();
}

/* Makes the next frame that is due, if any. What the air does comes before further commands, so that events are told in
 * their order; answers come before samples, which are flagged when they have to be dropped. */
static bool say_something(void)
{
    return tell_status_if_due() || tell_air() || talk_go_on() || tell_hold() || answer_or_tell() || tell_block();
}

void app_poll(void)
{
    pet_while_conversions_go_on();
    if (!out_is_free() || !say_something()) {
        hal_idle();
    }
}

/* What is due each round is spread over its conversions: while one of these interrupts runs, no edge of the encoder is
 * seen, and two edges must not pass meanwhile. */
void app_on_conversion(uint8_t channel, uint16_t code)
{
    sampler_on_conversion(channel, code);
    switch (channel) {
    case CHANNEL_REGULATED:
        hold_on_round();
        air_on_round();
        break;
    case CHANNEL_CYLINDER:
        air_watch();
        break;
    case CHANNEL_SPARE:
        sampler_look_for_faults();
        break;
    default:
        sampler_on_round();
        break;
    }
}
