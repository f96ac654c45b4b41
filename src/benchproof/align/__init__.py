"""Alignment: how far out of line a part may be, how far it is, and where to set it."""
