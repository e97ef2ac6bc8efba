// SPDX-License-Identifier: Apache-2.0
/* What differs between the 32-bit ARM chips; the rest of their port is port.c. */
#ifndef CHIP_H
#define CHIP_H

#include <stdbool.h>
#include <stdint.h>

#include "../swardflow_board/src/core/port.h"

/* What a build may settle otherwise. */
#ifndef BOARD_BAUD
#define BOARD_BAUD 115200u
#endif
#ifndef BOARD_NAME
#define BOARD_NAME "hand-boom"
#endif
#ifndef BOARD_FITTED
#define BOARD_FITTED (FITTED_FLOW | FITTED_WHEEL | FITTED_PRESSURE | FITTED_SWITCH | FITTED_BUZZER | FITTED_LIGHT)
#endif
#ifndef CLOCK_BEGINS
#define CLOCK_BEGINS 0u /* tests begin shortly before the clock turns over */
#endif

/* The chip gives these; port.c calls them, those of a start in this order. */
extern const char chip_kind[]; /* as the hardware line says it */
extern const uint16_t chip_adc_full_scale;
char chip_reset_cause(void); /* from its flags, which it clears; memory may know better */
void chip_start_clock(void); /* the board clock begins at CLOCK_BEGINS */
void chip_pull_up_inputs(void);
void chip_watch(enum input input, bool both_edges); /* which edges interrupt; falling ones always do */
void chip_start_inputs(void); /* edges interrupt from here on, above all else in rank */
void chip_start_serial_and_outputs(void);
uint32_t chip_chance(void); /* different at each power-on, as far as the chip can */
const uint8_t *chip_unique_number(uint32_t *length);
void chip_start_watchdog(void); /* half a second */
void chip_feed_watchdog(void);
void chip_start_tick(void); /* an interrupt each ms or so, to wake from sleep */
bool chip_is_active(enum input input); /* its level, now: low = active */
bool chip_sender_is_free(void);
uint8_t chip_in_sender(void); /* bytes that have not left it whole, PORT_IN_SENDER at most */
void chip_send(uint8_t byte);

/* port.c gives these to the chip's interrupts. */
void take_edge(enum input input, uint32_t now_us);
void take_byte(uint8_t byte);

#endif
