/* An ATmega328P with the board's firmware: pulses and voltages on its pins from a scenario, its serial line on a
 * pseudo-terminal or a file.
 *
 *   emulated_board FIRMWARE.elf SCENARIO [--speed N | --flat-out] [--pty | --lines FILE] [--edges FILE] [--eeprom FILE]
 *
 * --pty prints the terminal's name on the first line of standard output and is meant with --speed (1 = real time).
 * --lines writes what the board sends to FILE, as bytes. --edges writes every falling edge as text: channel, cycle.
 * At the end it prints the truth on standard output, `key value` a line: pulses driven while the board was up, those while
 * it was held in reset or starting, emulated seconds, seconds it took.
 *
 * Scenario: lines of `SECONDS WHAT VALUE`, in order of time, # begins a comment.
 *   flow HZ [SCATTER]     pulses a second on the flow input; SCATTER 0 to 0.45 moves each by up to that part of a period
 *   wheel HZ [SCATTER]    the same on the wheel input
 *   flow_burst N US       N extra edges US µs apart (for glitches), likewise wheel_burst
 *   pressure VOLTS        at the transducer input
 *   supply VOLTS
 *   switch closed|open
 *   send HEX              bytes to the board's serial input
 *   reset SECONDS         reset pin held low for that long; memory is kept
 *   power_cycle SECONDS   the same, memory lost
 *   end
 */
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <pty.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_irq.h>
#include <simavr/sim_time.h>

#define HZ 16000000ull
#define EEPROM_SIZE 1024
#define MCUSR_PLACE 0x54 /* data address of the register that says why the chip was reset */
#define TIMSK1_PLACE 0x6F
#define EIMSK_PLACE 0x3D
#define MCUSR_POWER_ON 0x01
#define MCUSR_RESET_PIN 0x02

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
    bool listening; /* the firmware has switched that on since the last start */
};

static avr_t *avr;
static struct channel channels[2] = {
    {.name = "flow", .port = 'B', .bit = 0, .enable_place = TIMSK1_PLACE, .enable_bit = 0x20,
     .next = UINT64_MAX, .rise = UINT64_MAX, .burst_next = UINT64_MAX},
    {.name = "wheel", .port = 'D', .bit = 2, .enable_place = EIMSK_PLACE, .enable_bit = 0x01,
     .next = UINT64_MAX, .rise = UINT64_MAX, .burst_next = UINT64_MAX},
};
static uint64_t random_state = 0x9E3779B97F4A7C15ull;
static bool held;
static uint8_t reset_cause;
static int sink = -1; /* where the board's bytes go */
static bool sink_is_terminal;
static FILE *edges_file;
static bool board_listens = true;

struct queue {
    uint8_t bytes[4096];
    size_t length;
};
static struct queue to_board;
static uint64_t next_to_board;

static void die(const char *what)
{
    fprintf(stderr, "emulated_board: %s\n", what);
    exit(2);
}

static double random_unit(void)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 7;
    random_state ^= random_state << 17;
    return (double)(random_state >> 11) / 9007199254740992.0;
}

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

/* ---- pulses ---- */

static void lay_out_next(struct channel *c)
{
    if (c->hz <= 0) {
        c->next = UINT64_MAX;
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

static void fall(struct channel *c, uint64_t low_for)
{
    drive_pin(c->port, c->bit, false);
    c->rise = avr->cycle + low_for;
    c->listening |= !held && (avr->data[c->enable_place] & c->enable_bit);
    if (c->listening)
        c->pulses++;
    else
        c->pulses_down++;
    if (edges_file)
        fprintf(edges_file, "%s %llu\n", c->name, (unsigned long long)avr->cycle);
}

static uint64_t drive_channel(struct channel *c)
{
    uint64_t now = avr->cycle;
    if (c->rise <= now) {
        drive_pin(c->port, c->bit, true);
        c->rise = UINT64_MAX;
    }
    if (c->burst_next <= now) {
        fall(c, c->burst_gap / 2);
        c->burst_next = --c->burst_left ? c->burst_next + c->burst_gap : UINT64_MAX;
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
    return next == UINT64_MAX ? 0 : next > avr->cycle ? next : avr->cycle + 1;
}

static void schedule(struct channel *c)
{
    if (held)
        return;
    uint64_t next = drive_channel(c);
    avr_cycle_timer_cancel(avr, channel_is_due, c);
    if (next != UINT64_MAX)
        avr_cycle_timer_register(avr, next > avr->cycle ? next - avr->cycle : 1, channel_is_due, c);
}

/* ---- the serial line ---- */

static void board_sends(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)param;
    uint8_t byte = (uint8_t)value;
    /* A terminal that nobody reads is full after a while: the byte is lost, as on a wire that nobody listens to. */
    if (sink >= 0 && write(sink, &byte, 1) != 1 && errno != EAGAIN && errno != EIO)
        die("cannot write what the board sends");
}

static void board_is_ready(struct avr_irq_t *irq, uint32_t value, void *param)
{
    (void)irq;
    (void)value;
    board_listens = param != NULL;
}

static void read_terminal(void)
{
    if (!sink_is_terminal || to_board.length > sizeof to_board.bytes - 256)
        return;
    ssize_t got = read(sink, to_board.bytes + to_board.length, 256);
    if (got > 0)
        to_board.length += (size_t)got;
}

static void feed_board(void)
{
    if (!to_board.length || avr->cycle < next_to_board || held || !board_listens)
        return;
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), to_board.bytes[0]);
    memmove(to_board.bytes, to_board.bytes + 1, --to_board.length);
    next_to_board = avr->cycle + HZ * 10 / 115200; /* the bytes of a real line are that far apart */
}

/* ---- scenario ---- */

static FILE *scenario;
static uint64_t step_cycle = UINT64_MAX;
static char step_what[32];
static char step_value[256];
static double step_extra;
static uint64_t release_cycle = UINT64_MAX;
static bool finished;

static void read_step(void)
{
    char line[512];
    while (fgets(line, sizeof line, scenario)) {
        double seconds;
        step_extra = 0;
        step_value[0] = 0;
        if (line[0] == '#' || line[0] == '\n')
            continue;
        if (sscanf(line, "%lf %31s %255s %lf", &seconds, step_what, step_value, &step_extra) < 2)
            die("a line of the scenario is not SECONDS WHAT VALUE");
        step_cycle = (uint64_t)llround(seconds * (double)HZ);
        return;
    }
    step_cycle = UINT64_MAX;
    finished = true;
}

static void volts(int input, double value)
{
    avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, input), (uint32_t)llround(value * 1000));
}

static void queue_hex(const char *hex)
{
    unsigned byte;
    for (; to_board.length < sizeof to_board.bytes && sscanf(hex, "%2x", &byte) == 1; hex += 2)
        to_board.bytes[to_board.length++] = (uint8_t)byte;
}

static void hold_in_reset(double seconds, bool lose_memory)
{
    held = true;
    channels[0].listening = channels[1].listening = false;
    reset_cause = lose_memory ? MCUSR_POWER_ON : MCUSR_RESET_PIN;
    release_cycle = avr->cycle + (uint64_t)llround(seconds * (double)HZ);
    if (lose_memory)
        for (uint32_t i = 0x100; i <= avr->ramend; i++)
            avr->data[i] = (uint8_t)(random_unit() * 256);
}

static void release(void)
{
    uint64_t now = avr->cycle;
    avr_reset(avr); /* leaves memory as it is */
    avr->cycle = now;
    avr->data[MCUSR_PLACE] = reset_cause; /* which this emulator does not do by itself */
    held = false;
    release_cycle = UINT64_MAX;
    to_board.length = 0;
    schedule(&channels[0]);
    schedule(&channels[1]);
}

static void do_step(void)
{
    double value = atof(step_value);
    const char *what = step_what;
    for (int i = 0; i < 2; i++) {
        struct channel *c = &channels[i];
        size_t length = strlen(c->name);
        if (!strcmp(what, c->name)) {
            set_rate(c, value, step_extra);
        } else if (!strncmp(what, c->name, length) && !strcmp(what + length, "_burst")) {
            c->burst_left = (uint32_t)value;
            c->burst_gap = (uint64_t)llround(step_extra * 16);
            c->burst_next = avr->cycle;
        }
        schedule(c);
    }
    if (!strcmp(what, "pressure"))
        volts(ADC_IRQ_ADC0, value);
    else if (!strcmp(what, "supply"))
        avr->vcc = avr->avcc = avr->aref = (uint32_t)llround(value * 1000);
    else if (!strcmp(what, "switch"))
        drive_pin('D', 4, strcmp(step_value, "closed") != 0);
    else if (!strcmp(what, "send"))
        queue_hex(step_value);
    else if (!strcmp(what, "reset"))
        hold_in_reset(value, false);
    else if (!strcmp(what, "power_cycle"))
        hold_in_reset(value, true);
    else if (!strcmp(what, "end"))
        finished = true;
}

/* ---- running ---- */

static uint64_t earliest(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

static double wall_seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void keep_pace(double speed, double began)
{
    double ahead = (double)avr->cycle / (double)HZ / speed - (wall_seconds() - began);
    if (ahead > 0)
        usleep((useconds_t)(ahead * 1e6));
}

static void run(double speed)
{
    double began = wall_seconds();
    uint64_t look_at_terminal = 0;
    read_step();
    while (!finished) {
        while (!finished && step_cycle <= avr->cycle) {
            do_step();
            if (!finished)
                read_step();
        }
        if (release_cycle <= avr->cycle)
            release();
        if (look_at_terminal <= avr->cycle) {
            read_terminal();
            if (speed > 0)
                keep_pace(speed, began);
            look_at_terminal = avr->cycle + HZ / 1000;
        }
        feed_board();
        uint64_t next = earliest(look_at_terminal, earliest(step_cycle, release_cycle));
        if (held) {
            next = earliest(next, earliest(drive_channel(&channels[0]), drive_channel(&channels[1])));
            avr->cycle = next > avr->cycle ? next : avr->cycle + 1;
            continue;
        }
        if (to_board.length)
            next = earliest(next, avr->cycle + 400);
        do {
            int state = avr_run(avr);
            if (state == cpu_Crashed || state == cpu_Done)
                die("the firmware has crashed");
        } while (avr->cycle < next);
    }
    double seconds = (double)avr->cycle / (double)HZ;
    double took = wall_seconds() - began;
    for (int i = 0; i < 2; i++)
        printf("%s_pulses %llu\n%s_pulses_down %llu\n", channels[i].name, (unsigned long long)channels[i].pulses,
               channels[i].name, (unsigned long long)channels[i].pulses_down);
    printf("seconds %.6f\ntook %.3f\n", seconds, took);
}

static void start_board(const char *firmware_path, const char *eeprom_path)
{
    static uint8_t eeprom[EEPROM_SIZE];
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(firmware_path, &firmware))
        die("cannot read the firmware");
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        die("this simavr does not know the ATmega328P");
    avr_init(avr);
    avr->log = 1;
    avr->frequency = HZ;
    avr_load_firmware(avr, &firmware);
    avr->frequency = HZ;
    avr->vcc = avr->avcc = avr->aref = 5000;
    if (eeprom_path) {
        FILE *file = fopen(eeprom_path, "rb");
        memset(eeprom, 0xFF, sizeof eeprom);
        if (file) {
            if (fread(eeprom, 1, sizeof eeprom, file) == 0)
                memset(eeprom, 0xFF, sizeof eeprom);
            fclose(file);
        }
        avr_eeprom_desc_t desc = {.ee = eeprom, .offset = 0, .size = EEPROM_SIZE};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &desc);
    }
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= (uint32_t) ~(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), board_sends, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), board_is_ready, avr);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), board_is_ready, NULL);
    avr->data[MCUSR_PLACE] = MCUSR_POWER_ON;
    drive_pin('B', 0, true);
    drive_pin('D', 2, true);
    drive_pin('D', 4, true);
    volts(ADC_IRQ_ADC0, 0.5);
}

static void save_eeprom(const char *path)
{
    static uint8_t eeprom[EEPROM_SIZE];
    avr_eeprom_desc_t desc = {.ee = eeprom, .offset = 0, .size = EEPROM_SIZE};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &desc);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(desc.ee, 1, EEPROM_SIZE, file) != EEPROM_SIZE)
        die("cannot write the EEPROM file");
    fclose(file);
}

static void open_terminal(void)
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

int main(int argc, char **argv)
{
    double speed = 0;
    const char *eeprom_path = NULL;
    if (argc < 3)
        die("needs FIRMWARE.elf and SCENARIO");
    for (int i = 3; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (!strcmp(argv[i], "--flat-out"))
            speed = 0;
        else if (!strcmp(argv[i], "--pty"))
            open_terminal();
        else if (!strcmp(argv[i], "--speed"))
            speed = atof(value), i++;
        else if (!strcmp(argv[i], "--eeprom"))
            eeprom_path = value, i++;
        else if (!strcmp(argv[i], "--lines"))
            sink = open(value, O_WRONLY | O_CREAT | O_TRUNC, 0666), i++;
        else if (!strcmp(argv[i], "--edges"))
            edges_file = fopen(value, "w"), i++;
        else
            die("unknown option");
    }
    scenario = fopen(argv[2], "r");
    if (!scenario)
        die("cannot open the scenario");
    start_board(argv[1], eeprom_path);
    run(speed);
    if (eeprom_path)
        save_eeprom(eeprom_path);
    if (edges_file)
        fclose(edges_file);
    return 0;
}
