"""Water: tests against the limits of the terms, chemistry, profiles and advice.

Belongs here: what a water is and calls for. Does not belong here: whether a claim is covered.
"""
