"""The shapes the log's table has had, oldest first."""
