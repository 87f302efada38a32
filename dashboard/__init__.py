"""The pages a maker reads."""
