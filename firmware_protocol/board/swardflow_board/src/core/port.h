// SPDX-License-Identifier: Apache-2.0
/* All that the core asks of the chip it runs on, and all that a port does of its own accord: see ../../../PORTING.md.
 *
 * A port defines the functions below, and
 *
 *   at a start, in this order
 *     finds out why it started (`reset_cause`, P when in doubt whether memory has outlived it) and the next boot number;
 *     calls keep_begin (keep.h) with both counters, `trusted` only if memory has outlived the restart and the supply was
 *       never low; the counters and the keep lie in memory that the start-up code does not clear, if there is any;
 *     starts its clock at 0, then the inputs, the serial line and the converter, then a watchdog of about half a second;
 *     fills in an identity and calls board_start (board.h);
 *   over and over
 *     feeds the watchdog and calls board_pass (board.h);
 *   in its interrupts
 *     calls counter_edge at each active edge of an input whose filter has the rule FILTER_SPACING,
 *     or counter_level at each edge of either direction where it has FILTER_REST (counter.h), with the clock at the edge.
 */
#ifndef PORT_H
#define PORT_H

#include <stdbool.h>
#include <stdint.h>

#include "counter.h"
#include "keep.h"

/* The clock and both counters, taken at one moment: no pulse between them. */
struct snapshot {
    uint32_t clock_us;
    struct counter flow;
    struct counter wheel;
};

/* Board clock: µs since the start, from 0, turning over at 2^32. */
uint32_t port_clock_us(void);
void port_snapshot(struct snapshot *snapshot);
/* Another filter for an input (counter_set_filter), in force when this returns. */
void port_set_filter(enum input input, struct filter filter);
/* A pressure reading that has not been handed out yet, in converter counts; false when there is none. */
bool port_pressure(uint16_t *count);
bool port_switch_closed(void);
/* The board's supply as last measured, mV; 0 when it is not measured. */
uint16_t port_supply_mv(void);
/* Whether the supply is too low for the sensors. */
bool port_supply_low(void);
void port_outputs(bool buzzer, bool light);
/* A byte from the host; false when there is none. */
bool port_receive(uint8_t *byte);
/* How many bytes port_send takes just now; at least 160 when all has been sent. */
uint8_t port_room(void);
void port_send(const char *bytes, uint8_t length);
/* How many of the bytes handed to port_send have not left the board whole: the last PORT_IN_SENDER of them may be in the
 * sender itself, where a restart may or may not cut them off. */
uint8_t port_unsent(void);
#define PORT_IN_SENDER 2
/* What keep_begin was given. */
struct keep *port_keep(void);

#endif
