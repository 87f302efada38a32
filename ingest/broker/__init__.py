"""The broker that is started when none is named."""
