"""The live page: the newest numbers of a run that is being recorded, pushed to every screen that is open."""
