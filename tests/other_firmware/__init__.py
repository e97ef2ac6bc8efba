"""A firmware and a sprayer written from PROTOCOL.md alone: none of it imports the project but the tests.

`boom` is the sprayer and its walker, `wire` the lines, `filters` what an input lets pass, `board` the firmware,
`line` what happens to bytes on their way, `run_file` a recorder without waiting, `serve` a port in real time.
"""
