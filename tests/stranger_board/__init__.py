"""A board and a sprayer written from PROTOCOL.md alone: nothing here imports the project.

`boom` is the sprayer and its walker, `wire` the lines, `filters` what an input lets pass, `board` the firmware,
`line` what happens to bytes on their way, `run_file` a recorder without waiting, `serve` a port in real time.
"""
