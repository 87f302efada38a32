"""The whole book as one archive, written and restored."""
