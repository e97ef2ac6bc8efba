// SPDX-License-Identifier: Apache-2.0
/* One pulse input: how many edges, when the last one was, and how many the filter has refused. PROTOCOL.md, section 5. */
#ifndef COUNTER_H
#define COUNTER_H

#include <stdbool.h>
#include <stdint.h>

/* As the command `f` numbers them. */
enum input { INPUT_FLOW = 1, INPUT_WHEEL = 2 };
enum filter_rule { FILTER_SPACING, FILTER_REST };

#define FILTER_US_LOWEST 50u
#define FILTER_US_HIGHEST 50000u

struct filter {
    uint8_t rule; /* enum filter_rule */
    uint16_t us; /* the time T of the rule */
};

static inline bool filter_is_possible(uint32_t rule, uint32_t us)
{
    return rule <= FILTER_REST && us >= FILTER_US_LOWEST && us <= FILTER_US_HIGHEST;
}

struct counter {
    uint32_t count; /* pulses of this start */
    uint32_t edge_us; /* board clock at the last of them */
    uint32_t refused; /* active edges that the filter did not let pass */
    uint16_t dropped; /* pulses that a port noticed but could not count */
    struct filter filter;
    bool active; /* rule rest: the input as last seen */
    uint32_t inactive_us; /* rule rest: when it last became inactive */
};

/* Ready for the first edge: it may come at any time from clock 0 on. */
static inline void counter_clear(volatile struct counter *counter, struct filter filter)
{
    counter->count = 0;
    counter->edge_us = counter->inactive_us = (uint32_t)0 - filter.us;
    counter->refused = 0;
    counter->dropped = 0;
    counter->filter.rule = filter.rule;
    counter->filter.us = filter.us;
    counter->active = false;
}

/* Another filter from now on. `active` is the input's level; a rest has to begin anew. Interrupts must be off. */
static inline void counter_set_filter(volatile struct counter *counter, struct filter filter, uint32_t now_us, bool active)
{
    counter->filter.rule = filter.rule;
    counter->filter.us = filter.us;
    counter->active = active;
    counter->inactive_us = now_us;
}

/* Takes one active edge by rule spacing. Runs inside an interrupt, so it is short. After a silence of 71.6 minutes the
 * difference may come round to less than T: one chance in 2^32 / T, and one pulse. The same holds for rule rest. */
static inline void counter_edge(volatile struct counter *counter, uint32_t now_us)
{
    if (now_us - counter->edge_us < counter->filter.us) {
        counter->refused++;
    } else {
        counter->edge_us = now_us;
        counter->count++;
    }
}

/* Takes one edge of either direction by rule rest: `active` is the input's level after it. A level that is the same as
 * before means that an edge there and one back came too fast to be seen apart: a contact may touch that briefly at first. */
static inline void counter_level(volatile struct counter *counter, uint32_t now_us, bool active)
{
    bool was_active = counter->active;
    counter->active = active;
    if (!was_active && now_us - counter->inactive_us >= counter->filter.us) {
        counter->edge_us = now_us;
        counter->count++;
    } else if (!was_active || active) {
        counter->refused++;
    }
    if (!active)
        counter->inactive_us = now_us;
}

#endif
