"""Set up: a sprayer described by answers, its board tried."""
