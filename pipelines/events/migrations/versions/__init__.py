"""One module a step of the database's form, named for its version; none is ever changed."""
