"""Proposing how to read an unknown topic, and accepting it."""
