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
#include "wire.h"

struct keep_input {
    uint32_t carried; /* pulses that this start began with */
    uint32_t reported; /* highest count that has left the board */
    uint32_t on_its_way; /* count in the newest report */
    struct filter filter; /* in force */
};

/* What has become of the newest report. A reset leaves no time to find out, so each change is one byte written. */
enum leaving {
    LEAVING_DONE, /* it has left whole: `reported` is its count */
    LEAVING_CUT, /* a restart now is sure to cut it short: its pulses are carried over */
    LEAVING_IN_DOUBT /* a restart now may find it whole or cut: it is sent once more, and a receiver ignores the second */
};

struct keep {
    uint32_t mark;
    struct keep_input flow;
    struct keep_input wheel;
    uint8_t leaving; /* enum leaving */
    char report[WIRE_REPORT_SIZE]; /* the newest, with its line feed */
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
