"""Judges the electrical parts of a rebuilt automatic transmission against the maker's chart.

One folder a layer; lower layers never import higher ones (see CONTRIBUTING.md).
"""

__version__ = "0.1.0"
