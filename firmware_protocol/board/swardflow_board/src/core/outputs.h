// SPDX-License-Identifier: Apache-2.0
/* Buzzer and light: patterns in tenths of a second. */
#ifndef OUTPUTS_H
#define OUTPUTS_H

#include <stdbool.h>
#include <stdint.h>

enum pattern { PATTERN_OFF, PATTERN_STEADY, PATTERN_SLOW, PATTERN_FAST };

struct outputs {
    uint8_t buzzer; /* enum pattern */
    uint8_t light;
    uint16_t tenths_left;
    bool until_changed;
    uint8_t phase; /* tenths since the pattern began, 0 to 9 */
    uint32_t tenth_began_us;
};

void outputs_clear(struct outputs *outputs);
/* `value` is that of the command `o`. */
void outputs_set(struct outputs *outputs, uint32_t value, uint32_t now_us);
/* Lets time pass; call it at least every 71 minutes, and every few milliseconds for an even beat. */
void outputs_pass(struct outputs *outputs, uint32_t now_us);
bool outputs_in_use(const struct outputs *outputs);
/* Whether a part with this pattern is on just now. */
bool outputs_is_on(const struct outputs *outputs, uint8_t pattern);

#endif
