"""Field statistics: what the fleet tells about failures, water, treatment, time and cost.

Belongs here: the nine figures as pure functions from frames to frames, and the estimators that
they rest on. Does not belong here: who is watched and when (`pipelines.units`), reading or
writing tables, drawing.

Every figure rests on the same exposure. A year is 365.25 days, a month of exposure 30.4375 days.
"""
