"""Field figures, one a module: rows, table, sample size and sentence for every choice a reader has.

Belongs here: choosing rows of a figure and saying in a sentence what they show. Does not belong
here: estimating anything, or drawing (`dashboards.charts`).
"""
