// SPDX-License-Identifier: Apache-2.0
/* Pulses on the counting inputs, the switch, and the transducer's voltage. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_irq.h>

#include "emulator.h"

#define TIFR1_PLACE 0x36
#define TIMSK1_PLACE 0x6F /* data addresses of the registers that switch the two interrupts on */
#define EIMSK_PLACE 0x3D

struct channel {
    const char *name;
    char port;
    int bit;
    double hz;
    double scatter;
    uint64_t base; /* cycle from which the pulses are laid out */
    uint64_t number; /* of the next pulse since base */
    uint64_t next; /* its cycle; UINT64_MAX = none */
    uint64_t rise; /* when the line goes up again */
    uint32_t burst_left;
    uint64_t burst_gap;
    uint64_t burst_next;
    uint64_t pulses;
    uint64_t pulses_down; /* of those, how many the board could not see: held in reset or just starting */
    int enable_place; /* data address and bit of the interrupt that this channel raises */
    uint8_t enable_bit;
    uint64_t unseen; /* the last of those */
    bool listening; /* the firmware has switched that on since the last start */
};

static struct channel channels[CHANNELS] = {
    {.name = "flow", .port = 'B', .bit = 0, .enable_place = TIMSK1_PLACE, .enable_bit = 0x20,
     .next = NEVER, .rise = NEVER, .burst_next = NEVER},
    {.name = "wheel", .port = 'D', .bit = 2, .enable_place = EIMSK_PLACE, .enable_bit = 0x01,
     .next = NEVER, .rise = NEVER, .burst_next = NEVER},
};
static FILE *edges_file;

/* Sets an input pin from outside. The emulator is told twice: the pull-up inside the chip must not win over us whenever
 * the firmware writes to another pin of the port. */
static void drive_pin(char port, int bit, bool high)
{
    static uint8_t levels[2];
    uint8_t *level = &levels[port == 'D'];
    *level = (uint8_t)(high ? *level | 1 << bit : *level & ~(1 << bit));
    avr_ioport_external_t outside = {.name = (unsigned)port, .mask = port == 'D' ? 0x14 : 0x01, .value = *level};
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &outside);
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit), high);
}

static void lay_out_next(struct channel *c)
{
    if (c->hz <= 0) {
        c->next = NEVER;
        return;
    }
    double period = (double)HZ / c->hz;
    double shift = c->scatter > 0 ? (random_unit() * 2 - 1) * c->scatter * period : 0;
    c->next = c->base + (uint64_t)llround((double)++c->number * period + shift);
}

static void set_rate(struct channel *c, double hz, double scatter)
{
    c->hz = hz;
    c->scatter = scatter;
    c->base = avr->cycle;
    c->number = 0;
    lay_out_next(c);
}

static void note_edge(struct channel *c, uint64_t cycle)
{
    c->pulses++;
    if (edges_file)
        fprintf(edges_file, "%s %llu\n", c->name, (unsigned long long)cycle);
}

void pins_look_whether_listening(void)
{
    for (int i = 0; i < CHANNELS; i++) {
        struct channel *c = &channels[i];
        if (c->listening || held || !(avr->data[c->enable_place] & c->enable_bit))
            continue;
        c->listening = true;
        if (i == FLOW && avr->data[TIFR1_PLACE] & c->enable_bit) { /* the timer had marked an edge: it is served now */
            c->pulses_down--;
            note_edge(c, c->unseen);
        }
    }
}

static void fall(struct channel *c, uint64_t low_for)
{
    drive_pin(c->port, c->bit, false);
    c->rise = avr->cycle + low_for;
    if (c->listening) {
        note_edge(c, avr->cycle);
    } else {
        c->pulses_down++;
        c->unseen = avr->cycle;
    }
}

static uint64_t drive_channel(struct channel *c)
{
    uint64_t now = avr->cycle;
    if (c->rise <= now) {
        drive_pin(c->port, c->bit, true);
        c->rise = NEVER;
    }
    if (c->burst_next <= now) {
        fall(c, c->burst_gap / 2);
        c->burst_next = --c->burst_left ? c->burst_next + c->burst_gap : NEVER;
    }
    if (c->next <= now) {
        fall(c, (uint64_t)((double)HZ / c->hz * 0.02) + 64);
        lay_out_next(c);
    }
    uint64_t soonest = c->next < c->rise ? c->next : c->rise;
    return soonest < c->burst_next ? soonest : c->burst_next;
}

/* The emulator calls this at the very cycle asked for; the return value is the next one, 0 for none. */
static avr_cycle_count_t channel_is_due(avr_t *chip, avr_cycle_count_t when, void *param)
{
    (void)chip;
    (void)when;
    uint64_t next = drive_channel(param);
    return next == NEVER ? 0 : next > avr->cycle ? next : avr->cycle + 1;
}

static void schedule(struct channel *c)
{
    if (held)
        return;
    uint64_t next = drive_channel(c);
    avr_cycle_timer_cancel(avr, channel_is_due, c);
    if (next != NEVER)
        avr_cycle_timer_register(avr, next > avr->cycle ? next - avr->cycle : 1, channel_is_due, c);
}

static struct channel *find(const char *name)
{
    for (int i = 0; i < CHANNELS; i++)
        if (!strcmp(channels[i].name, name))
            return &channels[i];
    return NULL;
}

bool pins_set_rate(const char *channel, double hz, double scatter)
{
    struct channel *c = find(channel);
    if (c) {
        set_rate(c, hz, scatter);
        schedule(c);
    }
    return c != NULL;
}

bool pins_burst(const char *channel, uint32_t edges, double gap_us)
{
    struct channel *c = find(channel);
    if (c) {
        c->burst_left = edges;
        c->burst_gap = (uint64_t)llround(gap_us * (double)(HZ / 1000000));
        c->burst_next = avr->cycle;
        schedule(c);
    }
    return c != NULL;
}

void pins_level(const char *channel, bool low)
{
    struct channel *c = find(channel);
    if (low)
        c->pulses++;
    drive_pin(c->port, c->bit, !low);
}

void pins_switch(bool closed)
{
    drive_pin('D', 4, !closed);
}

void pins_pressure(double volts)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), (uint32_t)llround(volts * 1000));
}

void pins_start(void)
{
    for (int i = 0; i < CHANNELS; i++)
        drive_pin(channels[i].port, channels[i].bit, true);
    pins_switch(false);
    pins_pressure(0.5);
}

void pins_record_edges(const char *path)
{
    edges_file = fopen(path, "w");
    if (!edges_file)
        die("cannot write the file of edges");
}

void pins_record_reset(void)
{
    if (edges_file)
        fprintf(edges_file, "reset %llu\n", (unsigned long long)avr->cycle);
}

void pins_board_down(void)
{
    for (int i = 0; i < CHANNELS; i++) {
        avr_cycle_timer_cancel(avr, channel_is_due, &channels[i]);
        channels[i].listening = false;
    }
}

void pins_board_up(void)
{
    for (int i = 0; i < CHANNELS; i++)
        schedule(&channels[i]);
}

uint64_t pins_pass_while_held(void)
{
    uint64_t soonest = NEVER;
    for (int i = 0; i < CHANNELS; i++) {
        uint64_t next = drive_channel(&channels[i]);
        soonest = next < soonest ? next : soonest;
    }
    return soonest;
}

void pins_print_truth(void)
{
    for (int i = 0; i < CHANNELS; i++)
        printf("%s_pulses %llu\n%s_pulses_down %llu\n", channels[i].name, (unsigned long long)channels[i].pulses,
               channels[i].name, (unsigned long long)channels[i].pulses_down);
}

void pins_end(void)
{
    if (edges_file)
        fclose(edges_file);
}
