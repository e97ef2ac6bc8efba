/* What the core asks of the chip it runs on. Another board needs these functions and nothing else. */
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
/* Takes the snapshot and clears the glitch marks. */
void port_snapshot(struct snapshot *snapshot);
/* A pressure reading that has not been handed out yet, in converter counts; false when there is none. */
bool port_pressure(uint16_t *count);
bool port_switch_closed(void);
bool port_supply_low(void);
void port_outputs(bool buzzer, bool light);
/* A byte from the host; false when there is none. */
bool port_receive(uint8_t *byte);
/* How many bytes port_send takes just now. */
uint8_t port_room(void);
void port_send(const char *bytes, uint8_t length);
/* Whether the last byte handed to port_send has left the board whole. */
bool port_sent(void);
/* Memory that outlives a reset, if the board has any; see keep.h. */
struct keep *port_keep(void);

#endif
