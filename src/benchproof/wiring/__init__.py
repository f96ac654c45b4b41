"""Wiring of a selector between a part's connector and the meter, and the plug that tests it."""
