"""Pages about sensors, unknown topics, and files of readings."""
