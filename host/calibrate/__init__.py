"""Calibrations: what was caught, timed and read becomes numbers with a known uncertainty, kept on dated cards."""
