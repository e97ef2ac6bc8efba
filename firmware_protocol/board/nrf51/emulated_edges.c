// SPDX-License-Identifier: Apache-2.0
#ifdef EMULATED_EDGES
#include "emulated_edges.h"
#include "registers.h"

uint32_t emulated_gpiote[0x600 / 4];

bool emulated_edge(uint8_t byte)
{
    if (byte < 0x80)
        return false;
    GPIOTE_EVENTS_IN((byte & 0x7F) == 'w' ? 1u : 0u) = 1; /* wheel, flow */
    NVIC_ISPR = 1u << IRQ_GPIOTE;
    return true;
}
#endif
