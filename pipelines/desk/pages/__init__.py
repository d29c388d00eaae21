"""The pages on which people act: what each shows, in the templates of `dashboards`."""
