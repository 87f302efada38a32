"""From trusted readings to the air of each place, hour by hour and day by day."""
