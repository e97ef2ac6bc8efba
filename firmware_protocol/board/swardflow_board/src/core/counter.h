/* One pulse input: how many edges, when the last one was, and whether any was refused as a glitch. */
#ifndef COUNTER_H
#define COUNTER_H

#include <stdbool.h>
#include <stdint.h>

struct counter {
    uint32_t count; /* pulses of this start */
    uint32_t edge_us; /* board clock at the last of them */
    bool glitch; /* an edge was refused since the last report */
};

/* Ready for the first edge: it may come at any time from clock 0 on. */
static inline void counter_clear(volatile struct counter *counter, uint16_t glitch_limit_us)
{
    counter->count = 0;
    counter->edge_us = (uint32_t)0 - glitch_limit_us;
    counter->glitch = false;
}

/* Takes one edge. Runs inside an interrupt, so it is short; `glitch_limit_us` should be a constant. After a silence of
 * 71.6 minutes the difference may come round to less than the limit: one chance in 2^32 / limit, and one pulse. */
static inline void counter_edge(volatile struct counter *counter, uint32_t now_us, uint16_t glitch_limit_us)
{
    if (now_us - counter->edge_us < glitch_limit_us) {
        counter->glitch = true;
    } else {
        counter->edge_us = now_us;
        counter->count++;
    }
}

#endif
