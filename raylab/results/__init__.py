"""What a traced stone shows: maps, statistics, paths, and the account of each facet."""
