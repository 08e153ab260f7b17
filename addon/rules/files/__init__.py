"""STL, 3MF, OBJ, job files and report.json."""
