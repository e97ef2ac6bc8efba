// SPDX-License-Identifier: Apache-2.0
/* What a restart must not lose: pulses that were counted but not yet sent, and the filters that the host has set.
 *
 * Where memory outlives a restart (not a power-off), the counts of the next start begin with those pulses, so that a
 * restart loses only what was pumped while the board was down. */
#ifndef KEEP_H
#define KEEP_H

#include <stdbool.h>
#include <stdint.h>

#include "counter.h"

struct keep_input {
    uint32_t carried; /* pulses that this start began with */
    uint32_t reported; /* highest count that has left the board */
    struct filter filter; /* in force */
};

struct keep {
    uint32_t mark;
    struct keep_input flow;
    struct keep_input wheel;
    bool report_on_its_way; /* one has been handed to the line, and not all of it has left */
};

/* The filters of a board that nobody has told otherwise. */
struct filters {
    struct filter flow;
    struct filter wheel;
};

/* Call once at a start, with the counters as the last start left them: clears them with the right filter and sets
 * `carried` of both inputs. `trusted` is false when the supply was off or low: then memory says nothing. */
void keep_begin(struct keep *keep, bool trusted, volatile struct counter *flow, volatile struct counter *wheel,
                const struct filters *usual);

#endif
