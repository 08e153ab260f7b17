"""The command line: parse, run the rules, report. Imports no Blender."""
