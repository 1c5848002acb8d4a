"""Sheets: folds of the log, and plans, as plain data for a page. Pure; the doors draw them."""
