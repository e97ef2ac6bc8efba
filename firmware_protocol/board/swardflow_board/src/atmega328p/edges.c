// SPDX-License-Identifier: Apache-2.0
/* Edges are timed in interrupts, so nothing else may hold interrupts off, or run inside one, for longer than a few µs. */
#ifdef __AVR_ATmega328P__

#include "edges.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "../core/port.h"

/* Spacing, so up to 10,000 and 2,500 pulses a second. */
static const struct filters usual = {{FILTER_SPACING, 100}, {FILTER_SPACING, 400}};

#define OVERFLOW_US 32768u /* timer 1 counts half µs in 16 bits */
#define HALF_TURN 0x8000u
#define CAPTURE_FALLING (_BV(ICNC1) | _BV(CS11)) /* noise filter on, falling edge, clock / 8 */
#define CAPTURE_RISING (CAPTURE_FALLING | _BV(ICES1))

static volatile uint32_t high_us; /* µs at the last overflow of timer 1 */

/* Not cleared at a start: see keep.h. */
static volatile struct counter flow __attribute__((section(".noinit")));
static volatile struct counter wheel __attribute__((section(".noinit")));
static struct keep keep __attribute__((section(".noinit")));

/* µs at which timer 1 stood, or stands, at `ticks`. Interrupts must be off. */
static inline __attribute__((always_inline)) uint32_t time_of(uint16_t ticks)
{
    uint32_t high = high_us;
    if ((TIFR1 & _BV(TOV1)) && ticks < HALF_TURN)
        high += OVERFLOW_US; /* it has overflowed, and the interrupt has not been served yet */
    return high + (ticks >> 1);
}

static inline bool flow_is_active(void)
{
    return !(PINB & _BV(PB0));
}

static inline bool wheel_is_active(void)
{
    return !(PIND & _BV(PD2));
}

ISR(TIMER1_OVF_vect)
{
    high_us += OVERFLOW_US;
}

/* Has the timer note the edge that comes next. It may have come already: then there are two in the time it takes to
 * look, and what is left is the level. */
static bool capture_next_flow_edge(void)
{
    bool active;
    do {
        active = flow_is_active();
        TCCR1B = active ? CAPTURE_RISING : CAPTURE_FALLING;
        TIFR1 = _BV(ICF1); /* changing the edge may set it */
    } while (flow_is_active() != active);
    return active;
}

ISR(TIMER1_CAPT_vect)
{
    uint32_t edge_us = time_of(ICR1);
    if (flow.filter.rule == FILTER_REST) {
        counter_level(&flow, edge_us, capture_next_flow_edge());
        return;
    }
    /* The timer has noted the time itself, so the rest can wait while a wheel edge, which has only us to time it, is
     * served. This interrupt stays off meanwhile: a noisy input cannot stack it up on itself. */
    TIMSK1 = _BV(TOIE1);
    sei();
    counter_edge(&flow, edge_us);
    cli();
    /* An edge that was captured meanwhile came within a few µs, which every filter refuses. It must not be timed: the
     * timer may have turned over since, and the turn been counted, so that its time would lie 32.8 ms ahead. */
    if (TIFR1 & _BV(ICF1)) {
        flow.refused++;
        TIFR1 = _BV(ICF1);
    }
    TIMSK1 = _BV(TOIE1) | _BV(ICIE1);
}

ISR(INT0_vect)
{
    uint32_t edge_us = time_of(TCNT1);
    if (wheel.filter.rule == FILTER_REST)
        counter_level(&wheel, edge_us, wheel_is_active());
    else
        counter_edge(&wheel, edge_us);
}

uint32_t port_clock_us(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now = time_of(TCNT1); }
    return now;
}

static void copy_refused(struct counter *copy, const volatile struct counter *counter)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { copy->refused = counter->refused; }
    copy->dropped = counter->dropped; /* counting in the interrupt itself, this port never drops one */
}

void port_snapshot(struct snapshot *snapshot)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        snapshot->flow.count = flow.count;
        snapshot->flow.edge_us = flow.edge_us;
        snapshot->wheel.count = wheel.count;
        snapshot->wheel.edge_us = wheel.edge_us;
        snapshot->clock_us = time_of(TCNT1);
    }
    /* Not part of the moment, and each µs with interrupts off is one by which a wheel edge may be timed late. */
    copy_refused(&snapshot->flow, &flow);
    copy_refused(&snapshot->wheel, &wheel);
}

/* Which edges the inputs look at: falling ones, or both. Interrupts must be off. */
static void watch_flow(struct filter filter)
{
    counter_set_filter(&flow, filter, time_of(TCNT1), flow_is_active());
    if (filter.rule == FILTER_REST) {
        capture_next_flow_edge();
    } else {
        TCCR1B = CAPTURE_FALLING;
        TIFR1 = _BV(ICF1);
    }
}

static void watch_wheel(struct filter filter)
{
    counter_set_filter(&wheel, filter, time_of(TCNT1), wheel_is_active());
    EICRA = filter.rule == FILTER_REST ? _BV(ISC00) : _BV(ISC01);
    EIFR = _BV(INTF0);
}

void port_set_filter(enum input input, struct filter filter)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if (input == INPUT_FLOW)
            watch_flow(filter);
        else
            watch_wheel(filter);
    }
}

struct keep *port_keep(void)
{
    return &keep;
}

void edges_start(bool trusted)
{
    keep_begin(&keep, trusted, &flow, &wheel, &usual);
    PORTB |= _BV(PB0); /* pull-ups */
    PORTD |= _BV(PD2);
    DDRB &= (uint8_t)~_BV(PB0);
    DDRD &= (uint8_t)~_BV(PD2);
    TCCR1A = 0;
    TCCR1B = CAPTURE_FALLING;
    TCNT1 = 0;
    high_us = 0;
    TIFR1 = _BV(TOV1);
    watch_flow(keep.flow.filter);
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
    watch_wheel(keep.wheel.filter);
    EIMSK = _BV(INT0);
}

#endif
