"""Colour: pictures, fire, and stereo pictures for two eyes."""
