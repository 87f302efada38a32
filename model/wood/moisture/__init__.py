"""Moisture through the thickness of wood: diffusion, the compiled solver, and the evidence for its speed."""
