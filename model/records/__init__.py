"""The shop's book: every stored record and how it is read and written."""
