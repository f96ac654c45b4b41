"""What the shop decides with its own figures: condition of a core, cost of each choice."""
