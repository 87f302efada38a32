"""One file a page: its layout and its thin callbacks."""
