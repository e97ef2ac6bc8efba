"""A second sprayer and board, written from PROTOCOL.md alone: no code and no physics shared with host.simulate.

What the host says of a run is held here to a truth that its own simulator had no part in.
"""
