"""Verdicts, warnings and notices from states and margins."""
