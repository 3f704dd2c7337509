"""The ground: chemistry, units and what can be measured or dosed.

Floor 1. One subject: facts of sea water and of stock solutions. Laws here: knows no
tank, no pump and no time; pint is met in `units` only; whoever only prints takes
`show` and never loads pint.
"""
