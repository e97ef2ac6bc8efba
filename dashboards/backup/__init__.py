"""The page Backup: one file away, one file back."""
