"""Vehicle and wishes → the smallest sets of parts that make every wish work."""
