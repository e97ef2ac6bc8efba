// SPDX-License-Identifier: Apache-2.0
#include "keep.h"

#define MARK 0x51A7D0F1u /* any number that memory does not hold by chance after a power-off */
#define PLAUSIBLE 100000u /* more unsent pulses than that are not believed: 20 s at the highest rate */

static void begin_input(struct keep_input *input, volatile struct counter *counter, bool valid, bool in_doubt,
                        struct filter usual)
{
    uint32_t unsent = input->carried + counter->count - (in_doubt ? input->on_its_way : input->reported);
    input->carried = valid && unsent < PLAUSIBLE ? unsent : 0;
    input->reported = input->on_its_way = 0;
    if (!valid || !filter_is_possible(input->filter.rule, input->filter.us))
        input->filter = usual;
    counter_clear(counter, input->filter);
}

void keep_begin(struct keep *keep, bool trusted, volatile struct counter *flow, volatile struct counter *wheel,
                const struct filters *usual)
{
    bool valid = trusted && keep->mark == MARK;
    bool in_doubt = valid && keep->leaving == LEAVING_IN_DOUBT;
    if (!valid)
        keep->leaving = LEAVING_DONE;
    keep->mark = 0; /* a restart in the middle of this leaves nothing half done behind */
    begin_input(&keep->flow, flow, valid, in_doubt, usual->flow);
    begin_input(&keep->wheel, wheel, valid, in_doubt, usual->wheel);
    keep->mark = MARK;
}
