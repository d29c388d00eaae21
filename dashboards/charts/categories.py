"""The words by which charts part their marks, in order, some with the color token of each.

Belongs here: what pages and charts must spell alike. Does not belong here: altair, which a page
that only hands rows to a chart has no need of.
"""

# Lines of a claim's money.
LINES = {"parts": "series-1", "labor": "series-3", "travel": "series-5"}
# Bands of a ratio on the map, what stands where its limits hold 1, and where the data are thin.
BANDS = ("under 0.5", "0.5 to 0.8", "0.8 to 1.25", "1.25 to 2", "2 or more")
OPEN = "limits hold 1"
THIN = "thin"
# How an alarm is drawn.
ALARMS = {"goes on": "series-2", "is over": "series-1", "thin": "surface"}
# What became of a row.
FATES = {
    "records": "series-1",
    "superseded": "series-3",
    "duplicates": "series-5",
    "set aside": "series-2",
    "left out": "series-4",
    "joined": "series-6",
}
