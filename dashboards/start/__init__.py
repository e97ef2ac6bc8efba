"""The page on which a run is started."""
