"""Fields, drafts, acts and their undo."""
