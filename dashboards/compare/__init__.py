"""The page Compare: a run against its catch test, two runs, a season."""
