"""Joins science and book: the only writer of computed tables."""
