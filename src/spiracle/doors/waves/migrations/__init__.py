"""The shapes the archive's tables have had, oldest first."""
