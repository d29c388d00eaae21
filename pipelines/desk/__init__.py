"""The web application: routes, forms, sessions; no rule of its own."""
