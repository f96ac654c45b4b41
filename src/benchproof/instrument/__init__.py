"""Meters, selectors and lever sensors, and the simulated bench that stands in for all three.

`protocols` says what each can do, one capability a protocol. What an instrument's bytes mean is
parsed without I/O (`scpi`, `conversation`, `dialect`, `sigrok.parse_line`, `simcommands`); what
carries the bytes stands apart (`visa`, `serialline`, `linequeue`, `simbench`). `dialogue` joins the
two and starts anew when in doubt; `station` is all the gear of one bench.
"""
