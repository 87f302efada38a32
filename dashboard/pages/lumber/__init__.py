"""Pages about stacks of lumber and glue-ups."""
