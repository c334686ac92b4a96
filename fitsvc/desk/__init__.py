"""A folder of rules while somebody writes at it: its faults, its names and where they stand, what may be written."""
