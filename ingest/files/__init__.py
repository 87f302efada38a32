"""Readings from files and to files."""
