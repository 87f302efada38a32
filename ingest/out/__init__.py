"""What is published over MQTT, retained, for hubs and lamps; nothing of it is read back in."""
