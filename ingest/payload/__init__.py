"""From the bytes of one message to observations."""
