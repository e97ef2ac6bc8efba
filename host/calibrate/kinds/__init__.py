"""The kinds of calibration there are: one module each, one line here."""

from host.calibrate.kinds import boom, course, meter, pressure, wheel

KINDS = (meter.KIND, boom.KIND, pressure.KIND, wheel.KIND, course.KIND)
