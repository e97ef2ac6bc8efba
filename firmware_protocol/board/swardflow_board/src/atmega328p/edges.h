// SPDX-License-Identifier: Apache-2.0
/* Clock and counting inputs: timer 1 and INT0. */
#ifndef EDGES_H
#define EDGES_H

#include <stdbool.h>

#include "../core/keep.h"

/* Clears the counters, with what the last start left behind if memory is `trusted`, and begins to count; the clock
 * starts at 0. Interrupts must be off. */
void edges_start(bool trusted);

#endif
