"""The proof: leads every fault of a circuit, over many random cars, through a procedure to its verdict."""
