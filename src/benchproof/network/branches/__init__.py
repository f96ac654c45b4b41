"""What lies between two nodes of a part: one module a kind of branch, `kinds.py` lists them.

A kind holds all that is known of it: its shape in a family file, its conductance in a state, what
may be wrong with it and what that makes of it, how good ones differ. Nothing outside asks which
kind a branch is.
"""
