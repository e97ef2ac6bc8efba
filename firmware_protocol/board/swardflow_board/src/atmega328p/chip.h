// SPDX-License-Identifier: Apache-2.0
/* The ATmega328P at 16 MHz and 5 V. Pins, in the chip's and in the usual hobby numbering:
 *
 *   flow meter      PB0  8    ICP1: the timer itself notes the time of a falling edge
 *   wheel sensor    PD2  2    INT0, falling edge
 *   spray switch    PD4  4    closed = pulled to ground
 *   buzzer          PD5  5    high = on
 *   light           PD6  6    high = on
 *   pressure        PC0  A0   ratiometric to AVCC
 *   serial          PD0, PD1  0, 1
 */
#ifndef CHIP_H
#define CHIP_H

#ifdef __cplusplus
extern "C" {
#endif

void chip_start(void);
void chip_pass(void);

#ifdef __cplusplus
}
#endif

#endif
