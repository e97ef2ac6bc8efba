"""The wiring as data, and its drawings: `python -m firmware_protocol.wiring` writes wiring.svg and stripboard.svg."""
