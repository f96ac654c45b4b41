"""Parts with known faults, and readings of them as a person would take them.

The parts are physical: every edge, contact and resistor gets a value of its own and the network is
solved for each reading. Nothing of the diagnosis' tables is used but its list of faults, so that
the one checks the other. All randomness comes from the generator that is handed in.
"""
