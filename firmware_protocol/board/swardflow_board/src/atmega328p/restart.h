// SPDX-License-Identifier: Apache-2.0
/* Why the chip started, what number this start has, which board this is, and the watchdog that may start it again. */
#ifndef RESTART_H
#define RESTART_H

#include <stdbool.h>
#include <stdint.h>

/* One of P B W X U: see PROTOCOL.md, section 6. Call once, before restart_watch. */
char restart_cause(void);
/* Whether memory has outlived the restart and can be trusted. */
bool restart_memory_is_good(char cause);
/* The next start number, kept where it outlives power-off. */
uint8_t restart_boot_number(void);
/* A number that this board keeps for ever, drawn at its first start. */
uint32_t restart_serial(void);
/* Starts the watchdog: half a second. */
void restart_watch(void);

#endif
