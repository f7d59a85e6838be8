"""Many units tell more than one: the bands of a kind of unit and a device lot, and who stands outside them."""
