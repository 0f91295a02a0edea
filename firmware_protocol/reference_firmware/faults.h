/* Faults of the device and its wiring, until they are told. Everything here runs in the main loop. */
#ifndef FAULTS_H
#define FAULTS_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_messages.h"

void faults_start(void);

/* Looks for new faults: where interrupts note them, and from time to time at the memory. */
void faults_look(void);

/* An index pulse, for the spacing to the one before. */
void faults_on_index(const struct bw_index_event *event);

/* The next fault to tell; false when there is none. */
bool faults_take(struct bw_fault_event *event);

#endif
