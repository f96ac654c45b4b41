"""What a careful person checks before trusting a chart.

`rules.py` is the table: each rule's condition and its sentence side by side.
"""
