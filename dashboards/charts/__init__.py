"""Charts, one a module: each is drawn once as a template that pages fill with rows."""
