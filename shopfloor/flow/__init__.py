"""The mathematics of the floor: the working day, what a queue means, how a pile is drawn. Pure: no Django, no clock.

Hours are hours of work at one station. Times are aware datetimes in the shop's zone.
"""
