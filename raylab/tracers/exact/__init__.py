"""The exact engine: polygons traced by beam splitting."""
