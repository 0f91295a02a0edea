/* Faults of the device and its wiring, told at a bounded rate: each kind at most once in FAULTS_APART_MS, the later ones
 * added up or replaced meanwhile. Everything here runs in the main loop. */
#ifndef FAULTS_H
#define FAULTS_H

#include <stdbool.h>
#include <stdint.h>

#include "../c/bw_messages.h"

#define FAULTS_APART_MS 100u

void faults_start(void);

/* Looks for new faults where interrupts note them. */
void faults_look(void);

/* An index pulse, for the spacing to the one before. */
void faults_on_index(const struct bw_index_event *event);

/* The next fault to tell; false when there is none, or none may be told yet. Each FAULTS_APART_MS it looks at the memory. */
bool faults_take(struct bw_fault_event *event);

#endif
