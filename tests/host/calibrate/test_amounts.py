import math
from dataclasses import replace

import pytest

from host.calibrate.amounts import Amount, AmountReader, one_jug, read_accuracy, read_empty, read_temperature
from host.calibrate.vessels import JUG, KITCHEN_BALANCE, UNTOLD_WATER, as_last_told
from host.errors import UserError


def test_a_volume_with_its_uncertainty():
    amount = AmountReader().read("1300 mL", "the catch")
    assert amount == Amount(pytest.approx(1.3e-3), JUG)
    # JCGM 100 (GUM), 4.3.7: a step of 10 mL is a rectangle of half-width 5 mL, 3 % of the scale one of 39 mL.
    scale = amount.vessel.scale_uncertainty() * amount.volume_m3
    assert math.hypot(amount.vessel.reading_uncertainty(), scale) == pytest.approx(
        math.hypot(5e-6, 39e-6) / math.sqrt(3)
    )


def test_a_weight_of_water_at_its_temperature_less_the_jug():
    amount = AmountReader(temperature_k=293.15, empty_kg=0.3).read("1.30 kg", "the catch")
    # ISO 8655-6, table of Z: 1.0029 uL/mg at 20 degrees and 101.3 kPa.
    assert amount.volume_m3 == pytest.approx(1.0029e-3, rel=5e-5)
    assert amount.vessel == KITCHEN_BALANCE


def test_step_and_accuracy_go_by_what_was_typed():
    assert AmountReader(step="5 mL", accuracy=0.02).read("2 L", "it").vessel.step_m3 == pytest.approx(5e-6)
    weighed = AmountReader(step="2 g", accuracy=0.02).read("2 kg", "it").vessel
    assert weighed.step_m3 == pytest.approx(2.0058e-6, rel=1e-4)
    assert weighed.accuracy == 0.02


def test_ounces_are_asked_about_unless_a_balance_is_in_use():
    for text in ("43 oz", "43oz", "43.5 Ounces"):
        with pytest.raises(UserError, match='write "fl oz" for a jug'):
            AmountReader().read(text, "the catch")
    assert AmountReader().read("43 fl oz", "the catch").vessel == JUG
    # 43 fl oz of 29.5735 mL (NIST Handbook 44, Appendix C) are 1271.7 mL; 43 oz of water 1219 g.
    assert AmountReader().read("43 fl oz", "the catch").volume_m3 == pytest.approx(1271.66e-6, rel=1e-5)
    assert AmountReader(empty_kg=0.0).read("43 oz", "the catch").volume_m3 == pytest.approx(1222.6e-6, rel=1e-4)


@pytest.mark.parametrize(
    ("reader", "text", "says"),
    [
        (AmountReader(), "30 psi", 'the catch is "30 psi", which is not a volume'),
        (AmountReader(), "0 mL", "must be above zero"),
        (AmountReader(), "-1 L", "must be above zero"),
        (AmountReader(), "1300", "without a unit"),
        (AmountReader(), "", "is empty"),
        (AmountReader(empty_kg=1.0), "900 g", "no more than the empty jug"),
        (AmountReader(), "0 g", "no more than the empty jug"),
        (AmountReader(step="-1 mL"), "1 L", "cannot be below zero"),
        (AmountReader(step="1 psi"), "1 L", "the smallest step"),
    ],
)
def test_what_cannot_be_an_amount(reader, text, says):
    with pytest.raises(UserError) as caught:
        reader.read(text, "the catch")
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("read", "text"),
    [(read_temperature, "100 °C"), (read_temperature, "20"), (read_empty, "-1 g"), (read_accuracy, "60 %")],
)
def test_what_cannot_be_true_of_the_jug(read, text):
    with pytest.raises(UserError, match="--option is"):
        read(text, "--option")


def test_one_test_one_jug():
    litre, kilogram = AmountReader().read("1 L", "it"), AmountReader().read("1 kg", "it")
    assert one_jug([litre, litre]) == one_jug([]) == JUG
    with pytest.raises(UserError, match="not both"):
        one_jug([litre, kilogram])


def test_one_jug_has_one_accuracy():
    """Told 3 % for the first nozzle and 1 % for the next: it is the same jug, so what was told last holds."""
    usual, better = AmountReader().read("1 L", "it"), AmountReader(accuracy=0.01).read("1 L", "it")
    assert one_jug([usual, better]) == better.vessel and one_jug([better, usual]) == usual.vessel
    with pytest.raises(UserError, match="one jug or scale for all nozzles"):
        one_jug([usual, Amount(1e-3, replace(JUG, tool="white one"))])
    weighed = replace(KITCHEN_BALANCE, density_spread=UNTOLD_WATER)
    assert as_last_told([weighed, replace(KITCHEN_BALANCE, accuracy=0.002)])[0] == replace(weighed, accuracy=0.002)
