"""The commands: thin, each in a module of its own."""
