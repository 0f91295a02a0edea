/* What the firmware asks of the board, and what the board calls in the firmware.
 *
 * The board's constants come from HAL_CONFIG, a header named by the build: "config.h" (the microcontroller, the
 * default) or "config_host.h" (the PC). Each function says in which context it may run: main loop, interrupt, or any.
 * Interrupts do not nest. What both contexts touch is touched by the main loop only between hal_lock and hal_unlock.
 */
#ifndef HAL_H
#define HAL_H

#include <stdbool.h>
#include <stdint.h>

#ifndef HAL_CONFIG
#define HAL_CONFIG "config.h"
#endif
#include HAL_CONFIG

/* HAL_CONFIG must define:
 *   HAL_TICK_RATE_HZ        ticks of hal_ticks in a second; a whole number of thousands
 *   HAL_STREAMED            analog channels in every sample: 3 (regulated pressure, cylinder pressure, spare)
 *   HAL_CONVERSIONS         conversions of one channel that are added up to a raw word: 4
 *   HAL_RAW_MAX             HAL_CONVERSIONS times the largest code; at 0 and at HAL_RAW_MAX a channel is saturated
 *   HAL_VOLTS_AT_ZERO, HAL_VOLTS_PER_RAW, HAL_SENSOR_SUPPLY_VOLTS   as ChannelDescription tells them (float constants)
 *   HAL_RATE_MAX_HZ         fastest stream: 1000, a sample each millisecond
 *   HAL_BLOCK_MAX           most samples in a block
 *   HAL_COUNTS_PER_REV      of the encoder, after times four
 *   HAL_VALVES_FITTED, HAL_HOLD_FITTED   1 or 0: both solenoid valves; the hold-to-run switch
 *   HAL_FIRMWARE_VERSION    text, at most 64 octets
 *   HAL_REFERENCE_MV        the chip's own reference, channel 3
 *   HAL_CODES               codes of a conversion of channel 3 from 0 V to its supply: 1024 for ten bits
 *   HAL_SUPPLY_CODE_MIN, HAL_SUPPLY_CODE_MAX   codes of channel 3 outside of which the supply voltage is a fault
 */

/* The rhythm of the conversions: a conversion each 62.5 us, channels 0, 1, 2, 3 in turn; a round is 250 us. */
#define HAL_CHANNELS 4u
#define HAL_HOUSEKEEPING 3u /* the chip's own reference measured against its supply: a low supply reads high */
#define HAL_ROUNDS_PER_MS 4u
#define HAL_SERIAL_NUMBER_MAX 32u

/* ---- asked of the board ---- */

/* Any context. Ticks since some moment before app_start; wraps at 2^32. */
uint32_t hal_ticks(void);

/* Any context, acts at once. supply_energised: the supply valve is open. vent_energised: the vent valve is CLOSED.
 * Before app_start both are de-energised. Where both change, the supply is driven first. */
void hal_valves(bool supply_energised, bool vent_energised);

/* Any context. The raw contact: true = closed to ground = pressed. A cut wire reads false. */
bool hal_hold_pressed(void);

/* Any context. The levels of the encoder now: A in bit 0, B in bit 1. */
uint8_t hal_encoder_level(void);

/* Main loop; short, not nested. Interrupts are held off between the two. Both are compiler barriers (nothing shared is
 * kept in a register over them): the shared data are not volatile. */
uint8_t hal_lock(void);
void hal_unlock(uint8_t before);

/* Main loop. Puts the whole frame into the queue to the host, or returns false and puts nothing.
 * The queue, when empty, takes a frame of 256 octets. */
bool hal_send(const uint8_t *octets, uint16_t length);

/* Main loop. How many octets the queue to the host takes now. */
uint16_t hal_send_room(void);

/* Main loop. The next octet from the host, or -1 when there is none. Octets that the board lost (overrun, framing
 * error, full queue) are simply not there: the frame's checksum finds out. */
int16_t hal_receive(void);

/* Main loop, called once, from app_start. Another number after each reset, never 0. */
uint32_t hal_boot_id(void);

/* Main loop. Writes the saved serial number, without a final zero, at most `longest` octets; returns how many.
 * UTF-8; "unset" when none is saved. */
uint8_t hal_serial_number(char *text, uint8_t longest);

/* Main loop. 0 = sound; 1 = the guard at the end of the stack was overwritten; 2 = what is saved fails its check. */
uint8_t hal_memory_fault(void);

/* Main loop. The board resets itself when this is not called for longer than its watchdog's time. */
void hal_watchdog_pet(void);

/* Main loop, at the end of each app_poll. Sleeps until an octet from the host is waiting or a millisecond is over,
 * or for less. */
void hal_idle(void);

/* ---- called by the board ---- */

/* Main loop. Once after each reset, with interrupts off: gives every variable of the firmware its first value itself,
 * so that a board may call it again in place of a reset. The board turns interrupts on afterwards. */
void app_start(void);

/* Main loop. Again and again; returns within a few milliseconds. */
void app_poll(void);

/* Interrupt. After an edge of A or B; ab as hal_encoder_level. Calls with an unchanged level do no harm. The count
 * rises when A leads B: ab = 0, 1, 3, 2, 0. */
void app_on_edge(uint8_t ab);

/* Interrupt. The rising edge of the encoder's index. */
void app_on_index(void);

/* Interrupt, timed by hardware. The result of a conversion; channels come in turn, beginning with 0. */
void app_on_conversion(uint8_t channel, uint16_t code);

#endif
