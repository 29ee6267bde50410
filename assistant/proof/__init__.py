"""Every fault of a circuit, over many random cars, led through a procedure to its verdict."""
