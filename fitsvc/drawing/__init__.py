"""Drawings of an answer: facts → SVG text, pure; what the classes mean is in `drawing.css`."""
