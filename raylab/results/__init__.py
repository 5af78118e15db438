"""Results of a trace: maps, statistics, paths, and accounting by facet."""
