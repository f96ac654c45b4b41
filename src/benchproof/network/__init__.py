"""The resistive network of a family: ohms between any two pins in any state."""
