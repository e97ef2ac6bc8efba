"""A simulated small sprayer that speaks the wire, and the replay of recordings. SCENARIO.md explains the files."""
