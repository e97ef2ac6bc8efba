"""The wire between the board and the computer: PROTOCOL.md, its Python codec, and its golden vectors."""
