// SPDX-License-Identifier: Apache-2.0
/* The port that all 32-bit ARM chips share, from ARMv6-M (Cortex-M0) on: counters, rings, the order of a start. */
#include "../swardflow_board/src/core/board.h"
#include "../swardflow_board/src/core/wire.h"
#include "chip.h"

#define RUNNING 0x3C96A55Au

static const struct filters usual = {{FILTER_SPACING, 100}, {FILTER_SPACING, 400}};

static volatile uint8_t receive_ring[256];
static volatile uint8_t receive_in;
static uint8_t receive_out;
static char send_ring[256];
static uint8_t send_in;
static uint8_t send_out;

/* Not cleared at a start: see keep.h. */
#define KEPT __attribute__((section(".noinit")))
static volatile struct counter flow KEPT;
static volatile struct counter wheel KEPT;
static struct keep keep KEPT;
static uint32_t program_mark KEPT;
static uint8_t boot_number KEPT;

extern uint8_t ram_unused; /* sections.ld: from here to the stack nothing has been written */
#define RAM_LOOKED_AT 8192u

static inline uint32_t hold_interrupts(void)
{
    uint32_t before;
    __asm__ volatile("mrs %0, primask\n cpsid i" : "=r"(before)::"memory");
    return before;
}

static inline void release_interrupts(uint32_t before)
{
    __asm__ volatile("msr primask, %0" ::"r"(before) : "memory");
}

void take_edge(enum input input, uint32_t now_us)
{
    volatile struct counter *counter = input == INPUT_FLOW ? &flow : &wheel;
    if (counter->filter.rule == FILTER_REST)
        counter_level(counter, now_us, chip_is_active(input));
    else
        counter_edge(counter, now_us);
}

void take_byte(uint8_t byte)
{
    uint8_t next = (uint8_t)(receive_in + 1u);
    if (next != receive_out) {
        receive_ring[receive_in] = byte;
        receive_in = next;
    }
}

static void copy_counter(struct counter *copy, const volatile struct counter *counter)
{
    copy->count = counter->count;
    copy->edge_us = counter->edge_us;
    copy->refused = counter->refused;
    copy->dropped = counter->dropped;
}

void port_snapshot(struct snapshot *snapshot)
{
    uint32_t before = hold_interrupts();
    copy_counter(&snapshot->flow, &flow);
    copy_counter(&snapshot->wheel, &wheel);
    snapshot->clock_us = port_clock_us();
    release_interrupts(before);
}

void port_set_filter(enum input input, struct filter filter)
{
    uint32_t before = hold_interrupts();
    counter_set_filter(input == INPUT_FLOW ? &flow : &wheel, filter, port_clock_us(), chip_is_active(input));
    chip_watch(input, filter.rule == FILTER_REST);
    release_interrupts(before);
}

uint16_t port_supply_mv(void)
{
    return 0; /* the chip's 3.3 V are regulated and say nothing of the sensors' 5 V */
}

bool port_supply_low(void)
{
    return false;
}

bool port_receive(uint8_t *byte)
{
    if (receive_out == receive_in)
        return false;
    *byte = receive_ring[receive_out++];
    return true;
}

uint8_t port_room(void)
{
    return (uint8_t)(send_out - send_in - 1);
}

void port_send(const char *bytes, uint8_t length)
{
    while (length--)
        send_ring[send_in++] = *bytes++;
}

uint8_t port_unsent(void)
{
    return (uint8_t)(send_in - send_out + chip_in_sender());
}

struct keep *port_keep(void)
{
    return &keep;
}

static void start_inputs(bool trusted)
{
    keep_begin(&keep, trusted, &flow, &wheel, &usual);
    chip_pull_up_inputs();
    port_set_filter(INPUT_FLOW, keep.flow.filter);
    port_set_filter(INPUT_WHEEL, keep.wheel.filter);
    flow.edge_us = wheel.edge_us = CLOCK_BEGINS - FILTER_US_HIGHEST; /* the first edge may come at once */
    chip_start_inputs();
}

static uint16_t checksum_of(const uint8_t *bytes, uint32_t length)
{
    uint16_t crc = WIRE_CRC_INITIAL;
    while (length--)
        crc = wire_crc(crc, *bytes++);
    return crc;
}

/* Counted on while memory lasts; by chance after that, from what memory comes up with at power-on. */
static uint8_t next_boot_number(bool outlived)
{
#ifdef BOOT_NUMBER
    outlived = true;
    boot_number = BOOT_NUMBER - 1;
#endif
    if (!outlived)
        boot_number = (uint8_t)(checksum_of(&ram_unused, RAM_LOOKED_AT) ^ chip_chance());
    return ++boot_number;
}

static uint32_t serial_number(void)
{
    uint32_t length;
    const uint8_t *unique = chip_unique_number(&length);
    return (uint32_t)checksum_of(unique, length) << 16 | checksum_of(unique, length - 1);
}

int main(void)
{
    static struct identity identity;
    bool outlived = program_mark == RUNNING;
    char cause = chip_reset_cause();
    program_mark = RUNNING;
    identity.reset_cause = outlived ? cause : 'P';
    chip_start_clock();
    start_inputs(outlived && cause != 'P' && cause != 'B');
    chip_start_serial_and_outputs();
    identity.boot = next_boot_number(outlived);
    identity.serial = serial_number();
    identity.name = BOARD_NAME;
    identity.kind = chip_kind;
    identity.firmware = "1.1.0";
    identity.adc_full_scale = chip_adc_full_scale;
    identity.capabilities = BOARD_FITTED;
    chip_start_watchdog();
    chip_start_tick();
    board_start(&identity);
    for (;;) {
        chip_feed_watchdog();
        if (send_in != send_out && chip_sender_is_free())
            chip_send((uint8_t)send_ring[send_out++]);
        board_pass();
        if (send_in == send_out)
            __asm__ volatile("wfi"); /* until an edge, a byte, or the tick */
    }
}
