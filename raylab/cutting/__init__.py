"""Before the last facets go on: choices of last facets for a blocked stone, and facets repolished."""
