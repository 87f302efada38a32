"""Air where no sensor hangs and in years to come: indoor and outdoor schemes, the seasonal model."""
