"""The emulated board against the protocol page and its golden vectors."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import firmware_protocol
from firmware_protocol import messages
from firmware_protocol.messages import Ack, Capability, Flag, Hardware, Identity, Report, State, decode, encode_command
from host.simulate.board import EmulatedBoard, Sent
from host.simulate.disturbances import Disturbance
from host.simulate.scenario import load_scenario
from host.simulate.scenario_source import ScenarioSource, capabilities, run_lines
from host.simulate.settings import BoardSettings, LinkSettings
from tests.host.simulate.made import RIG, flow_between, frames_of, one_pass, rig

ALL = Capability(0x3F)
VECTORS = Path(firmware_protocol.__file__).parent / "vectors"


def rows(name: str) -> list[dict[str, str]]:
    text = (VECTORS / name).read_text(encoding="utf-8")
    head, *lines = [line for line in text.split("\n") if line and not line.startswith("#")]
    return [dict(zip(head.split("\t"), line.split("\t"), strict=True)) for line in lines]


def unescaped(text: str) -> bytes:
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


def board(settings: BoardSettings, fitted: Capability = ALL) -> EmulatedBoard:
    return EmulatedBoard(settings, fitted, lambda: None, [], [])


def messages_of(source: ScenarioSource) -> list[tuple[float, messages.Message]]:
    decoded = [(at_s, decode(line)) for lines in run_lines(source) for at_s, line in lines]
    return [(at_s, message) for at_s, message in decoded if message is not None]


@pytest.mark.parametrize("row", rows("commands.tsv"), ids=lambda row: row["name"])
def test_commands_are_answered_as_in_the_golden_vectors(row: dict[str, str]) -> None:
    emulated = board(BoardSettings(name="test-board", boot=5), Capability(int(row["fitted"], 16)))
    answers = emulated.receive(unescaped(row["line"]) + b"\n", 0.1234565)
    replies = [reply for _, reply in answers if reply[:1] not in b"HS"]
    wanted = [reply.encode() for reply in row["replies"].split("|") if reply]
    own_version = b" 1.1-sim "
    as_wanted = [reply.replace(own_version, b" 1.1.0 ") if reply[:1] == b"I" else reply for reply in replies]
    for own, expected in zip(as_wanted, wanted, strict=True):
        # The identity differs in the program's version, so in the checksum, too.
        assert own[:-4] == expected[:-4]
        assert own[:1] == b"I" or own == expected


def test_replies_do_not_depend_on_how_the_bytes_come() -> None:
    data = b"".join(unescaped(row["line"]) + b"\n" for row in rows("commands.tsv"))
    whole = [reply for _, reply in board(BoardSettings()).receive(data, 0.5)]
    bytewise = board(BoardSettings())
    assert [reply for byte in data for _, reply in bytewise.receive(bytes([byte]), 0.5)] == whole


def test_first_line_is_the_identity_and_the_first_report_comes_one_interval_later() -> None:
    (at_s, first), (_, hardware), (_, state), (after_s, second), *_ = messages_of(ScenarioSource(one_pass(seconds=2.0)))
    assert isinstance(first, Identity)
    assert isinstance(hardware, Hardware)
    assert isinstance(state, State)
    assert (state.flow_filter, state.wheel_filter) == (100, 400)
    assert first.capabilities == 0x3F
    assert isinstance(second, Report)
    assert (second.seq, second.clock) == (0, 100_000)
    assert after_s - at_s == pytest.approx(0.1, abs=0.01)


def test_every_report_is_sound_and_keeps_what_the_protocol_page_promises() -> None:
    reports = [m for _, m in messages_of(ScenarioSource(one_pass(seconds=70.0, quiet=False))) if isinstance(m, Report)]
    assert [r.seq for r in reports] == list(range(len(reports)))
    for report in reports:
        assert 16 * report.pressure_min <= report.pressure_mean <= 16 * report.pressure_max
        assert report.flow_edge <= report.clock
        assert report.wheel_edge <= report.clock


def test_identity_comes_once_a_minute() -> None:
    lines = messages_of(ScenarioSource(one_pass(seconds=185.0)))
    times = [at_s for at_s, message in lines if isinstance(message, Identity)]
    assert times == pytest.approx([0.0, 60.0, 120.0, 180.0], abs=0.02)


def test_clock_error_shows_in_the_clock_and_not_in_the_counts() -> None:
    """A board half a percent fast, as resonators of hobby boards are (common practice: ±0.5 %)."""
    right, _ = frames_of(one_pass())
    fast, _ = frames_of(one_pass(board=BoardSettings(clock_error=0.005)))
    assert (fast["clock"][-1] - fast["clock"][0]) / 1e6 / (fast["host_s"][-1] - fast["host_s"][0]) == pytest.approx(
        1.005, rel=3e-4
    )
    assert fast["flow_count"][-1] == pytest.approx(int(right["flow_count"][-1]), abs=3)
    assert flow_between(fast, 10, 35) / flow_between(right, 10, 35) == pytest.approx(1 / 1.005, rel=2e-4)


def test_clock_and_edges_wrap_together() -> None:
    scenario = one_pass(board=BoardSettings(start_clock_us=2**32 - 10_000_000))
    frames, _ = frames_of(scenario)
    assert (np.diff(frames["clock"].astype(np.int64)) < 0).sum() == 1
    age = (frames["clock"].astype(np.int64) - frames["flow_edge"]) % 2**32
    assert (age[30:] < 1e6).all()
    assert (np.diff(frames["clock"]) < 2**31).all()  # modulo 2**32


def test_a_reset_begins_anew_and_loses_only_what_was_pumped_while_down() -> None:
    steady, _ = frames_of(one_pass())
    reset = Disturbance("board_reset", 20.0, lasts_s=2.0)
    source = ScenarioSource(one_pass(reset, board=BoardSettings(boot=255)), np.random.default_rng(5))
    lines = [message for _, message in messages_of(source)]
    first = next(i for i, m in enumerate(lines) if isinstance(m, Identity) and m.boot == 0)
    before, after, last = lines[first - 1], lines[first + 3], lines[-1]
    assert isinstance(before, Report) and isinstance(after, Report) and isinstance(last, Report)
    assert (before.boot, after.boot, after.seq) == (255, 0, 0)
    assert after.clock == 100_000
    assert after.flags & Flag.UNPLANNED_RESET
    missing = int(steady["flow_count"][-1]) - before.flow_count - last.flow_count
    assert missing == pytest.approx(25.55 * 2.0, abs=25.55 * 0.1 + 2)


def test_interval_command_takes_effect_with_the_next_report() -> None:
    source = ScenarioSource(one_pass(seconds=10.0))
    source.due(2.0)
    source.receive(encode_command(messages.Command("n", 1, 50)) + b"\n", 2.0)
    decoded = [decode(line) for _, line in source.due(4.0)]
    assert Ack(1, "n", 50) in decoded
    clocks = [m.clock for m in decoded if isinstance(m, Report)]
    assert np.diff(clocks)[1:] == pytest.approx([50_000] * (len(clocks) - 2), abs=1)


def test_output_flag_follows_the_command_for_its_time() -> None:
    source = ScenarioSource(one_pass(seconds=10.0))
    source.due(1.0)
    source.receive(encode_command(messages.Command("o", 1, messages.outputs_argument(1, 0, 20))) + b"\n", 1.0)
    reports = [m for _, line in source.due(6.0) if isinstance(m := decode(line), Report)]
    driven = [r.clock / 1e6 for r in reports if r.flags & Flag.OUTPUT_ON]
    assert (min(driven), max(driven)) == pytest.approx((1.1, 2.9), abs=0.11)


def test_a_rig_without_parts_has_no_such_inputs() -> None:
    plain = (
        RIG[: RIG.index("[pressure]")] + '[course]\ndistance = "200 ft"\ntime = "55 s"\n' + RIG[RIG.index("[target]") :]
    )
    from host.rig import rig_from_toml

    words = {"tank": "25 gal", "pump": "3 gpm", "shutoff": "90 psi", "nozzles": 3, "spacing": "20 in"}
    text = plain.format(**words, flow="0.3 gpm", at="40 psi", meter='factor = "450 /L"').replace(
        "switch = true", "switch = false"
    )
    bare = rig_from_toml(text)
    assert capabilities(bare) == Capability.FLOW | Capability.BUZZER | Capability.LIGHT
    frames, _ = frames_of(one_pass(rig=bare))
    for name in ("wheel_count", "wheel_edge", "pressure_mean", "pressure_min", "pressure_max", "flags"):
        assert not frames[name].any()
    assert frames["flow_count"][-1] > 900


def test_the_switch_is_in_the_flags_while_spraying() -> None:
    frames, source = frames_of(one_pass(seconds=10.0))
    on = (frames["flags"] & Flag.SPRAY) > 0
    assert (frames["clock"][on][0] / 1e6) == pytest.approx(source.sprayer.walk.passes[0].begin_s, abs=0.11)


def test_output_is_the_same_however_it_is_asked_for() -> None:
    """Live, some milliseconds at a time, gives the very lines that are written off-line."""
    scenario = load_scenario("wrap-and-reset")
    whole = [line for lines in run_lines(ScenarioSource(scenario)) for line in lines]
    source, lines, now = ScenarioSource(scenario), [], 0.0
    steps = np.random.default_rng(1).exponential(0.7, 100_000)
    while not source.over:
        now += float(steps[len(lines) % 100_000])
        lines += source.due(now)
    assert [line for _, line in lines] == [line for _, line in whole]
    assert [at_s for at_s, _ in lines] == pytest.approx([at_s for at_s, _ in whole], abs=1e-9)


def test_frames_are_what_a_reader_makes_of_the_lines() -> None:
    scenario = load_scenario("wrap-and-reset")
    reports = []
    for lines in run_lines(ScenarioSource(scenario)):
        for at_s, line in lines:
            try:
                message = decode(line)
            except messages.LineError:
                continue
            if isinstance(message, Report):
                reports.append((at_s, message))
    frames, _ = frames_of(scenario, seed=scenario.seed)
    assert len(reports) == len(frames)
    assert [r.flow_count for _, r in reports] == frames["flow_count"].tolist()
    assert [r.flags for _, r in reports] == frames["flags"].tolist()


def test_a_blocked_output_keeps_what_its_buffer_holds_and_counts_the_rest() -> None:
    stall = Disturbance("link_stall", 10.0, lasts_s=2.0)
    frames, _ = frames_of(one_pass(stall, board=BoardSettings(buffer_lines=4)))
    gap = np.flatnonzero(np.diff(frames["seq"].astype(int)) > 1)
    assert len(gap) == 1
    assert frames["seq"][gap[0] + 1] - frames["seq"][gap[0]] - 1 == 16
    assert frames["lines_dropped"][-1] == 16
    late = (frames["clock"] / 1e6 >= 10.0) & (frames["clock"] / 1e6 < 12.0)
    assert (frames["host_s"][late] >= 12.0).all()
    assert (np.diff(frames["host_s"]) > 0).all()


def test_a_pulled_cable_loses_lines_and_no_pulses() -> None:
    frames, _ = frames_of(one_pass(Disturbance("unplug", 10.0, lasts_s=5.0)))
    steady, _ = frames_of(one_pass())
    assert len(steady) - len(frames) == 50
    assert frames["flow_count"][-1] == steady["flow_count"][-1]


def test_lines_are_lost_and_damaged_in_the_shares_wanted_and_damage_is_never_sound() -> None:
    scenario = one_pass(seconds=600.0, link=LinkSettings(loss=0.10, damage=0.05))
    lines = [line for batch in run_lines(ScenarioSource(scenario)) for _, line in batch]
    bad = 0
    for line in lines:
        try:
            decode(line)
        except messages.LineError:
            bad += 1
    assert len(lines) == pytest.approx(5999 * 0.9 + 10 * 3 + 59, abs=4 * (5999 * 0.09) ** 0.5)
    assert bad == pytest.approx(5999 * 0.05, abs=4 * (5999 * 0.05) ** 0.5)


def test_nothing_sent_is_an_empty_batch() -> None:
    sent: Sent = board(BoardSettings()).advance(0.0)
    assert len(sent.reports) == 0
    assert rig().spray_switch
