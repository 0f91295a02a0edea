/* The board's constants on the PC: those of the microcontroller, so that both run the same firmware. */
#ifndef CONFIG_HOST_H
#define CONFIG_HOST_H

#define HAL_FIRMWARE_VERSION "reference 1.0 pc"

#include "config.h"

#endif
