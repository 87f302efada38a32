"""The connection to the broker: messages in, batches committed, acknowledgements sent."""
