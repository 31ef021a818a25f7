"""Readings laid out in whole steps, and how a figure is held."""
