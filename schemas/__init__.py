"""Shape and words: code lists, columns and one pandera class a table; no behavior."""
