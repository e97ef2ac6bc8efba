"""The rig file that fits the boom, by RIG_FILE.md."""

from .boom import Boom


def rig_file(boom: Boom, *, switch: bool = True, wheel: bool = True) -> str:
    """TOML of the boom, with the parts that its keeper says it has; meter and wheel are calibrated without error."""
    ground = f"""[wheel]
circumference = "{boom.circumference_m} m"
pulses_per_turn = {boom.magnets}
uncertainty = "0.5 %"
sensor = "{"reed" if boom.reed else "hall"}"
"""
    course = """[course]
distance = "30 m"
time = "27.3 s"
uncertainty = "3 %"
"""
    return f"""name = "Five-nozzle trial boom"
units = "metric"
spray_switch = {str(switch).lower()}

[tank]
volume = "40 L"

[boom]
nozzles = {boom.nozzles}
spacing = "{boom.spacing_m} m"

[nozzle]
flow = "{boom.nozzle_l_min} L/min"
at = "{boom.at_bar} bar"

[meter]
factor = "{boom.pulses_per_l} pulses/L"
uncertainty = "0.5 %"

[pressure]
span = ["0 bar", "{boom.span_bar} bar"]
uncertainty = "1 %"

{ground if wheel else course}
[target]
rate = "1.95 L/100 m2"
"""
