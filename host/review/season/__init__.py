"""A season of one rig: what changed, when, whose it is by all that was seen, and which calibration is due."""

from host.review.season.findings import Finding
from host.review.season.season import Season, Series, season_of

__all__ = ["Finding", "Season", "Series", "season_of"]
