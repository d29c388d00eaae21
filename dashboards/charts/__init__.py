"""Charts, one a module: each is drawn once as a template that pages fill with rows.

A template names its rows as data sets and its categories, where their order matters, as a list
`["@name"]`; static/charts.js puts both in. Charts compute nothing but layout.
"""
