// SPDX-License-Identifier: Apache-2.0
/* The board's serial line: to a pseudo-terminal, or one way to a file. */
#include <errno.h>
#include <fcntl.h>
#include <pty.h>
#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_uart.h>
#include <simavr/sim_irq.h>

#include "emulator.h"

#define UBRR0L_PLACE 0xC4

static int sink = -1; /* where the board's bytes go */
static bool sink_is_terminal;
static bool board_listens = true;
static struct {
    uint8_t bytes[4096];
    size_t length;
} to_board;
static uint64_t next_to_board;

/* Bytes that the board has handed to its sender. libsimavr gives them at once; on the line each takes its time, and a reset
 * cuts off what has not left whole. */
static struct {
    uint8_t byte;
    uint64_t leaves; /* cycle */
} leaving[16];
static unsigned leaving_count;
static uint64_t line_busy_until;

static void board_sends(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    serial_let_leave();
    if (leaving_count == sizeof leaving / sizeof leaving[0])
        die("the board sends faster than its line");
    uint64_t begins = avr->cycle > line_busy_until ? avr->cycle : line_busy_until;
    line_busy_until = begins + 10 * 8 * (avr->data[UBRR0L_PLACE] + 1u); /* with U2X */
    leaving[leaving_count].byte = (uint8_t)value;
    leaving[leaving_count++].leaves = line_busy_until;
}

static void put_out(uint8_t byte)
{
    /* A terminal that nobody reads is full after a while: the byte is lost, as on a wire that nobody listens to. */
    if (sink >= 0 && write(sink, &byte, 1) != 1 && errno != EAGAIN && errno != EIO)
        die("cannot write what the board sends");
}

void serial_let_leave(void)
{
    unsigned left = 0;
    while (left < leaving_count && leaving[left].leaves <= avr->cycle)
        put_out(leaving[left++].byte);
    leaving_count -= left;
    memmove(leaving, leaving + left, leaving_count * sizeof leaving[0]);
}

void serial_cut(void)
{
    serial_let_leave();
    leaving_count = 0;
    line_busy_until = 0;
}

static void board_is_ready(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    board_listens = param != NULL;
}

void serial_look_at_terminal(void)
{
    if (!sink_is_terminal || to_board.length > sizeof to_board.bytes - 256)
        return;
    ssize_t got = read(sink, to_board.bytes + to_board.length, 256);
    if (got > 0)
        to_board.length += (size_t)got;
}

bool serial_feed_board(void)
{
    if (!to_board.length || avr->cycle < next_to_board || held || !board_listens)
        return to_board.length > 0;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), to_board.bytes[0]);
    memmove(to_board.bytes, to_board.bytes + 1, --to_board.length);
    next_to_board = avr->cycle + HZ * 10 / 115200; /* the bytes of a real line are that far apart */
    return to_board.length > 0;
}

void serial_queue_hex(const char *hex)
{
    unsigned byte;
    for (; to_board.length < sizeof to_board.bytes && sscanf(hex, "%2x", &byte) == 1; hex += 2)
        to_board.bytes[to_board.length++] = (uint8_t)byte;
}

void serial_forget(void)
{
    to_board.length = 0;
}

void serial_start(void)
{
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= (uint32_t) ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), board_sends, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), board_is_ready, avr);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), board_is_ready, NULL);
}

void serial_to_file(const char *path)
{
    sink = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    if (sink < 0)
        die("cannot write the file of lines");
}

void serial_to_terminal(void)
{
    int other;
    char name[128];
    struct termios raw;
    if (openpty(&sink, &other, name, NULL, NULL))
        die("cannot open a pseudo-terminal");
    tcgetattr(other, &raw); /* `other` stays open, so the terminal outlives a reader that goes and comes back */
    cfmakeraw(&raw);
    tcsetattr(other, TCSANOW, &raw);
    fcntl(sink, F_SETFL, O_NONBLOCK);
    sink_is_terminal = true;
    printf("%s\n", name);
    fflush(stdout);
}
