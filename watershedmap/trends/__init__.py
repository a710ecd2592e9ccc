"""Telling a real change over the years from noise: tests, slopes and the direction of condition."""
