"""The use cases, a module per noun; the only place where the store and the core meet.

Every function takes an open `calib.workflow.shopfloor.Shop` first, does one thing in one
transaction and returns plain immutable values. Nothing here prints or asks: a question that
only the maker can answer is raised as `calib.workflow.cutentry.NeedsAnswer`.
"""
