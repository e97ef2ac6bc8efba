/* Pulses that were counted but not yet sent when the board was reset.
 *
 * Where memory outlives a reset (not a power-off), the counts of the next start begin with them, so that a reset loses
 * only what was pumped while the board was down. */
#ifndef KEEP_H
#define KEEP_H

#include <stdint.h>

struct keep_input {
    uint32_t carried; /* pulses that this start began with */
    uint32_t reported; /* highest count that has left the board */
};

struct keep {
    uint32_t mark;
    struct keep_input flow;
    struct keep_input wheel;
};

/* Call once at a start, with the counters as the last start left them. Sets `carried` of both inputs: pulses not sent
 * by the last start, or 0 if the memory does not hold a last start. */
void keep_begin(struct keep *keep, uint32_t old_flow_count, uint32_t old_wheel_count);

#endif
