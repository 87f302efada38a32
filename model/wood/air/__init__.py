"""Moist air and what it does: psychrometrics, what wood settles to in it, water on cold surfaces, salts."""
