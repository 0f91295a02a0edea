/* The board's constants: ATmega328P at 16 MHz and 5 V.
 *
 * HAL_VALVES_FITTED and HAL_HOLD_FITTED are set by the build (make VALVES=0 HOLD=0), for a rig with hand valves or without
 * a hold-to-run switch; HAL_BAUD by make BAUD=1000000.
 */
#ifndef CONFIG_H
#define CONFIG_H

#define HAL_TICK_RATE_HZ UINT32_C(2000000) /* timer 1: 16 MHz / 8 */
#define HAL_STREAMED 3u
#define HAL_CONVERSIONS 4u
#define HAL_RAW_MAX 4092u
#define HAL_VOLTS_AT_ZERO 0.0f
#define HAL_VOLTS_PER_RAW (5.0f / 4096.0f)
#define HAL_SENSOR_SUPPLY_VOLTS 5.0f
#define HAL_RATE_MAX_HZ 1000u
#define HAL_BLOCK_MAX 8u
#define HAL_COUNTS_PER_REV 4096u
#ifndef HAL_FIRMWARE_VERSION
#define HAL_FIRMWARE_VERSION "reference 1.0 avr"
#endif

#ifndef HAL_VALVES_FITTED
#define HAL_VALVES_FITTED 1
#endif
#ifndef HAL_HOLD_FITTED
#define HAL_HOLD_FITTED 1
#endif
#ifndef HAL_BAUD
#define HAL_BAUD 500000
#endif

/* Code = 1024 x reference / supply. The reference is 1.0 V to 1.2 V from chip to chip (data sheet), so that no chip at
 * 5 V +- 5 % is outside of this, and a chip with exactly 1.1 V is found outside from 4.3 V down and from 5.9 V up. */
#define HAL_SUPPLY_CODE_MIN 190u
#define HAL_SUPPLY_CODE_MAX 262u
#define HAL_REFERENCE_MV 1100u
#define HAL_CODES 1024u

#endif
