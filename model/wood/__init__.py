"""Wood science: arrays in, arrays out. No clock, no database, no files but its own data."""
