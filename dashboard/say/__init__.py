"""Numbers and standings in words and marks, in the viewer’s units."""
