"""How readings reach the database."""
