"""What the vehicle's controller would read of a part, and what the vehicle would do."""
