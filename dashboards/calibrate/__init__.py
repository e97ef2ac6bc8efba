"""The page beside the boom: catch, time and read, with the counts of the run being recorded, into dated cards."""
