"""Many cases at once: the same meaning as `point`, over numpy columns."""
