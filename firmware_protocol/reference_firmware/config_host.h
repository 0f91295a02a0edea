/* The board's constants on the PC: those of the microcontroller, so that both run the same firmware.
 *
 * HAL_VALVES_FITTED, HAL_HOLD_FITTED and HAL_BAUD may be set by the build (-D), for a rig with hand valves, without a
 * switch, on another line.
 */
#ifndef CONFIG_HOST_H
#define CONFIG_HOST_H

#define HAL_TICK_RATE_HZ UINT32_C(2000000)
#define HAL_STREAMED 3u
#define HAL_CONVERSIONS 4u
#define HAL_RAW_MAX 4092u
#define HAL_VOLTS_AT_ZERO 0.0f
#define HAL_VOLTS_PER_RAW (5.0f / 4096.0f)
#define HAL_SENSOR_SUPPLY_VOLTS 5.0f
#define HAL_RATE_MAX_HZ 1000u
#define HAL_BLOCK_MAX 8u
#define HAL_COUNTS_PER_REV 4096u
#define HAL_FIRMWARE_VERSION "reference 1.0 pc"

#ifndef HAL_VALVES_FITTED
#define HAL_VALVES_FITTED 1
#endif
#ifndef HAL_HOLD_FITTED
#define HAL_HOLD_FITTED 1
#endif
#ifndef HAL_BAUD
#define HAL_BAUD 500000u
#endif

/* The reference is 1.1 V (1.0 V to 1.2 V by the data sheet): 225 at 5 V. Wide enough for every chip at 5 V +- 5 %. */
#define HAL_SUPPLY_CODE_MIN 190u
#define HAL_SUPPLY_CODE_MAX 262u
#define HAL_REFERENCE_MV 1100u
#define HAL_CODES 1024u

#endif
