"""Pages about places and their air."""
