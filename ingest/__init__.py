"""Messages and files in: from bytes to stored readings, losing nothing."""
