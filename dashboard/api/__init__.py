"""What the book answers other programs: read-only JSON over HTTP under `/api`, and who may ask."""
