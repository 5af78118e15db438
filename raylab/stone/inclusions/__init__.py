"""What lies inside a stone and takes light: shapes, checks, plotted positions, and their files."""
