"""What the sprayer is, and how well each part of it is known."""
