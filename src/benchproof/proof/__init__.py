"""One test of one part as an ordered list of events; its state is a pure fold of them."""
