"""A sweep of the lever: samples into passes, bands, runs, settled stretches, edges and bursts.

Nothing here weighs what may be wrong: no chart is judged, no hypothesis has a probability.
"""
