// SPDX-License-Identifier: Apache-2.0
#include "board.h"

#include <stdatomic.h>
#include <stddef.h>
#include <string.h>

#include "command.h"
#include "outputs.h"
#include "port.h"
#include "pressure.h"
#include "wire.h"

#define PROTOCOL_VERSION "1.1"
#define INTERVAL_MS_DEFAULT 100u
#define IDENTITY_PERIOD_US 60000000u
#define STATE_PERIOD_US 10000000u
#define SWITCH_SETTLE_US 20000u
/* Room that answers leave free, so that they never push out a report. */
#define REPLY_ROOM (2 * WIRE_MAX_LINE) /* identity and acknowledgement, then a report */
#define EXTRA_ROOM (2 * WIRE_MAX_LINE)

enum flag {
    FLAG_SPRAY = 0x01,
    FLAG_FLOW_GLITCH = 0x02,
    FLAG_WHEEL_GLITCH = 0x04,
    FLAG_UNPLANNED_RESET = 0x08,
    FLAG_SUPPLY_LOW = 0x10,
    FLAG_OUTPUT_ON = 0x20
};

/* Lines that are to be sent as soon as there is room. */
enum extra { EXTRA_IDENTITY = 0x01, EXTRA_HARDWARE = 0x02, EXTRA_STATE = 0x04 };

static const struct identity *self;
static uint16_t interval_ms;
static uint32_t interval_us;
static uint32_t report_due_us;
static uint32_t identity_due_us;
static uint32_t state_due_us;
static uint8_t extras; /* of enum extra */
static uint16_t sequence;
static uint8_t lines_dropped;
static struct pressure_frame pressure;
static struct outputs outputs;
static struct command_buffer incoming;
static bool command_waiting;
static bool switch_state;
static bool switch_changing;
static uint32_t switch_changed_us;
static uint8_t behind; /* bytes handed to the line after the newest report */
static uint32_t flow_refused; /* as the last report knew it */
static uint32_t wheel_refused;

static void set_interval(uint16_t ms, uint32_t now_us)
{
    interval_ms = ms;
    interval_us = (uint32_t)ms * 1000u;
    report_due_us = now_us + interval_us;
}

static void send(struct line *line)
{
    line_seal(line);
    port_send(line->text, line->length);
    behind = (uint8_t)(behind + line->length);
}

/* A reset comes when it will: what was written before this is in memory before what is written after it. */
static void in_this_order(void)
{
    atomic_signal_fence(memory_order_seq_cst);
}

static void send_identity(void)
{
    struct line line;
    line_start(&line, 'I');
    line_hex(&line, self->boot, 2);
    line_text(&line, " " PROTOCOL_VERSION " ");
    line_text(&line, self->name);
    line_char(&line, ' ');
    line_text(&line, self->firmware);
    line_space_hex(&line, self->adc_full_scale, 4);
    line_space_hex(&line, interval_ms, 4);
    line_space_hex(&line, self->capabilities, 2);
    line_char(&line, ' ');
    line_char(&line, self->reset_cause);
    send(&line);
    extras = (uint8_t)((extras & ~EXTRA_IDENTITY) | EXTRA_HARDWARE | EXTRA_STATE);
}

static void send_hardware(void)
{
    struct line line;
    line_start(&line, 'H');
    line_hex(&line, self->boot, 2);
    line_space_hex(&line, self->serial, 8);
    line_char(&line, ' ');
    line_text(&line, self->kind);
    send(&line);
    extras &= (uint8_t)~EXTRA_HARDWARE;
}

static void line_input(struct line *line, const struct counter *counter, const struct filter *filter)
{
    line_space_hex(line, counter->refused, 8);
    line_space_hex(line, counter->dropped, 4);
    line_space_hex(line, filter->rule, 1);
    line_space_hex(line, filter->us, 4);
}

static void send_state(void)
{
    struct snapshot snapshot;
    struct line line;
    const struct keep *keep = port_keep();
    port_snapshot(&snapshot);
    line_start(&line, 'S');
    line_hex(&line, self->boot, 2);
    line_space_hex(&line, snapshot.clock_us, 8);
    line_input(&line, &snapshot.flow, &keep->flow.filter);
    line_input(&line, &snapshot.wheel, &keep->wheel.filter);
    line_space_hex(&line, port_supply_mv(), 4);
    send(&line);
    extras &= (uint8_t)~EXTRA_STATE;
}

/* A restart may have cut a line short: it ends here. Where it may have been a report, whose pulses come once more, it must
 * not be made whole by the line feed that it lacked. */
static void end_cut_line(void)
{
    struct keep *keep = port_keep();
    if (keep->leaving != LEAVING_DONE)
        port_send("?", 1);
    port_send("\n", 1);
    behind = 0;
    if (keep->leaving == LEAVING_IN_DOUBT)
        port_send(keep->report, WIRE_REPORT_SIZE);
    else
        keep->leaving = LEAVING_DONE;
}

void board_start(const struct identity *identity)
{
    uint32_t now_us = port_clock_us();
    self = identity;
    sequence = 0;
    lines_dropped = 0;
    set_interval(INTERVAL_MS_DEFAULT, now_us);
    identity_due_us = now_us + IDENTITY_PERIOD_US;
    state_due_us = now_us + STATE_PERIOD_US;
    flow_refused = wheel_refused = 0;
    extras = 0;
    pressure_clear(&pressure);
    outputs_clear(&outputs);
    command_clear(&incoming);
    command_waiting = false;
    switch_state = port_switch_closed();
    switch_changing = false;
    end_cut_line();
    send_identity();
}

/* The state of the switch once it has held for a while: its contact bounces. */
static void watch_switch(uint32_t now_us)
{
    if (port_switch_closed() == switch_state) {
        switch_changing = false;
    } else if (!switch_changing) {
        switch_changing = true;
        switch_changed_us = now_us;
    } else if (now_us - switch_changed_us >= SWITCH_SETTLE_US) {
        switch_state = !switch_state;
        switch_changing = false;
    }
}

static uint8_t flags_now(const struct snapshot *snapshot)
{
    uint8_t flags = 0;
    if (switch_state && (self->capabilities & FITTED_SWITCH))
        flags |= FLAG_SPRAY;
    if (snapshot->flow.refused != flow_refused)
        flags |= FLAG_FLOW_GLITCH;
    if (snapshot->wheel.refused != wheel_refused)
        flags |= FLAG_WHEEL_GLITCH;
    if (self->reset_cause == 'W' || self->reset_cause == 'B')
        flags |= FLAG_UNPLANNED_RESET;
    if (port_supply_low())
        flags |= FLAG_SUPPLY_LOW;
    if (outputs_in_use(&outputs))
        flags |= FLAG_OUTPUT_ON;
    return flags;
}

/* Count and edge time of one input; the edge time is 0 until the first pulse of this start and never after it. */
static void line_counter(struct line *line, const struct counter *counter, uint32_t total)
{
    line_space_hex(line, total, 8);
    line_space_hex(line, counter->count == 0 ? 0 : counter->edge_us ? counter->edge_us : 1, 8);
}

/* Where the report before it has not left yet, what has arrived is not known, and only this one can make it good. */
static void send_report(struct line *line, uint32_t flow, uint32_t wheel)
{
    struct keep *keep = port_keep();
    uint8_t leaving = keep->leaving == LEAVING_DONE ? LEAVING_CUT : LEAVING_IN_DOUBT;
    line_seal(line);
    keep->flow.on_its_way = flow;
    keep->wheel.on_its_way = wheel;
    memcpy(keep->report, line->text, WIRE_REPORT_SIZE);
    in_this_order();
    keep->leaving = leaving;
    in_this_order();
    port_send(line->text, line->length);
    behind = 0;
}

static void make_report(void)
{
    struct snapshot snapshot;
    struct line line;
    const struct keep *keep = port_keep();
    if (port_room() < WIRE_REPORT_SIZE) {
        lines_dropped++;
        sequence++;
        return; /* the frame goes on: the next report covers this one's glitches and pressure, too */
    }
    port_snapshot(&snapshot);
    uint32_t flow = snapshot.flow.count + keep->flow.carried;
    uint32_t wheel = snapshot.wheel.count + keep->wheel.carried;
    line_start(&line, 'R');
    line_hex(&line, self->boot, 2);
    line_space_hex(&line, sequence++, 4);
    line_space_hex(&line, snapshot.clock_us, 8);
    line_counter(&line, &snapshot.flow, flow);
    line_counter(&line, &snapshot.wheel, wheel);
    line_space_hex(&line, pressure_mean(&pressure), 4);
    line_space_hex(&line, pressure.lowest, 3);
    line_space_hex(&line, pressure.highest, 3);
    line_space_hex(&line, flags_now(&snapshot), 2);
    line_space_hex(&line, (uint8_t)(snapshot.flow.dropped + snapshot.wheel.dropped), 2);
    line_hex(&line, lines_dropped, 2);
    send_report(&line, flow, wheel);
    pressure_clear(&pressure);
    flow_refused = snapshot.flow.refused;
    wheel_refused = snapshot.wheel.refused;
}

static void note_what_has_left(void)
{
    struct keep *keep = port_keep();
    if (keep->leaving == LEAVING_DONE)
        return;
    unsigned unsent = port_unsent();
    if (unsent <= behind) {
        keep->flow.reported = keep->flow.on_its_way;
        keep->wheel.reported = keep->wheel.on_its_way;
        in_this_order();
        keep->leaving = LEAVING_DONE;
    } else if (unsent <= behind + (unsigned)PORT_IN_SENDER) {
        keep->leaving = LEAVING_IN_DOUBT;
    }
}

static bool is_fitted(uint32_t value)
{
    return (value >> 20 == PATTERN_OFF || (self->capabilities & FITTED_BUZZER))
        && ((value >> 16 & 0x0F) == PATTERN_OFF || (self->capabilities & FITTED_LIGHT));
}

static enum refusal set_filter(uint32_t value)
{
    enum input input = value >> 20 == INPUT_FLOW ? INPUT_FLOW : INPUT_WHEEL;
    struct filter filter = {(uint8_t)(value >> 16 & 0x0F), (uint16_t)value};
    struct keep *keep = port_keep();
    struct filter *in_force = input == INPUT_FLOW ? &keep->flow.filter : &keep->wheel.filter;
    if (!(self->capabilities & (input == INPUT_FLOW ? FITTED_FLOW : FITTED_WHEEL)))
        return REFUSAL_NOT_FITTED;
    if (filter.rule != in_force->rule || filter.us != in_force->us) {
        *in_force = filter;
        port_set_filter(input, filter);
        extras |= EXTRA_IDENTITY;
    }
    return REFUSAL_NONE;
}

static enum refusal carry_out(struct command *command, uint32_t now_us)
{
    switch (command->letter) {
    case 'q':
        send_identity();
        break;
    case 'p':
        command->value = now_us;
        break;
    case 'n':
        if (command->value != interval_ms)
            extras |= EXTRA_IDENTITY;
        set_interval((uint16_t)command->value, now_us);
        break;
    case 'o':
        if (!is_fitted(command->value))
            return REFUSAL_NOT_FITTED;
        outputs_set(&outputs, command->value, now_us);
        break;
    case 'f':
        return set_filter(command->value);
    default:
        break;
    }
    return REFUSAL_NONE;
}

static void answer(uint32_t now_us)
{
    struct command command;
    struct line line;
    enum refusal refusal = command_read(&incoming, &command);
    if (refusal == REFUSAL_NONE)
        refusal = carry_out(&command, now_us);
    if (refusal == REFUSAL_NONE) {
        line_start(&line, 'A');
        line_hex(&line, command.tag, 2);
        line_char(&line, ' ');
        line_char(&line, command.letter);
        line_space_hex(&line, command.value, 8);
    } else {
        line_start(&line, 'E');
        line_hex(&line, command.tag, 2);
        line_space_hex(&line, (uint32_t)refusal, 2);
    }
    send(&line);
    command_clear(&incoming);
    command_waiting = false;
}

static void listen(void)
{
    uint8_t byte;
    while (!command_waiting && port_receive(&byte))
        if (byte == '\n' || !incoming.too_long)
            command_waiting = command_byte(&incoming, byte);
}

static void send_extra(void)
{
    if (extras & EXTRA_IDENTITY)
        send_identity();
    else if (extras & EXTRA_HARDWARE)
        send_hardware();
    else
        send_state();
}

static bool is_due(uint32_t now_us, uint32_t due_us)
{
    return (int32_t)(now_us - due_us) >= 0;
}

void board_pass(void)
{
    uint16_t count;
    uint32_t now_us = port_clock_us();
    note_what_has_left();
    if (port_pressure(&count))
        pressure_take(&pressure, count);
    watch_switch(now_us);
    outputs_pass(&outputs, now_us);
    port_outputs(outputs_is_on(&outputs, outputs.buzzer), outputs_is_on(&outputs, outputs.light));
    if (is_due(now_us, report_due_us)) {
        make_report();
        report_due_us += interval_us;
        if (is_due(now_us, report_due_us)) /* held up for a whole interval: do not send a burst */
            report_due_us = now_us + interval_us;
    }
    listen();
    if (is_due(now_us, identity_due_us)) {
        extras |= EXTRA_IDENTITY;
        identity_due_us += IDENTITY_PERIOD_US;
    }
    if (is_due(now_us, state_due_us)) {
        extras |= EXTRA_STATE;
        state_due_us += STATE_PERIOD_US;
    }
    if (extras && port_room() >= EXTRA_ROOM)
        send_extra();
    else if (command_waiting && port_room() >= REPLY_ROOM)
        answer(now_us);
}
