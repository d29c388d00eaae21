"""Where the work on parts of the fleet is done: in this process, or on a cluster.

Belongs here: dividing the fleet, what is worked out for one part, and the engines that do it. Does
not belong here: any rule, reading the store, putting parts together.
"""
