// SPDX-License-Identifier: Apache-2.0
// The board's firmware as a sketch. All of it is under src/; the same files build without this one: see ../Makefile.
#include "src/atmega328p/chip.h"

void setup() {
  chip_start();
}

void loop() {
  chip_pass();
}
