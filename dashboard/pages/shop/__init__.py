"""The first page, warnings, what is coming, and settings."""
