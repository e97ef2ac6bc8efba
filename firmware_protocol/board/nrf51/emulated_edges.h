// SPDX-License-Identifier: Apache-2.0
/* For the emulator alone, which moves no pins and has no unit that watches them: memory stands in for that unit's registers,
 * and a byte beyond ASCII on the serial line makes an edge of an input. */
#ifndef EMULATED_EDGES_H
#define EMULATED_EDGES_H

#include <stdbool.h>
#include <stdint.h>

extern uint32_t emulated_gpiote[0x600 / 4];
#define GPIOTE ((uint32_t)emulated_gpiote)

bool emulated_edge(uint8_t byte); /* false: it is a byte of a command */

#endif
