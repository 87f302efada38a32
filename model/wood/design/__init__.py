"""A piece before and after it is built: design range, cutting, layouts, stock, rehearsal."""
