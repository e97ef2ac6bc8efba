#include "keep.h"

#define MARK 0x51A7D0F1u /* any number that memory does not hold by chance after a power-off */
#define PLAUSIBLE 100000u /* more unsent pulses than that are not believed: 20 s at the highest rate */

static void begin_input(struct keep_input *input, uint32_t old_count, uint32_t valid)
{
    uint32_t unsent = input->carried + old_count - input->reported;
    input->carried = valid && unsent < PLAUSIBLE ? unsent : 0;
    input->reported = 0;
}

void keep_begin(struct keep *keep, uint32_t old_flow_count, uint32_t old_wheel_count)
{
    uint32_t valid = keep->mark == MARK;
    keep->mark = 0; /* a reset in the middle of this leaves nothing half done behind */
    begin_input(&keep->flow, old_flow_count, valid);
    begin_input(&keep->wheel, old_wheel_count, valid);
    keep->mark = MARK;
}
