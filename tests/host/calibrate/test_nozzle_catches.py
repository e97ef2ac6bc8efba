from dataclasses import replace

import pytest

from host.calibrate.amounts import AmountReader
from host.calibrate.boom import Reading, catch_test
from host.calibrate.nozzle_catches import NozzleCatch, NozzleCatches, boom_catch
from host.errors import UserError
from host.rig import PressureSensor
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.rigs import rig
from tests.host.calibrate.test_counting import STILL

PSI = 6894.757293168361
SENSOR = PressureSensor(0.0, 100 * PSI)
READ = AmountReader()


def whole(steps):
    steps.check()
    return [boom_catch(caught) for caught in steps.whole_rounds]


def at_counts(counts, pulses=0):
    return replace(STILL, pressure_mean=round(16 * counts), flow_count=(STILL.flow_count + pulses) % 2**32)


def catch(steps, amount, seconds=55.0, reports=()):
    steps.start()
    for report in reports:
        steps.watch(report)
    steps._clock.go_on(seconds)
    steps.stop()
    return steps.take(READ.read(amount, "the catch"))


def test_nozzle_after_nozzle_at_two_pressures_by_the_gauge():
    steps = NozzleCatches(3, Clock())
    for psi, amounts in ((30, ("1000 mL", "1010 mL", "990 mL")), (45, ("1225 mL", "1240 mL", "1210 mL"))):
        steps.set_pressure(psi * PSI)
        for number, amount in enumerate(amounts, start=1):
            assert steps.nozzle == number
            assert catch(steps, amount, 50.0 + number) == f"Nozzle {number} done."
    low, high = whole(steps)
    assert (low.pressure_pa, high.pressure_pa) == pytest.approx((30 * PSI, 45 * PSI))
    assert low.times_s == pytest.approx((51, 52, 53))
    assert high.volumes_m3 == pytest.approx((1225e-6, 1240e-6, 1210e-6))
    result = catch_test([low, high], rig(3), None, Reading()).results[0]
    assert [one.flow_m3_s for one in result.nozzles] == pytest.approx([1e-3 / 51, 1.01e-3 / 52, 0.99e-3 / 53])


def test_the_pressure_of_each_catch_comes_from_the_board():
    steps = NozzleCatches(2, Clock(), SENSOR)
    with pytest.raises(UserError, match="enter what the gauge shows"):
        steps.set_pressure(None)
    # A ratiometric transducer: 10 % of the supply at nothing, 90 % at 100 psi; 430 of 1023 counts are 40.04 psi.
    steps.watch(at_counts(430))
    assert steps.board_pressure() == pytest.approx((430 / 1023 - 0.1) / 0.8 * 100 * PSI)
    steps.set_pressure(None)
    message = catch(steps, "1300 mL", reports=[at_counts(428, 10), at_counts(432, 2400)])
    assert message == "Nozzle 1 done."
    assert steps.rounds[0][0].pressure_pa == pytest.approx(40.04 * PSI, rel=1e-3)
    message = catch(steps, "1300 mL", reports=[at_counts(460)])
    assert "The pressure moved by +9 % since nozzle 1" in message


def test_a_board_that_gives_no_pressure():
    steps = NozzleCatches(2, Clock(), SENSOR)
    steps.watch(at_counts(430))
    steps.set_pressure(None)
    with pytest.raises(UserError, match="undo twice and read the gauge"):
        catch(steps, "1300 mL", reports=[at_counts(3)])  # the wire is off: 0.3 % of the supply
    steps.undo()
    catch(steps, "1300 mL", reports=[at_counts(430)])
    assert "so that of the nozzle before is used" in catch(steps, "1300 mL")
    assert steps.rounds[0][1].pressure_pa == steps.rounds[0][0].pressure_pa


def test_one_nozzle_missing_is_said():
    steps = NozzleCatches(4, Clock())
    with pytest.raises(UserError, match="nothing was caught yet"):
        whole(steps)
    steps.set_pressure(40 * PSI)
    with pytest.raises(UserError, match="nozzles 1 to 4 are missing"):
        whole(steps)
    for _ in range(3):
        catch(steps, "1 L")
    with pytest.raises(UserError, match="nozzle 4 is missing at this pressure"):
        whole(steps)
    steps.start()
    with pytest.raises(UserError, match="a catch of nozzle 4 is in progress"):
        whole(steps)


def test_undo_goes_back_through_everything():
    steps = NozzleCatches(2, Clock())
    steps.set_pressure(30 * PSI)
    catch(steps, "1 L")
    catch(steps, "1 L")
    steps.set_pressure(40 * PSI)
    steps.start()
    assert steps.undo() == "The catch of nozzle 1 is dropped: catch it again."
    assert steps.undo() == "The pressure is dropped: set it again."
    assert len(whole(steps)) == 1
    assert steps.undo() == "Nozzle 2: enter its amount again, or undo once more to catch it again."
    assert steps.undo() == "The catch of nozzle 2 is dropped: catch it again."
    catch(steps, "1.1 L")
    assert whole(steps)[0].volumes_m3 == pytest.approx((1e-3, 1.1e-3))
    assert whole(steps)[0].pressure_pa == pytest.approx(30 * PSI)
    for _ in range(5):  # two nozzles, amount and catch each, and the pressure
        steps.undo()
    with pytest.raises(UserError, match="nothing to undo"):
        steps.undo()


def test_a_short_catch_is_said_and_one_under_a_second_is_none():
    steps = NozzleCatches(2, Clock())
    steps.set_pressure(30 * PSI)
    steps.start()
    with pytest.raises(UserError, match="less than a second"):
        steps.stop()
    steps.undo()
    assert "It was caught for only 8 s" in catch(steps, "200 mL", 8.0)


def test_one_jug_for_all():
    steps = NozzleCatches(2, Clock())
    steps.set_pressure(30 * PSI)
    catch(steps, "1 L")
    with pytest.raises(UserError, match="not both in one test"):
        catch(steps, "1 kg")
    assert steps.step == "amount"


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda steps: steps.start(), "cannot start now"),
        (lambda steps: steps.stop(), "nothing is running"),
        (lambda steps: steps.take(READ.read("1 L", "it")), "before you enter an amount"),
        (lambda steps: steps.set_pressure(0.0), "must be above zero"),
        (lambda steps: (steps.set_pressure(1e5), steps.set_pressure(1e5)), "not all caught"),
    ],
)
def test_steps_out_of_order(act, says):
    with pytest.raises(UserError, match=says):
        act(NozzleCatches(2, Clock()))


def test_timing_each_nozzle_for_itself_is_an_uncertainty_of_each():
    """Four times timed by hand (0.2 s of 10 s each): a nozzle 7 % off is not yet proven against its own law."""
    steps = NozzleCatches(4, Clock())
    for psi, last in ((30, "180 mL"), (45, "235 mL")):
        steps.set_pressure(psi * PSI)
        for amount in (*["180 mL" if psi == 30 else "220 mL"] * 3, last):
            catch(steps, amount, 10.0)
    together = [replace(one, times_s=None) for one in whole(steps)]

    def odd(catches):
        return [one.nozzle for one in catch_test(catches, rig(), None, Reading()).findings if one.nozzle]

    assert odd(together) == [4]  # read to 10 mL of 180: 5 % would be proven
    assert odd(whole(steps)) == []


def test_a_countdown_ends_by_itself_and_counts_only_its_own_time():
    clock = Clock()
    steps = NozzleCatches(2, clock, SENSOR)
    steps.watch(at_counts(430))
    steps.set_pressure(None)
    steps.start(5.0, 30.0)
    clock.go_on(2.0)
    number, to_start, to_end = steps.timed
    assert (to_start, to_end) == pytest.approx((3.0, 33.0))
    steps.watch(at_counts(900))  # while the jug is brought into place: not of the catch
    clock.go_on(4.0)
    steps.watch(at_counts(430))
    assert steps.timed == (number, pytest.approx(-1.0), pytest.approx(29.0))
    clock.go_on(28.9)
    steps.tick()
    assert steps.step == "running"
    clock.go_on(3.0)  # nobody looked in the moment when it was over
    steps.tick()
    assert (steps.step, steps.timed) == ("amount", None)
    assert steps.take(READ.read("1 L", "it")) == "Nozzle 1 done."
    (catch,) = steps.rounds[0]
    assert catch.duration_s == 30.0
    assert catch.pressure_pa == pytest.approx(40.04 * PSI, rel=1e-3)
    steps.start(5.0, 30.0)
    clock.go_on(17.0)
    assert steps.stop() == pytest.approx(12.0)  # pulled away before its end
    steps.undo()
    steps.start(5.0, 30.0)
    clock.go_on(2.0)
    with pytest.raises(UserError, match="less than a second"):
        steps.stop()


def test_a_mistyped_amount_is_corrected_without_catching_again():
    steps = NozzleCatches(2, Clock())
    steps.set_pressure(30 * PSI)
    catch(steps, "1 L", 40.0)
    catch(steps, "0.1 L", 45.0)
    steps.undo()
    steps.take(READ.read("1.1 L", "the catch"))
    (test,) = whole(steps)
    assert test.volumes_m3 == pytest.approx((1e-3, 1.1e-3)) and test.times_s == pytest.approx((40.0, 45.0))


def test_nozzles_that_were_entered_at_once_are_undone_at_once():
    steps = NozzleCatches(2, Clock())
    typed = [NozzleCatch(READ.read("1 L", "the catch"), 30.0, 30 * PSI, True, together=True)] * 2
    steps.take_all(typed)
    assert steps.undo() == "All nozzles of this pressure are dropped: enter them again."
    steps.take_all(typed)
    assert len(whole(steps)) == 1
