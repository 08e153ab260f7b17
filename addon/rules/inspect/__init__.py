"""Findings: gaps, joint map, closedness."""
