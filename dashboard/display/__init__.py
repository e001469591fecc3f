"""Parts of the Display page: the shelf of objects, entry, one object, taking down, the walk."""
