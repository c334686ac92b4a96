"""Answers one question: will this accessory work on this rig?"""

__version__ = "0.1.0"
