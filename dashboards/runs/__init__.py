"""The pages Runs and one run: the library listed, a run reviewed."""
