"""Every threshold of the fault watch in one place. FAULTS.md says how they were found; the bench prints them."""

from __future__ import annotations

from dataclasses import dataclass

Span = tuple[float, int]


@dataclass(frozen=True)
class Tuning:
    """A Span is a time (s), and how many reports it has at least, however far apart they come (timing.py). Frames are
    reports. "of c", "of ln P": relative, as small differences of logarithms."""

    # The boom's coefficient c = Q/√P, frame by frame
    interval_steps: int = 5  # between the run's first reports, from which their interval is taken
    new_interval_steps: int = 30  # in a row that keep to another: longer than a restarted board is asked for its own
    interval_differs: float = 0.25
    lag_s: float = 0.22  # a small turbine or paddle rotor; 0.15 to 0.30 s give nearly the same result
    lag_u_s: float = 0.065  # standard uncertainty of that lag: matters while the pressure moves
    settle_us: int = 1_500_000  # after a gap
    mask_at_first_s: float = 2.5  # after the flow begins: rotor spins up, boom fills; until the run's passes have shown
    mask_least_passes: int = 2
    mask_passes: int = 6  # of which the longest counts
    mask_range_s: tuple[float, float] = (0.8, 4.5)
    mask_margin_s: float = 0.3
    mask_learn_s: float = 4.5  # of a pass
    mask_rest_s: float = 1.2  # at its end, when it has come to rest
    mask_off: float = 0.025
    rundown_s: float = 0.8  # before the flow stops: the rotor is running down, or the boom's valve is closing
    rundown_off: float = 0.04  # of log c: further down it still does
    longest_frame_us: int = 1_500_000  # over a longer gap nothing is known about the pressure
    lowest_pa: float = 35_000.0  # below about 5 psi the transducer's zero error outweighs what is looked for
    floor_pa: float = 7_000.0  # of a pressure's logarithm: about 1 psi, what a transducer's zero may be off
    jolt: float = 0.07  # of √P from one tenth of a second to the next: a stone, or air; not a fault
    added_pulses: float = 0.6  # what comes on top of this and of the next is likely a false pulse
    added_share: float = 0.08  # of a frame's flow
    impossible_rise: float = 0.45  # of a tenth of a second's flow over the last one's: a rotor cannot; false pulses can

    # Uneven poles
    pole_frames: Span = (8.0, 200)  # from which the map is learned
    pole_block: int = 40  # frames after which its alignment is checked: a false pulse moves it
    pole_doubt_frames: int = 10  # after a false or missed pulse, or a turn, from which the alignment is found again
    pole_worth: float = 0.85  # a map that does not bring the variance below this share is none
    pole_realign: float = 0.6
    pole_clip: float = 0.4  # pulses: more is no pole

    # Noise of log c in this run
    noise_block: Span = (20.0, 60)
    noise_local: Span = (1.5, 15)  # a step lies in a few of them only, so it does not raise their median
    noise_local_ratio: float = 1.4  # the local median's own scatter
    noise_unit: Span = (0.1, 1)  # frames whose mean is what noise is measured on
    noise_span: int = 10  # of those
    noise_at_first: tuple[float, float] = (0.015, 0.05)  # white, edge
    noise_floor: tuple[float, float] = (0.0015, 0.0015)
    noise_averaged: float = 6.0  # blocks
    noise_growth: float = 1.5  # of the variance in one block at most: what is wrong now must not become the rule
    drift_floor: float = 0.001  # of c, standard deviation: no window averages it away
    drift_blocks: tuple[int, int] = (8, 30)  # from the first number on the drift is taken from them, at most the second
    drift_ratio: float = 1.4  # a window and the baseline before it lie further apart than two blocks

    # Adaptive layer: windows against a baseline that follows slow drift
    windows: tuple[int, ...] = (
        *(2, 3, 4, 5, 6, 7, 8, 10, 12, 15, 19, 24),
        *(30, 40, 55, 75, 100, 140, 200, 300, 450, 600),
        *(900, 1200, 1800, 3000),
    )
    longest_window_s: float = 60.0
    adaptive: float = 22.0  # of the log likelihood ratio
    word: float = 14.0  # of the same, for a first word: the rest is asked before it is called
    word_tax: float = 50.0  # asked on top of the others, over frames²: most words that are taken back were short
    word_odds: float = 5.0  # that it is no bubble
    word_longest: Span = (3.0, 8)  # windows that it may come from: a change that takes longer to show is in no hurry
    word_gone: Span = (0.3, 2)  # without a sign of it, and it is taken back
    word_most: Span = (2.0, 4)  # that it waits for a step
    word_rest_s: float = 10.0  # after one that was taken back no other is said
    drop_tax: float = 10.0  # asked on top of it, over frames²: some frames' noise is far from normal
    rise_tax: float = 150.0
    rising: float = 2.5  # of a rise as many times as much is asked: false pulses look like one
    shortest_rise: Span = (0.5, 3)
    rise_clip: float = 5.0  # standard deviations that one frame may add to a rise: a false pulse makes none by itself
    rise_sd_floor: float = 0.0075
    first: Span = (2.0, 4)  # of settled spraying, from which a baseline is begun
    first_sigmas: float = 3.0  # frames further off its median count as that
    first_apart: float = 0.02  # of log c between its halves: more, and it has not come to rest
    relevel: Span = (2.0, 8)  # after a step, from which the new level is taken
    rundown_kept: Span = (6.0, 6)  # that are kept, to forget those of a rotor running down
    lagging: Span = (0.6, 1)  # of these at the beginning the rotor is still on its way
    level_clip: float = 0.15
    turn_s: float = 1.0  # without a usable frame: a false pulse may have come without being seen
    adapt: Span = (120.0, 60)  # time constant of the baseline
    adapt_clip: float = 0.01  # what one frame may move it by, or
    adapt_clip_sigmas: float = 2.0

    # Absolute layer: a cumulative sum against the first baseline
    reference: Span = (5.0, 20)  # of spraying from which that is taken
    allowance: float = 0.02  # of log c
    allowance_most: float = 1.4  # times as much where the run drifts
    absolute_s: float = 0.03  # its threshold, in log c · s
    absolute_least: float = 0.063  # the same in log c · frames: never less
    sum_clip: float = 0.05  # what one frame may add to the sums: one alone never reaches the threshold
    sum_sigmas: float = 4.0  # a sum below as many of a frame's standard deviations is no alarm
    sum_rising: float = 1.5  # times the threshold for a rise
    # For which a sum must have run: what comes sooner is for the other layer, which knows bubbles.
    sum_least: Span = (1.2, 6)

    # Clog or bubble
    bubble_odds: float = 6.6  # log of the odds: of 300 bubbles in 100 h well below one may pass
    bubble_more: Span = (1.2, 4)  # before a window, or in a short one, that have to fit as well
    bubble_most: Span = (0.5, 2)
    bubble_uneven: tuple[float, float] = (0.05, 0.10)  # of one pulse: a rotor in water stays below 0.02
    bubble_model_sd: float = 0.004  # of c: what neither template has right
    bubble_missing_s: float = 1.2  # of frames: more, and nothing is known of the pressure before
    bubble_pressure: float = -0.02  # change of ln P
    bubble_pressure_sd: float = 0.015  # its scatter beside the ground's
    bubble_pressure_most: float = 5.0  # what the pressure may add to the log of the odds
    longest_frame_pulses_s: float = 0.3  # that the pulses of one frame took

    # What the pressure did at a step
    step_window: Span = (1.1, 3)  # frames on each side: two steps of the walk, which shakes the pressure
    step_gap_s: float = 0.2  # between the two: the onset is known no better, and the hoses give
    pressure_sd: float = 0.02  # of ln P between two windows of some seconds, before the run has shown how it wanders
    pressure_sd_floor: float = 0.006
    pressure_learn: Span = (10.0, 40)
    outlier_ratio: float = 3.0  # times the median deviation

    # The regulator's droop, from the ends of passes
    usual_droop: float = 0.12  # of small bypass regulators (our own design figures)
    usual_droop_sd: float = 0.06
    stiff_share: float = 0.4  # of regulators that may be as stiff as you like, where nothing has shown otherwise
    turns_kept: int = 16  # the knob changes the droop
    behind_valve_rise: float = -0.3  # of ln P when the boom is shut: a transducer behind the valve sees the pressure go
    far_sigmas2: float = 5000.0  # what is further off says no more, and no weight becomes zero
    wild_share: float = 0.05  # one in twenty comes with a jolt or a hand on the knob
    wild_wider: float = 3.0
    # Further off what every cause makes of it than as many standard deviations and this share of the move, and the
    # pressure was moved by something else.
    answer_sigmas: float = 4.0
    answer_share: float = 0.25  # a slow report holds some of both
    turn_sd: float = 0.005  # of ln P: the droop itself changes with the pressure that is set
    give_s: float = 0.4  # after the spray has come on or gone off the pressure has settled
    turn_level_s: float = 1.1
    turn_level_least: Span = (0.6, 1)
    stopped_s: float = 1.5  # without a switch on the spray it may have come on or gone off as long before that shows

    # From a step to its cause
    judge: Span = (2.0, 14)  # after the step, from which a first judgement is made
    settle: Span = (3.0, 18)
    rough: float = 2.5  # times the run's own noise: air or false pulses, not an orifice
    rough_pressure: float = 2.0
    rough_spread: float = 2.5  # the same, for frames of which only some are spoilt
    rough_pulses: float = 0.15  # from frame to frame at least: uneven poles make half of that
    pulses_only_sigmas: float = 4.0  # where the pressure has moved as far, it is not just the pulses
    hold_odds: float = 0.6  # of two causes the one that has been called stays until the other is this likely
    wear_nozzles: float = 0.9  # that worn tips let through on top at most (our own design figure)
    lost_tip_nozzles: float = 2.2  # that a bare nozzle body lets through on top at least (our own design figure)
    whole_off: float = 0.06  # nozzles' worth off a whole number of them: how alike new tips are
    valve_takes: float = 0.1  # of the pressure that the boom has, at most: the valve and hoses behind the transducer
    whole_sure: float = 0.9
    whole_most: float = 0.95  # sure at most that a section was opened
    either_most: float = 0.6  # and where a tip may be lost as well
    one_opens: float = 0.25  # odds of one nozzle alone that comes free in a pass
    size_sd: float = 0.12  # of ln c of a whole boom, off what nozzles' size and meter's factor let expect
    size_wild: float = 0.1  # of rigs: anywhere within the next
    size_far: float = 1.5
    sure: float = 0.9  # below this the alternatives are named with the cause
    level_u: float = 0.004  # standard uncertainty of a level of log c: drift of meter and transducer in some minutes

    # From a first word to a call
    # Nozzles' worth from which, and seconds since the beginning after which a change is called: a bubble is over.
    confirm_s: tuple[tuple[float, float], ...] = ((0.5, 0.6), (0.2, 0.8), (0.0, 1.3))
    confirm_called_s: float = 0.2  # a change that took long to show has been seen for so long when it is found
    confirm_seen: Span = (10.0, 20)
    hoses_s: float = 0.7  # flow that hoses and trapped air take in, per flow and per rise of ln P in a second, at most
    hoses_seen: Span = (1.2, 4)  # in which the pressure runs: two steps of the walk, which shake it
    hoses_sigmas: float = 2.2  # of what it moves by itself: less, and it does not run
    least_nozzles: float = 0.05  # nozzles' worth: a pump and its regulator wander by less within seconds
    stayed_least: float = 0.01  # of c, or less where that is a twentieth of a nozzle: a level was seen for longer
    confirm_least: int = 4  # frames
    even_frames_off: float = 3.0  # times the change from frame to frame that the newest may be off by chance
    second_s: float = 0.5
    second_most_s: float = 4.0  # waited for no longer: a rotor has run down
    stays_share: float = 0.75  # of the most that was seen: less is left, and it is on its way back
    confirm_slope: float = 0.4  # of ln c per second: falls faster, and it may be the rotor running down
    confirm_slower: float = 0.5  # power of its speed with which a rotor's lag grows as it slows
    confirm_deep: float = 1.2  # of ln c: further down it is nearly stopped, and is waited for
    confirm_deep_s: float = 1.5
    uneven: Span = (2.0, 6)  # waited for no longer
    uneven_ratio: float = 4.0  # of the change from frame to frame
    returning_share: float = 0.25  # of the most that was seen, within two frames
    recovered: Span = (0.6, 2)  # or more where frames are noisy:
    recovered_sigmas: float = 10.0  # of their mean's standard deviations that the change has to be
    recovered_most: Span = (1.2, 4)
    recovered_share: float = 0.4  # of the change: less is left, and there was none

    settled_down: float = 0.1  # of ln P: less below where a fault of the boom has left it, and it is that
    answers_most: float = 2.5  # times the rise of ln c: by more no fault of the boom moves ln P down
    fallen: float = 0.25  # of ln P, with c: more than a hand on the knob within a second

    # Following an open fault of the boom
    boom_tail: Span = (90.0, 300)  # usable frames that are kept
    boom_before: Span = (2.0, 8)  # of them, from which the state before a step is taken
    mended_share: float = 0.35  # of the change: less is left, and it counts as mended
    mended_least: float = 0.004  # of ln c
    mended: Span = (2.0, 6)
    gone: float = 0.006  # of c: less than this is left, and there is nothing to name
    even: Span = (4.0, 20)
    even_ratio: float = 1.5
    spread_floor: float = 0.003
    remeasure: Span = (10.0, 10)  # after which the size is measured again
    rough_seen: Span = (8.0, 30)
    rough_on: float = 0.9
    rough_off: float = 0.2
    sudden: Span = (0.8, 3)  # a step that is proven in fewer came at once
    own_fault_nozzles: float = 0.25  # less on top of a fault counts as its growth
    onset_earlier: Span = (1.0, 1)  # frames: the window that proved a step may begin after it
    onset_beside: Span = (1.0, 3)  # frames on each side of an onset
    sudden_share: float = 0.7  # of a change that came between them
    catch_sigmas: float = 2.5  # off the catch test
    catch_floor: float = 0.025
    resumed_s: float = 30.0  # false or missing pulses come and go: after so short a time it is still the same fault

    # Rules
    rail_counts: int = 100  # an open wire reads near 0, a short near full scale: at least 255
    no_flow_apart_s: float = 3.0  # from the last steady spraying to the pressure that tells meter from valve
    no_flow_pulses: float = 6.0  # that should have come since the last one
    usual_pressure_s: float = 3.0  # of the run's first steady spraying, from which the usual pressure is taken
    usual_follows_s: float = 120.0  # time constant with which it follows a higher one
    low_pressure_share: float = 0.5  # of it: urgent
    down_pressure_share: float = 0.81  # of it: worth a word
    down_mean_s: float = 2.0  # over which the pressure is taken for that: its shaking is no fall
    flows_lately_s: float = 1.0  # since the last pulse: less, and water comes, in starts and stops at least
    never_up_s: float = 3.0  # of them with a low pressure, where no switch tells them from ends of passes
    gone_pressure_share: float = 0.3
    up_pressure_share: float = 0.7  # of it: the boom may be spraying
    stays_up_s: float = 2.0  # after the last pulse: behind the valve the pressure would have gone with the spray
    # Without a switch, before the valve: shut, or a meter without pulses
    full_hz_share: float = 0.85  # of the usual flow: less, and the rotor runs down, or the boom is only being opened
    give_shut_s: float = 1.2  # after the last pulse, from which the pressure is that of a boom that is shut
    turn_level_from_s: float = 2.5  # from which its mean is that of more than a stroke
    turn_least_s: float = 4.0  # since the last pulse
    turns_least: int = 3  # that have shown how far the pressure rises
    turn_further: float = 1.5  # times the way of the longest turn lately
    turn_share: float = 0.4  # of the usual rise: within it, and the pressure is that of spraying
    turn_sigmas: float = 5.0  # and so far off the usual rise
    turn_rise_sd: float = 0.012  # of ln P, at least
    stays_still: float = 0.06  # of ln P, behind the valve: less, and what the boom gives is what it gave
    least_flow_share: float = 0.4  # of the usual flow, by which pulses are due where the pressure has gone
    lead_at_first_s: float = 4.0  # from the switch to the flow, before the run's passes have shown it
    lead_margin_s: float = 1.0
    trail_margin_s: float = 0.25  # from the last pulse to the switch
    trail_most_s: float = 1.5  # longer, and the flow had stopped for another reason
    returns: float = 0.12  # of ln P above the droop, when the boom is shut: more, and the pump was the limit
    walks_hz_share: float = 0.3  # of the usual flow: less, and the rotor is running down
    silence_s: float = 1.0
    silence_steps: float = 2.5  # of the board's own interval, where that is longer
    losses: float = 0.03
    loss_frames: int = 100
    share: Span = (3.0, 10)  # of which a share is taken
    rough_ride: float = 0.4  # of them: a stone shakes the pressure for half a second
    nearly_empty: float = 0.05  # of the tank
    watch_tail: int = 500  # frames that are kept

    # The alarm
    # Nozzles' worth from which a change of c makes a sound: when it has been judged, and at any other time. Some
    # frames' noise is as much as the one, and what creeps on costs little ground a minute.
    sound_judged: float = 0.07
    sound_other: float = 0.15
    alarm_clear_s: float = 3.0  # a fault must have ended for so long: one that flickers does not start it again


TUNING = Tuning()
