"""Wood and finishes as material: species, movement, ring angle, finish, restraint, cup."""
