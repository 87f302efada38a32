"""When the watch computes what, and how it reads and writes its tables."""
