"""One cylinder of a four-stroke engine, crank angle by crank angle, for many cases at once.

It breathes through the effective areas that a flow bench measured. The intake is a lumped
runner before a port volume, or a prescribed pressure wave in that port: two structures,
because what lies outside the head is not known.
"""
