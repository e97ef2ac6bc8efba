// SPDX-License-Identifier: Apache-2.0
#include "make_believe_port.h"

#include <string.h>

#include "../swardflow_board/src/core/board.h"

struct make_believe chip;

static struct identity identity;
static char identity_name[17];
static char identity_firmware[13];

void chip_board_start(uint8_t boot, const char *name, const char *firmware, uint16_t adc_full_scale,
                      uint8_t capabilities, char reset_cause)
{
    strncpy(identity_name, name, sizeof identity_name - 1);
    strncpy(identity_firmware, firmware, sizeof identity_firmware - 1);
    identity = (struct identity){boot,           identity_name, identity_firmware, 0x5A17C0DE,
                                 "make-believe", adc_full_scale, capabilities,      reset_cause};
    chip.received_in = chip.received_out = 0;
    chip.out_length = 0;
    board_start(&identity);
}

void chip_receive(const uint8_t *bytes, size_t length)
{
    while (length--) {
        chip.received[chip.received_in] = *bytes++;
        chip.received_in = (uint16_t)((chip.received_in + 1u) % sizeof chip.received);
    }
}

static void edge(struct counter *counter)
{
    if (counter->filter.rule == FILTER_SPACING) {
        counter_edge(counter, chip.clock_us);
    } else {
        counter_level(counter, chip.clock_us, true);
        counter_level(counter, chip.clock_us, false);
    }
}

void chip_flow_edge(void)
{
    edge(&chip.flow);
}

void chip_wheel_edge(void)
{
    edge(&chip.wheel);
}

void chip_wheel_level(bool active)
{
    counter_level(&chip.wheel, chip.clock_us, active);
}

void chip_set_clock(uint32_t clock_us)
{
    chip.clock_us = clock_us;
}

void chip_set_pressure(uint16_t count)
{
    chip.pressure = count;
    chip.pressure_ready = true;
}

void chip_set_inputs(bool switch_closed, uint16_t supply_mv)
{
    chip.switch_closed = switch_closed;
    chip.supply_mv = supply_mv;
}

void chip_set_sender(uint8_t room, uint8_t unsent)
{
    chip.room = room;
    chip.unsent = unsent;
}

void chip_keep_begin(bool trusted)
{
    static const struct filters usual = {{FILTER_SPACING, 100}, {FILTER_SPACING, 400}};
    keep_begin(&chip.keep, trusted, &chip.flow, &chip.wheel, &usual);
}

void chip_lose_memory(uint8_t filling)
{
    memset(&chip.keep, filling, sizeof chip.keep);
    chip.flow.count = chip.wheel.count = 0x01010101u * filling;
}

bool chip_buzzer(void)
{
    return chip.buzzer;
}

bool chip_light(void)
{
    return chip.light;
}

size_t chip_take_sent(char *bytes, size_t size)
{
    size_t length = chip.out_length < size ? chip.out_length : size;
    memcpy(bytes, chip.out, length);
    chip.out_length = 0;
    return length;
}

/* ---- what the core asks for ---- */

uint32_t port_clock_us(void)
{
    return chip.clock_us;
}

void port_snapshot(struct snapshot *snapshot)
{
    snapshot->clock_us = chip.clock_us;
    snapshot->flow = chip.flow;
    snapshot->wheel = chip.wheel;
}

void port_set_filter(enum input input, struct filter filter)
{
    counter_set_filter(input == INPUT_FLOW ? &chip.flow : &chip.wheel, filter, chip.clock_us, false);
}

bool port_pressure(uint16_t *count)
{
    *count = chip.pressure;
    bool ready = chip.pressure_ready;
    chip.pressure_ready = false;
    return ready;
}

bool port_switch_closed(void)
{
    return chip.switch_closed;
}

bool port_supply_low(void)
{
    return chip.supply_mv < 4300;
}

uint16_t port_supply_mv(void)
{
    return chip.supply_mv;
}

void port_outputs(bool buzzer, bool light)
{
    chip.buzzer = buzzer;
    chip.light = light;
}

bool port_receive(uint8_t *byte)
{
    if (chip.received_in == chip.received_out)
        return false;
    *byte = chip.received[chip.received_out];
    chip.received_out = (uint16_t)((chip.received_out + 1u) % sizeof chip.received);
    return true;
}

uint8_t port_room(void)
{
    return chip.room;
}

void port_send(const char *bytes, uint8_t length)
{
    if (chip.out_length + length > sizeof chip.out)
        chip.out_length = 0;
    memcpy(chip.out + chip.out_length, bytes, length);
    chip.out_length += length;
}

uint8_t port_unsent(void)
{
    return chip.unsent;
}

struct keep *port_keep(void)
{
    return &chip.keep;
}
