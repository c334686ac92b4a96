"""Audits over HTTP: files to a folder, a process for each audit, results as streams."""
