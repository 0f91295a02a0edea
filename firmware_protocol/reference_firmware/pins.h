/* Which pin of the ATmega328P does what. hardware_notes draws the same.
 *
 * All pins are inputs without pull-up from reset until the program has started, and for good when there is no program.
 * Each valve's MOSFET has a pull-down at its gate, so that then no valve is energised: supply shut, vent open.
 *
 * The valves are not on PB3, PB4 or PB5: these move while the chip is being programmed.
 */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Outputs, port B, high = energised. The supply valve opens, the vent valve closes when energised. */
#define PIN_SUPPLY PB0
#define PIN_VENT PB1

/* Inputs, port D. RXD is PD0 and TXD is PD1. */
#define PIN_ENCODER_A PD2 /* INT0 */
#define PIN_ENCODER_B PD3 /* INT1 */
#define PIN_INDEX PD4     /* PCINT20 and T0 */
#define PIN_HOLD PD5      /* a contact to ground; open, also by a cut wire, is released */

/* What the multiplexer of the converter selects: pins of port C, then the chip's own 1.1 V reference. */
#define MUX_REGULATED 0u
#define MUX_CYLINDER 1u
#define MUX_SPARE 2u
#define MUX_REFERENCE 14u

#endif
