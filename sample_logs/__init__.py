"""Three invented logs of one invented run of spice chests; `calib demo` walks through them."""
