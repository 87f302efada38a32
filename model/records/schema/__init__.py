"""The tables of the book and the types of their columns."""
