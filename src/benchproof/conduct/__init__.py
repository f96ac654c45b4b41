"""The conduct of a proof: archive, gear and plan joined, which the commands and the page drive."""
