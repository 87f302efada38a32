"""The sample shop: invented air, pieces and stacks, made deterministically from a seed."""
