"""Setting up a sprayer: questions whose answers become a rig file, and what that file says."""
