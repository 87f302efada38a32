"""Pages about pieces: one, all, recording, gaps, delivery, the client’s page."""
