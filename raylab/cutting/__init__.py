"""Before the last facets go on: a blocked stone finished in every way that is thought of, and facets polished again."""
