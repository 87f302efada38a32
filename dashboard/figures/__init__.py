"""Pure drawing: numbers in, figure out."""
