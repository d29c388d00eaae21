"""Water: what it holds, what it lays down, what it needs, and what serves it.

Belongs here: chemistry in plain arrays, profiles of samples and units, and advice. Does not belong
here: reading test records, deciding claims, drawing pages.
"""
