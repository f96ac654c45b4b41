"""What a part should be: pins, positions, branches, chart and roles; its file readers; its audit.

The readers take bytes and return values: nothing here touches the disk.
"""
