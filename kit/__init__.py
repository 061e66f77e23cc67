"""Photometric kit for a light show projected on the front of a house."""
