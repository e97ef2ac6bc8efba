// SPDX-License-Identifier: Apache-2.0
#include "outputs.h"

#define TENTH_US 100000u

void outputs_clear(struct outputs *outputs)
{
    outputs->buzzer = PATTERN_OFF;
    outputs->light = PATTERN_OFF;
    outputs->tenths_left = 0;
    outputs->until_changed = true;
    outputs->phase = 0;
    outputs->tenth_began_us = 0;
}

void outputs_set(struct outputs *outputs, uint32_t value, uint32_t now_us)
{
    outputs->buzzer = (uint8_t)(value >> 20 & 0x0F);
    outputs->light = (uint8_t)(value >> 16 & 0x0F);
    outputs->tenths_left = (uint16_t)value;
    outputs->until_changed = outputs->tenths_left == 0;
    outputs->phase = 0;
    outputs->tenth_began_us = now_us;
}

void outputs_pass(struct outputs *outputs, uint32_t now_us)
{
    while (now_us - outputs->tenth_began_us >= TENTH_US) {
        if (!outputs_in_use(outputs)) {
            outputs->tenth_began_us = now_us;
            return;
        }
        outputs->tenth_began_us += TENTH_US;
        outputs->phase = outputs->phase == 9 ? 0 : (uint8_t)(outputs->phase + 1);
        if (!outputs->until_changed && --outputs->tenths_left == 0)
            outputs_clear(outputs);
    }
}

bool outputs_in_use(const struct outputs *outputs)
{
    return outputs->buzzer != PATTERN_OFF || outputs->light != PATTERN_OFF;
}

bool outputs_is_on(const struct outputs *outputs, uint8_t pattern)
{
    switch (pattern) {
    case PATTERN_STEADY:
        return true;
    case PATTERN_SLOW:
        return outputs->phase < 5;
    case PATTERN_FAST:
        return (outputs->phase & 1) == 0;
    default:
        return false;
    }
}
