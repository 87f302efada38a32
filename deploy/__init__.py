"""Decides what connects to what, and nothing about wood."""
