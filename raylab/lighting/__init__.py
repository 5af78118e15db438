"""Where light comes from and where it is seen: domes, pictures of the sky, views, scenes and their files."""
