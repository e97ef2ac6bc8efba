from dataclasses import replace

import pytest

from host.calibrate.amounts import AmountReader
from host.calibrate.boom import Reading, catch_test
from host.calibrate.boom_guide import BoomGuide
from host.errors import UserError
from host.rig import PressureSensor
from tests.host.calibrate.clocks import Clock
from tests.host.calibrate.rigs import rig
from tests.host.calibrate.test_guide import STILL

PSI = 6894.757293168361
SENSOR = PressureSensor(0.0, 100 * PSI)
READ = AmountReader()


def at_counts(counts, pulses=0):
    return replace(STILL, pressure_mean=round(16 * counts), flow_count=(STILL.flow_count + pulses) % 2**32)


def catch(guide, amount, seconds=55.0, reports=()):
    guide.begin()
    for report in reports:
        guide.watch(report)
    guide._clock.go_on(seconds)
    guide.end()
    return guide.enter(READ.read(amount, "the catch"))


def test_nozzle_after_nozzle_at_two_pressures_by_the_gauge():
    guide = BoomGuide(3, Clock())
    assert "read the gauge" in guide.say()
    for psi, amounts in ((30, ("1000 mL", "1010 mL", "990 mL")), (45, ("1225 mL", "1240 mL", "1210 mL"))):
        guide.set_pressure(psi * PSI)
        for number, amount in enumerate(amounts, start=1):
            assert f"under nozzle {number} of 3" in guide.say()
            assert catch(guide, amount, 50.0 + number) == f"Nozzle {number} is taken."
    low, high = guide.catches()
    assert (low.pressure_pa, high.pressure_pa) == pytest.approx((30 * PSI, 45 * PSI))
    assert low.times_s == pytest.approx((51, 52, 53))
    assert high.volumes_m3 == pytest.approx((1225e-6, 1240e-6, 1210e-6))
    result = catch_test([low, high], rig(3), None, Reading()).results[0]
    assert [one.flow_m3_s for one in result.nozzles] == pytest.approx([1e-3 / 51, 1.01e-3 / 52, 0.99e-3 / 53])


def test_the_board_tells_the_pressure_of_each_catch():
    guide = BoomGuide(2, Clock(), SENSOR)
    with pytest.raises(UserError, match="enter what the gauge shows"):
        guide.set_pressure(None)
    # A ratiometric transducer: 10 % of the supply at nothing, 90 % at 100 psi; 430 of 1023 counts are 40.04 psi.
    guide.watch(at_counts(430))
    assert guide.board_pressure() == pytest.approx((430 / 1023 - 0.1) / 0.8 * 100 * PSI)
    guide.set_pressure(None)
    said = catch(guide, "1300 mL", reports=[at_counts(428, 10), at_counts(432, 2400)])
    assert said == "Nozzle 1 is taken."
    assert guide.live().pulses == 2390
    assert guide.rounds[0][0].pressure_pa == pytest.approx(40.04 * PSI, rel=1e-3)
    said = catch(guide, "1300 mL", reports=[at_counts(460)])
    assert "The pressure moved by +9 % since nozzle 1" in said


def test_a_board_that_tells_no_pressure():
    guide = BoomGuide(2, Clock(), SENSOR)
    guide.watch(at_counts(430))
    guide.set_pressure(None)
    with pytest.raises(UserError, match="undo twice and read the gauge"):
        catch(guide, "1300 mL", reports=[at_counts(3)])  # the wire is off: 0.3 % of the supply
    guide.undo()
    catch(guide, "1300 mL", reports=[at_counts(430)])
    assert "that of the nozzle before is taken" in catch(guide, "1300 mL")
    assert guide.rounds[0][1].pressure_pa == guide.rounds[0][0].pressure_pa


def test_one_nozzle_missing_is_said():
    guide = BoomGuide(4, Clock())
    with pytest.raises(UserError, match="nothing was caught yet"):
        guide.catches()
    guide.set_pressure(40 * PSI)
    with pytest.raises(UserError, match="nozzles 1 to 4 are missing"):
        guide.catches()
    for _ in range(3):
        catch(guide, "1 L")
    with pytest.raises(UserError, match="nozzle 4 is missing at this pressure"):
        guide.catches()
    guide.begin()
    with pytest.raises(UserError, match="nozzle 4 is being caught"):
        guide.catches()


def test_undo_goes_back_through_everything():
    guide = BoomGuide(2, Clock())
    guide.set_pressure(30 * PSI)
    catch(guide, "1 L")
    catch(guide, "1 L")
    guide.set_pressure(40 * PSI)
    guide.begin()
    assert guide.undo() == "The catch of nozzle 1 is dropped: catch it again."
    assert guide.undo() == "The pressure is dropped: set it again."
    assert len(guide.catches()) == 1
    assert guide.undo() == "Nozzle 2 is dropped: catch it again."
    catch(guide, "1.1 L")
    assert guide.catches()[0].volumes_m3 == pytest.approx((1e-3, 1.1e-3))
    assert guide.catches()[0].pressure_pa == pytest.approx(30 * PSI)
    for _ in range(3):
        guide.undo()
    with pytest.raises(UserError, match="nothing to undo"):
        guide.undo()


def test_a_short_catch_is_said_and_one_under_a_second_is_none():
    guide = BoomGuide(2, Clock())
    guide.set_pressure(30 * PSI)
    guide.begin()
    with pytest.raises(UserError, match="less than a second"):
        guide.end()
    guide.undo()
    assert "It was caught for 8 s only" in catch(guide, "200 mL", 8.0)


def test_one_vessel_for_all():
    guide = BoomGuide(2, Clock())
    guide.set_pressure(30 * PSI)
    catch(guide, "1 L")
    with pytest.raises(UserError, match="not both in one test"):
        catch(guide, "1 kg")
    assert guide.step == "amount"


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda guide: guide.begin(), "cannot begin now"),
        (lambda guide: guide.end(), "nothing is running"),
        (lambda guide: guide.enter(READ.read("1 L", "it")), "nothing waits"),
        (lambda guide: guide.set_pressure(0.0), "must be above zero"),
        (lambda guide: (guide.set_pressure(1e5), guide.set_pressure(1e5)), "not all caught"),
    ],
)
def test_steps_out_of_order(act, says):
    with pytest.raises(UserError, match=says):
        act(BoomGuide(2, Clock()))


def test_timing_each_nozzle_for_itself_is_an_uncertainty_of_each():
    """Four times timed by hand (0.2 s of 10 s each): a nozzle 7 % off is not yet proven against its own law."""
    guide = BoomGuide(4, Clock())
    for psi, last in ((30, "180 mL"), (45, "235 mL")):
        guide.set_pressure(psi * PSI)
        for amount in (*["180 mL" if psi == 30 else "220 mL"] * 3, last):
            catch(guide, amount, 10.0)
    together = [replace(one, times_s=None) for one in guide.catches()]

    def odd(catches):
        return [one.nozzle for one in catch_test(catches, rig(), None, Reading()).findings if one.nozzle]

    assert odd(together) == [4]  # read to 10 mL of 180: 5 % would be proven
    assert odd(guide.catches()) == []
