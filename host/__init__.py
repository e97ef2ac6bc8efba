"""Everything the computer does for the sprayer, with no screen in it."""
